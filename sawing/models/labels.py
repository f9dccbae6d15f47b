"""Label sheets on log ends, and the codes that were read on boards."""

from typing import ClassVar

import pgtrigger
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from portal.constraints import not_negative, positive
from portal.history import tracked
from sawing.models.chain import Board, Log

LARGEST_SERIAL = 99_999
CELLS = 64


@tracked
class LogSerial(models.Model):
    """The number that stands for a log in every code printed for it. Never used again, in any study."""

    number = models.PositiveIntegerField(unique=True)
    log = models.ForeignKey(Log, models.PROTECT, related_name="serials")
    retired_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["number"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(number__gte=1, number__lte=LARGEST_SERIAL), name="sawing_logserial_number_fits"
            ),
            models.UniqueConstraint(
                "log", condition=Q(retired_at__isnull=True), name="sawing_logserial_one_in_use"
            ),
        ]
        triggers: ClassVar = [pgtrigger.ReadOnly(name="stays", fields=["number", "log"])]

    def __str__(self) -> str:
        return f"{self.number:05d}"


class LogEnd(models.TextChoices):
    BUTT = "butt", "Butt end"
    TOP = "top", "Top end"


@tracked
class LabelSheet(models.Model):
    """A sheet of codes for one end of a log: lattice, what it guarantees, and how it was put on.

    Cell (row, col) has its middle at ((col + ½) pitch, (row + ½) pitch) from the sheet's upper left corner. The cell
    over the pith is read once when the sheet is put on; `turned_deg` is how far the printed top of the log ended up
    from its true top, clockwise.
    """

    serial = models.ForeignKey(LogSerial, models.PROTECT, related_name="sheets")
    end = models.CharField(max_length=4, choices=LogEnd.choices)
    rows = models.PositiveSmallIntegerField()
    cols = models.PositiveSmallIntegerField()
    dots = models.PositiveSmallIntegerField(help_text="Printer dots of 1/300 inch a module.")
    pitch_mm = models.FloatField()
    diameter_mm = models.FloatField(help_text="Of the end the sheet is cut for.")
    thickness_mm = models.FloatField(help_text="Planned thickness of the boards.")
    width_mm = models.FloatField(help_text="Narrowest planned board.")
    torn_mm = models.FloatField(help_text="Strip spoilt by the saw at each edge.")
    fewest_codes = models.PositiveSmallIntegerField(help_text="Whole codes that every board keeps.")
    printed_at = models.DateTimeField(null=True, blank=True)
    put_on_at = models.DateTimeField(null=True, blank=True)
    pith_row = models.PositiveSmallIntegerField(null=True, blank=True)
    pith_col = models.PositiveSmallIntegerField(null=True, blank=True)
    turned_deg = models.FloatField(null=True, blank=True)
    note = models.TextField(blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["serial", "end"]
        constraints: ClassVar = [
            models.UniqueConstraint("serial", "end", name="sawing_labelsheet_once"),
            models.CheckConstraint(condition=Q(end__in=LogEnd.values), name="sawing_labelsheet_end_known"),
            models.CheckConstraint(
                condition=Q(rows__gte=1, rows__lte=CELLS, cols__gte=1, cols__lte=CELLS),
                name="sawing_labelsheet_cells_fit",
            ),
            models.CheckConstraint(
                condition=Q(pith_row__isnull=True, pith_col__isnull=True)
                | Q(
                    pith_row__isnull=False,
                    pith_col__isnull=False,
                    pith_row__lt=CELLS,
                    pith_col__lt=CELLS,
                ),
                name="sawing_labelsheet_pith_on_sheet",
            ),
            models.CheckConstraint(condition=Q(dots__gte=1), name="sawing_labelsheet_dots_some"),
            models.CheckConstraint(
                condition=Q(turned_deg__isnull=True) | Q(turned_deg__gte=-180, turned_deg__lte=360),
                name="sawing_labelsheet_turn_plausible",
            ),
            *positive("pitch_mm", "diameter_mm", "thickness_mm", "width_mm"),
            *not_negative("torn_mm"),
        ]

    def __str__(self) -> str:
        return f"sheet {self.serial} {self.end}"


class ReadBy(models.TextChoices):
    SCANNER = "scanner", "Scanner"
    TYPED = "typed", "Typed"
    PHOTO = "photo", "Photo"
    FILE = "file", "File"


@tracked
class BoardCode(models.Model):
    """A code of a log end found on a board. A whole code can be on one board only."""

    board = models.ForeignKey(Board, models.PROTECT, related_name="codes")
    sheet = models.ForeignKey(LabelSheet, models.PROTECT, related_name="board_codes")
    row = models.PositiveSmallIntegerField()
    col = models.PositiveSmallIntegerField()
    read_by = models.CharField(max_length=10, choices=ReadBy.choices, db_default=ReadBy.SCANNER)
    by = models.ForeignKey("portal.User", models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                "sheet",
                "row",
                "col",
                condition=Q(withdrawn_at__isnull=True),
                name="sawing_boardcode_on_one_board",
            ),
            models.CheckConstraint(
                condition=Q(row__gte=0, row__lt=CELLS, col__gte=0, col__lt=CELLS),
                name="sawing_boardcode_on_sheet",
            ),
            models.CheckConstraint(
                condition=Q(read_by__in=ReadBy.values), name="sawing_boardcode_read_by_known"
            ),
        ]
        triggers: ClassVar = [
            pgtrigger.Trigger(
                name="code_of_its_log",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("board_id", "sheet_id"),
                func="""
                    IF (SELECT log_id FROM sawing_board WHERE id = NEW.board_id) IS DISTINCT FROM
                       (SELECT s.log_id FROM sawing_labelsheet l JOIN sawing_logserial s ON s.id = l.serial_id
                         WHERE l.id = NEW.sheet_id) THEN
                        RAISE EXCEPTION 'the code belongs to another log than the board'
                            USING ERRCODE = 'check_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sheet} {self.row}/{self.col} on {self.board}"

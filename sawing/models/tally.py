"""Boards tallied at the saw: what scanners sent, kept as it came."""

from typing import Any, ClassVar

import pghistory
import pgtrigger
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from portal.history import tracked
from sawing.models.chain import Board, Log, Study


class TallyStanding(models.TextChoices):
    CURRENT = "current", "Stands"
    REPLACED = "replaced", "Replaced by a later entry of the same scanner"
    REPEATED = "repeated", "Says the same as another scanner's entry"
    DISPUTED = "disputed", "Another scanner says something else of this board"
    WITHDRAWN = "withdrawn", "Withdrawn at the saw"
    SET_ASIDE = "set_aside", "Set aside by a person"


class TallyKind(models.TextChoices):
    BOARD = "board", "Board"
    WITHDRAW = "withdraw", "Withdraw a board"
    NOTE = "note", "Note"


def _tracked_changes(model: type[Any]) -> type[Any]:
    """Entries are their own record of what was added; history keeps what happens to them afterwards."""
    return pghistory.track(
        pghistory.UpdateEvent("changed", row=pghistory.Old),
        pghistory.DeleteEvent("deleted"),
        level=pgtrigger.Statement,
    )(model)


@_tracked_changes
class TallyEntry(models.Model):
    """One board as one scanner sent it. Its `client_id` is made at the saw: sent twice, it is stored once.

    Sizes are actual green sizes. `codes` are the ten-digit label codes read on the board; `board_code` is what the
    board is called; `board` the board this entry made or speaks of. `warnings` were shown and confirmed.
    """

    client_id = models.UUIDField(unique=True)
    study = models.ForeignKey(Study, models.PROTECT, related_name="tally_entries")
    kind = models.CharField(max_length=10, choices=TallyKind.choices, db_default=TallyKind.BOARD)
    log = models.ForeignKey(Log, models.PROTECT, null=True, blank=True, related_name="tally_entries")
    board = models.ForeignKey(Board, models.PROTECT, null=True, blank=True, related_name="tally_entries")
    board_code = models.CharField(max_length=64, blank=True)
    flitch_code = models.CharField(max_length=64, blank=True)
    piece = models.CharField(max_length=64, blank=True)
    codes = models.JSONField(default=list, blank=True)
    thickness_mm = models.FloatField(null=True, blank=True)
    width_mm = models.FloatField(null=True, blank=True)
    length_m = models.FloatField(null=True, blank=True)
    text = models.TextField(blank=True)
    warnings = models.JSONField(default=list, blank=True)
    confirmed = models.BooleanField(db_default=False)
    standing = models.CharField(
        max_length=10, choices=TallyStanding.choices, db_default=TallyStanding.CURRENT
    )
    device = models.UUIDField()
    sequence = models.BigIntegerField()
    entered_at = models.DateTimeField(null=True, blank=True)
    received_at = models.DateTimeField(db_default=Now(), editable=False)
    by = models.ForeignKey("portal.User", models.PROTECT, related_name="tally_entries")

    class Meta:
        verbose_name_plural = "tally entries"
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                "board",
                condition=Q(standing="current", kind="board"),
                name="sawing_tallyentry_one_stands",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=TallyKind.values), name="sawing_tallyentry_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(standing__in=TallyStanding.values), name="sawing_tallyentry_standing_known"
            ),
            models.CheckConstraint(
                condition=~Q(kind="board")
                | Q(
                    log__isnull=False,
                    thickness_mm__gt=0,
                    thickness_mm__lt=1e7,
                    width_mm__gt=0,
                    width_mm__lt=1e7,
                    length_m__gt=0,
                    length_m__lt=1e7,
                ),
                name="sawing_tallyentry_board_has_sizes",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["study", "board_code"], name="sawing_tally_by_code"),
            models.Index(fields=["log"], name="sawing_tally_by_log"),
        ]

    def __str__(self) -> str:
        return f"{self.board_code or self.kind} from {self.device}"


class HeldTallyState(models.TextChoices):
    WAITING = "waiting", "Waiting"
    STORED = "stored", "Mended and stored"
    SET_ASIDE = "set_aside", "Set aside"


@tracked
class HeldTally(models.Model):
    """A tally entry that could not be taken: kept whole, with its reasons, until a person settles it."""

    client_id = models.UUIDField(unique=True)
    study = models.ForeignKey(Study, models.PROTECT, related_name="held_tallies")
    content = models.JSONField()
    problems = models.JSONField()
    state = models.CharField(max_length=10, choices=HeldTallyState.choices, default=HeldTallyState.WAITING)
    by = models.ForeignKey("portal.User", models.PROTECT, related_name="+")
    received_at = models.DateTimeField(db_default=Now(), editable=False)
    settled_by = models.ForeignKey("portal.User", models.PROTECT, null=True, blank=True, related_name="+")
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "held tallies"
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(state__in=HeldTallyState.values), name="sawing_heldtally_state_known"
            ),
            models.CheckConstraint(
                condition=Q(state="waiting", settled_at__isnull=True)
                | (~Q(state="waiting") & Q(settled_at__isnull=False)),
                name="sawing_heldtally_settled_has_a_date",
            ),
        ]

    def __str__(self) -> str:
        return f"held tally {self.client_id}"

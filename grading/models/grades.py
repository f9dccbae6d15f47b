"""The grade each board was given, by a person or by the rules, and the piece that holds it."""

from typing import ClassVar

import pgtrigger
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now

from grading.calc.feature_kinds import BY_CODE
from grading.models.rule_sets import Grade, RuleSet
from grading.models.sessions import SAME_STUDY, GradingSession
from portal.constraints import not_negative, positive
from portal.history import tracked
from sawing.models import Board


class GradedBoard(Board):
    """A board as this room sees it: it never shrinks below the piece that was graded on it."""

    class Meta:
        proxy = True
        triggers: ClassVar = [
            pgtrigger.Trigger(
                name="holds_its_graded_piece",
                when=pgtrigger.After,
                operation=pgtrigger.UpdateOf("length_m", "width_mm", "thickness_mm"),
                condition=pgtrigger.Q(new__length_m__lt=pgtrigger.F("old__length_m"))
                | pgtrigger.Q(new__width_mm__lt=pgtrigger.F("old__width_mm"))
                | pgtrigger.Q(new__thickness_mm__lt=pgtrigger.F("old__thickness_mm")),
                func="""
                    IF EXISTS (
                        SELECT FROM grading_boardgrade WHERE board_id = NEW.id
                            AND (graded_length_m > NEW.length_m * (1 + 1e-9)
                                OR graded_width_mm > NEW.width_mm * (1 + 1e-9)
                                OR graded_thickness_mm > NEW.thickness_mm * (1 + 1e-9))
                    ) THEN
                        RAISE EXCEPTION 'board % would be smaller than its graded piece', NEW.code
                            USING ERRCODE = 'check_violation';
                    END IF;
                    RETURN NULL;
                """,
            ),
        ]

    def __str__(self) -> str:
        return self.code


class GradedBy(models.TextChoices):
    PERSON = "person", "A person"
    RULES = "rules", "The rules"


@tracked
class BoardGrade(models.Model):
    """The grade of a board under one rule set, with the piece that holds it (empty: the whole board)."""

    board = models.ForeignKey(Board, models.PROTECT, related_name="grades")
    rule_set = models.ForeignKey(RuleSet, models.PROTECT, related_name="board_grades")
    grade = models.ForeignKey(Grade, models.PROTECT, related_name="board_grades")
    graded_length_m = models.FloatField(null=True, blank=True)
    graded_width_mm = models.FloatField(null=True, blank=True)
    graded_thickness_mm = models.FloatField(null=True, blank=True)
    reason = models.CharField(max_length=400, null=True, blank=True)
    grader = models.CharField(max_length=150, null=True, blank=True)
    by = models.CharField(max_length=10, choices=GradedBy.choices, db_default=GradedBy.PERSON)
    from_mm = models.FloatField(null=True, blank=True, help_text="Where the piece begins, from the butt end.")
    from_edge_mm = models.FloatField(null=True, blank=True, help_text="Where it begins across, from edge 1.")
    pieces = models.JSONField(null=True, blank=True, help_text="All pieces, where the board gives several.")
    deciding_kind = models.CharField(
        max_length=40, null=True, blank=True, help_text="What kept it from better."
    )
    suggested = models.ForeignKey(Grade, models.PROTECT, null=True, blank=True, related_name="+")
    override_reason = models.CharField(max_length=400, blank=True, default="", db_default="")
    session = models.ForeignKey(
        GradingSession, models.PROTECT, null=True, blank=True, related_name="board_grades"
    )
    graded_at = models.DateTimeField(null=True, blank=True)
    notes = models.JSONField(null=True, blank=True)
    upload = models.ForeignKey("portal.Upload", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("board", "rule_set", name="grading_boardgrade_once_per_rule_set"),
            models.CheckConstraint(condition=Q(by__in=GradedBy.values), name="grading_boardgrade_by_known"),
            models.CheckConstraint(
                condition=Q(suggested__isnull=True)
                | Q(suggested__isnull=False, suggested=F("grade"))
                | Q(suggested__isnull=False, override_reason__gt=""),
                name="grading_boardgrade_override_has_a_reason",
            ),
            models.CheckConstraint(
                condition=Q(deciding_kind__isnull=True) | Q(deciding_kind__in=list(BY_CODE)),
                name="grading_boardgrade_deciding_kind_known",
            ),
            *positive("graded_length_m", "graded_width_mm", "graded_thickness_mm"),
            *not_negative("from_mm", "from_edge_mm"),
        ]
        triggers: ClassVar = [
            pgtrigger.Trigger(
                name="piece_within_board",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                condition=pgtrigger.Q(new__graded_length_m__isnull=False)
                | pgtrigger.Q(new__graded_width_mm__isnull=False)
                | pgtrigger.Q(new__graded_thickness_mm__isnull=False),
                declare=[("size", "RECORD")],
                func="""
                    SELECT length_m, width_mm, thickness_mm INTO size FROM sawing_board WHERE id = NEW.board_id;
                    IF NEW.graded_length_m > size.length_m * (1 + 1e-9)
                        OR NEW.graded_width_mm > size.width_mm * (1 + 1e-9)
                        OR NEW.graded_thickness_mm > size.thickness_mm * (1 + 1e-9) THEN
                        RAISE EXCEPTION 'the graded piece is larger than its board' USING ERRCODE = 'check_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
            pgtrigger.Trigger(
                name="session_of_its_study",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("session_id", "board_id"),
                condition=pgtrigger.Q(new__session_id__isnull=False),
                func=SAME_STUDY,
            ),
        ]

    def __str__(self) -> str:
        return f"{self.board}: {self.grade}"

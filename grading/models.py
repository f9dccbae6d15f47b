"""What a board is good for: rule sets, their grades, and the grade each board was given."""

from typing import ClassVar

import pgtrigger
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from portal.constraints import filled, positive
from portal.history import tracked
from sawing.models import Board


class Purpose(models.TextChoices):
    APPEARANCE = "appearance", "Appearance"
    STRUCTURAL = "structural", "Structural"
    OTHER = "other", "Other"


@tracked
class RuleSet(models.Model):
    """A versioned set of grading rules. `rules` keeps the whole document it was read from."""

    code = models.SlugField(max_length=64)
    version = models.PositiveIntegerField(default=1)
    title = models.CharField(max_length=200)
    purpose = models.CharField(max_length=20, choices=Purpose.choices, default=Purpose.OTHER)
    origin = models.CharField(max_length=400, blank=True)
    caution = models.TextField(blank=True)
    rules = models.JSONField(default=dict, blank=True)
    current = models.BooleanField(default=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["code", "-version"]
        constraints: ClassVar = [
            models.UniqueConstraint("code", "version", name="grading_ruleset_version_once"),
            models.UniqueConstraint("code", condition=Q(current=True), name="grading_ruleset_one_current"),
            models.CheckConstraint(
                condition=Q(purpose__in=Purpose.values), name="grading_ruleset_purpose_known"
            ),
            *filled("code", "title"),
        ]

    def __str__(self) -> str:
        return f"{self.title}, version {self.version}"


@tracked
class Grade(models.Model):
    """One grade of a rule set; rank 1 is the best."""

    rule_set = models.ForeignKey(RuleSet, models.PROTECT, related_name="grades")
    code = models.CharField(max_length=64)
    title = models.CharField(max_length=200, blank=True)
    description = models.TextField(blank=True)
    rank = models.PositiveSmallIntegerField()
    reject = models.BooleanField(default=False)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["rule_set", "rank"]
        constraints: ClassVar = [
            models.UniqueConstraint("rule_set", "code", name="grading_grade_code_once"),
            models.UniqueConstraint("rule_set", "rank", name="grading_grade_rank_once"),
            *filled("code"),
        ]

    def __str__(self) -> str:
        return self.code


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
    notes = models.JSONField(null=True, blank=True)
    upload = models.ForeignKey("portal.Upload", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("board", "rule_set", name="grading_boardgrade_once_per_rule_set"),
            models.CheckConstraint(condition=Q(by__in=GradedBy.values), name="grading_boardgrade_by_known"),
            *positive("graded_length_m", "graded_width_mm", "graded_thickness_mm"),
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
        ]

    def __str__(self) -> str:
        return f"{self.board}: {self.grade}"

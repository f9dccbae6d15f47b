"""Sittings at the grading bench, and samples that several people grade without seeing each other's grades."""

from typing import ClassVar

import pgtrigger
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now

from grading.models.rule_sets import Grade, RuleSet
from portal.constraints import filled
from portal.history import tracked
from sawing.models import Board, Study

SAME_STUDY = """
    IF (SELECT study_id FROM sawing_board WHERE id = NEW.board_id) IS DISTINCT FROM
       (SELECT study_id FROM grading_gradingsession WHERE id = NEW.session_id) THEN
        RAISE EXCEPTION 'the board belongs to another study than the session' USING ERRCODE = 'check_violation';
    END IF;
    RETURN NEW;
"""


@tracked
class GradingPlan(models.Model):
    """What a study has settled about grading: how stiffness is brought to 12 %, and its table of stiffness classes."""

    study = models.OneToOneField(Study, models.PROTECT, related_name="grading_plan")
    mc_rule = models.CharField(max_length=40, default="en384", db_default="en384")
    classes = models.CharField(max_length=64, default="", db_default="", blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints: ClassVar = [*filled("mc_rule")]

    def __str__(self) -> str:
        return f"grading plan of {self.study}"


@tracked
class GradingSample(models.Model):
    """Boards that are graded blind by several people under one rule set: nobody sees another's grades."""

    study = models.ForeignKey(Study, models.PROTECT, related_name="grading_samples")
    rule_set = models.ForeignKey(RuleSet, models.PROTECT, related_name="samples")
    title = models.CharField(max_length=200)
    seed = models.PositiveIntegerField(help_text="From which the boards were drawn.")
    note = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey("portal.User", models.PROTECT, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["-created_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint("study", "title", name="grading_gradingsample_title_once"),
            *filled("title"),
        ]

    def __str__(self) -> str:
        return self.title


@tracked
class SampleBoard(models.Model):
    """A board of a blind sample. `study` is the sample's and the board's own (held by the database)."""

    sample = models.ForeignKey(GradingSample, models.PROTECT, related_name="boards")
    board = models.ForeignKey(Board, models.PROTECT, related_name="samples")
    study = models.ForeignKey(Study, models.PROTECT, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.UniqueConstraint("sample", "board", name="grading_sampleboard_once"),
        ]

    def __str__(self) -> str:
        return f"{self.board} in {self.sample}"


@tracked
class GradingSession(models.Model):
    """One person's sitting at the bench, in a study; with a `sample` it is a blind one."""

    study = models.ForeignKey(Study, models.PROTECT, related_name="grading_sessions")
    grader = models.ForeignKey("portal.User", models.PROTECT, related_name="grading_sessions")
    sample = models.ForeignKey(GradingSample, models.PROTECT, null=True, blank=True, related_name="sessions")
    note = models.CharField(max_length=400, blank=True, default="", db_default="")
    closed_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["-created_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                "study",
                "grader",
                "sample",
                condition=Q(closed_at__isnull=True),
                name="grading_gradingsession_one_open",
                nulls_distinct=False,
            ),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True)
                | Q(closed_at__isnull=False, closed_at__gte=F("created_at")),
                name="grading_gradingsession_times_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.grader} from {self.created_at:%Y-%m-%d %H:%M}"


@tracked
class SessionRuleSet(models.Model):
    """A rule set by which a session grades."""

    session = models.ForeignKey(GradingSession, models.PROTECT, related_name="rule_sets")
    rule_set = models.ForeignKey(RuleSet, models.PROTECT, related_name="sessions")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.UniqueConstraint("session", "rule_set", name="grading_sessionruleset_once"),
        ]

    def __str__(self) -> str:
        return f"{self.rule_set} in {self.session}"


@tracked
class SampleGrade(models.Model):
    """What one person gave a board of a blind sample, once per session."""

    session = models.ForeignKey(GradingSession, models.PROTECT, related_name="sample_grades")
    sample_board = models.ForeignKey(SampleBoard, models.PROTECT, related_name="grades")
    grade = models.ForeignKey(Grade, models.PROTECT, related_name="sample_grades")
    graded_at = models.DateTimeField()
    note = models.CharField(max_length=400, blank=True, default="", db_default="")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["graded_at", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint("session", "sample_board", name="grading_samplegrade_once"),
        ]
        triggers: ClassVar = [
            pgtrigger.Trigger(
                name="grade_of_its_sample",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                declare=[("sample", "RECORD")],
                func="""
                    SELECT s.id, s.rule_set_id INTO sample FROM grading_gradingsample s
                        JOIN grading_sampleboard b ON b.sample_id = s.id WHERE b.id = NEW.sample_board_id;
                    IF sample.id IS DISTINCT FROM
                        (SELECT sample_id FROM grading_gradingsession WHERE id = NEW.session_id)
                        OR sample.rule_set_id IS DISTINCT FROM
                        (SELECT rule_set_id FROM grading_grade WHERE id = NEW.grade_id) THEN
                        RAISE EXCEPTION 'board, session and grade belong to different samples'
                            USING ERRCODE = 'check_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sample_board}: {self.grade}"

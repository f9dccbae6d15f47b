"""Boards graded anew by another version of their rules, and what moved."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from grading.calc.feature_kinds import BY_CODE
from grading.models.rule_sets import Grade, RuleSet
from portal.constraints import not_negative, positive
from portal.history import tracked
from sawing.models import Board, Study


@tracked
class Regrade(models.Model):
    """A study's boards graded from their feature maps by `rule_set`, beside the grades they have by `against`.

    A job fills it in; nothing in the boards' grades changes until somebody keeps it (`kept_at`).
    """

    study = models.ForeignKey(Study, models.PROTECT, related_name="regrades")
    rule_set = models.ForeignKey(RuleSet, models.PROTECT, related_name="regrades")
    against = models.ForeignKey(RuleSet, models.PROTECT, null=True, blank=True, related_name="+")
    options = models.JSONField(default=dict, blank=True)
    result = models.JSONField(null=True, blank=True)
    input_hash = models.CharField(max_length=64, blank=True, default="", db_default="")
    code_version = models.CharField(max_length=40, blank=True, default="", db_default="")
    job = models.ForeignKey("portal.Job", models.PROTECT, null=True, blank=True, related_name="+")
    kept_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey("portal.User", models.PROTECT, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["-created_at", "-pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(kept_at__isnull=True) | Q(kept_at__isnull=False, result__isnull=False),
                name="grading_regrade_kept_when_done",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.study} by {self.rule_set}"


class RegradedBoard(models.Model):
    """One board in a regrade. `after` is NULL where its grade cannot be said (see `not_assessed`)."""

    regrade = models.ForeignKey(Regrade, models.PROTECT, related_name="boards")
    board = models.ForeignKey(Board, models.PROTECT, related_name="+")
    before = models.ForeignKey(Grade, models.PROTECT, null=True, blank=True, related_name="+")
    after = models.ForeignKey(Grade, models.PROTECT, null=True, blank=True, related_name="+")
    from_mm = models.FloatField(null=True, blank=True)
    from_edge_mm = models.FloatField(null=True, blank=True)
    graded_length_m = models.FloatField(null=True, blank=True)
    graded_width_mm = models.FloatField(null=True, blank=True)
    graded_thickness_mm = models.FloatField(null=True, blank=True)
    value = models.FloatField(null=True, blank=True)
    deciding_kind = models.CharField(max_length=40, null=True, blank=True)
    deciding_text = models.CharField(max_length=400, null=True, blank=True)
    not_assessed = models.JSONField(null=True, blank=True)
    pieces = models.JSONField(null=True, blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["regrade", "board"]
        constraints: ClassVar = [
            models.UniqueConstraint("regrade", "board", name="grading_regradedboard_once"),
            models.CheckConstraint(
                condition=Q(deciding_kind__isnull=True) | Q(deciding_kind__in=list(BY_CODE)),
                name="grading_regradedboard_deciding_kind_known",
            ),
            *positive("graded_length_m", "graded_width_mm", "graded_thickness_mm"),
            *not_negative("from_mm", "from_edge_mm", "value"),
        ]

    def __str__(self) -> str:
        return f"{self.board}: {self.before} to {self.after}"

"""Kept results of dock and edge, tables of scenarios, and plans beside what was cut."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from portal.constraints import filled, not_negative
from portal.history import tracked
from sawing.models.chain import Flitch, Study


class ResultFrom(models.TextChoices):
    MEASURED = "measured", "Measured outline"
    TRACED = "traced", "Traced outline"
    PREDICTED = "predicted", "Predicted from the log"


@tracked
class DockResult(models.Model):
    """The best docking and edging of one flitch under stated rules, kept. A later one does not erase it."""

    flitch = models.ForeignKey(Flitch, models.PROTECT, related_name="dock_results")
    outline_from = models.CharField(max_length=10, choices=ResultFrom.choices)
    outline = models.JSONField()
    rules = models.JSONField()
    result = models.JSONField()
    volume_m3 = models.FloatField()
    input_hash = models.CharField(max_length=64)
    code_version = models.CharField(max_length=40, blank=True)
    by = models.ForeignKey("portal.User", models.PROTECT, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["-created_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint("flitch", "input_hash", name="sawing_dockresult_once"),
            models.CheckConstraint(
                condition=Q(outline_from__in=ResultFrom.values), name="sawing_dockresult_from_known"
            ),
            *filled("input_hash"),
            *not_negative("volume_m3"),
        ]

    def __str__(self) -> str:
        return f"docking of {self.flitch}"


@tracked
class ScenarioTable(models.Model):
    """The same logs under several ways of sawing; worked out by a job, `result` is filled when it is done."""

    study = models.ForeignKey(Study, models.PROTECT, related_name="scenario_tables")
    name = models.CharField(max_length=200)
    parameters = models.JSONField()
    result = models.JSONField(null=True, blank=True)
    input_hash = models.CharField(max_length=64, blank=True)
    code_version = models.CharField(max_length=40, blank=True)
    job = models.ForeignKey("portal.Job", models.PROTECT, null=True, blank=True, related_name="+")
    by = models.ForeignKey("portal.User", models.PROTECT, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["-created_at", "-pk"]
        constraints: ClassVar = [*filled("name")]

    def __str__(self) -> str:
        return self.name


@tracked
class PlanComparison(models.Model):
    """The best plan of every flitch of a study beside what was cut; worked out by a job where there are many.

    `input_hash` tells whether boards, logs, outlines or the plan have changed since `computed_at`.
    """

    study = models.OneToOneField(Study, models.PROTECT, related_name="plan_comparison")
    result = models.JSONField(null=True, blank=True)
    input_hash = models.CharField(max_length=64, blank=True)
    job = models.ForeignKey("portal.Job", models.PROTECT, null=True, blank=True, related_name="+")
    by = models.ForeignKey("portal.User", models.PROTECT, related_name="+")
    computed_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(result__isnull=True, computed_at__isnull=True)
                | Q(result__isnull=False, computed_at__isnull=False),
                name="sawing_plancomparison_result_has_a_date",
            ),
        ]

    def __str__(self) -> str:
        return f"plans and cuts of {self.study}"

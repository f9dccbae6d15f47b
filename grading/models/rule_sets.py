"""Rule sets, versioned, and their grades."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from portal.constraints import filled
from portal.history import tracked


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

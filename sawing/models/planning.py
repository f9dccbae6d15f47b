"""Who does what in a study."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from portal.history import tracked
from sawing.models.chain import Study


class Stage(models.TextChoices):
    """The stages of a study, in their order."""

    FELLED = "felled", "Felled"
    LOGGED = "logged", "Cut to logs"
    LABELLED = "labelled", "Labelled"
    SAWN = "sawn", "Sawn"
    STACKED = "stacked", "Stacked"
    DRIED = "dried", "Dried"
    GRADED = "graded", "Graded"


@tracked
class Duty(models.Model):
    """A person who answers for a stage of a study: somebody with an account, or a name."""

    study = models.ForeignKey(Study, models.PROTECT, related_name="duties")
    stage = models.CharField(max_length=10, choices=Stage.choices)
    person = models.ForeignKey("portal.User", models.PROTECT, null=True, blank=True, related_name="duties")
    name = models.CharField(max_length=200, blank=True)
    planned_on = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)
    active = models.BooleanField(db_default=True, default=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        verbose_name_plural = "duties"
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(stage__in=Stage.values), name="sawing_duty_stage_known"),
            models.CheckConstraint(
                condition=Q(person__isnull=False) | ~Q(name=""), name="sawing_duty_names_somebody"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_stage_display()}: {self.person or self.name}"

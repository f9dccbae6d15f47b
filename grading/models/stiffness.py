"""Taps on boards: what they rang at, and what is needed to make a stiffness of it."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from portal.constraints import positive
from portal.history import tracked
from sawing.models import Board


class TapRead(models.TextChoices):
    TYPED = "typed", "Typed"
    FILE = "file", "File"
    SOUND = "sound", "Sound recording"


@tracked
class StiffnessReading(models.Model):
    """One reading of a board. Velocity and MOE are computed from it, never stored.

    `length_m` is the board's own when empty; density comes from `density_kg_m3`, else from mass and sizes.
    `recording`: of a sound, {"file_name", "rate_hz", "seconds", "peaks": [...], "spectrum": [[hz, level], ...]}.
    """

    board = models.ForeignKey(Board, models.PROTECT, related_name="stiffness_readings")
    client_id = models.UUIDField(unique=True)
    read_on = models.DateField(null=True, blank=True)
    read_by = models.CharField(max_length=10, choices=TapRead.choices, db_default=TapRead.TYPED)
    resonance_hz = models.FloatField()
    harmonic = models.PositiveSmallIntegerField(default=1, db_default=1)
    second_hz = models.FloatField(null=True, blank=True)
    length_m = models.FloatField(null=True, blank=True)
    mass_kg = models.FloatField(null=True, blank=True)
    density_kg_m3 = models.FloatField(null=True, blank=True)
    mc_pct = models.FloatField(null=True, blank=True)
    recording = models.JSONField(null=True, blank=True)
    note = models.CharField(max_length=400, null=True, blank=True)
    set_aside = models.BooleanField(default=False, db_default=False)
    by = models.ForeignKey("portal.User", models.PROTECT, null=True, blank=True, related_name="+")
    notes = models.JSONField(null=True, blank=True)
    upload = models.ForeignKey("portal.Upload", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["board", "-read_on", "-pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(read_by__in=TapRead.values), name="grading_stiffnessreading_read_by_known"
            ),
            models.CheckConstraint(
                condition=Q(harmonic__gte=1, harmonic__lte=20), name="grading_stiffnessreading_mode_plausible"
            ),
            models.CheckConstraint(
                condition=Q(mc_pct__isnull=True) | Q(mc_pct__gte=0, mc_pct__lte=300),
                name="grading_stiffnessreading_moisture_plausible",
            ),
            *positive("resonance_hz", "second_hz", "length_m", "mass_kg", "density_kg_m3"),
        ]

    def __str__(self) -> str:
        return f"{self.resonance_hz:g} Hz on {self.board}"

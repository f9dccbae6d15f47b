"""What was seen on boards: their feature maps."""

from typing import ClassVar

import pgtrigger
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from grading.calc.feature_kinds import FACES, NAMES
from grading.models.sessions import SAME_STUDY, GradingSession
from portal.constraints import not_negative
from portal.history import tracked
from sawing.models import Board

FEATURE_NUMBERS = (
    "x_mm",
    "y_mm",
    "length_mm",
    "width_mm",
    "size_mm",
    "depth_mm",
    "percent",
    "margin_percent",
)


@tracked
class BoardFeature(models.Model):
    """A feature of a board, as in a features file; size 0 says that its kind (or group) was looked for and not found.

    What has no row on a board was not assessed on it. One `set_aside` counts no longer; history tells who did it.
    """

    board = models.ForeignKey(Board, models.PROTECT, related_name="features")
    kind = models.CharField(max_length=40)
    face = models.CharField(max_length=10)
    x_mm = models.FloatField(null=True, blank=True)
    y_mm = models.FloatField(null=True, blank=True)
    length_mm = models.FloatField(null=True, blank=True)
    width_mm = models.FloatField(null=True, blank=True)
    size_mm = models.FloatField(null=True, blank=True)
    depth_mm = models.FloatField(null=True, blank=True)
    percent = models.FloatField(null=True, blank=True)
    margin_percent = models.FloatField(null=True, blank=True)
    note = models.CharField(max_length=400, null=True, blank=True)
    set_aside = models.BooleanField(default=False, db_default=False)
    by = models.ForeignKey("portal.User", models.PROTECT, null=True, blank=True, related_name="+")
    session = models.ForeignKey(
        GradingSession, models.PROTECT, null=True, blank=True, related_name="features"
    )
    notes = models.JSONField(null=True, blank=True)
    upload = models.ForeignKey("portal.Upload", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["board", "face", "x_mm", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                "board",
                "kind",
                "face",
                "x_mm",
                "y_mm",
                condition=Q(set_aside=False),
                nulls_distinct=False,
                name="grading_boardfeature_once_at_a_place",
            ),
            models.CheckConstraint(condition=Q(kind__in=NAMES), name="grading_boardfeature_kind_known"),
            models.CheckConstraint(condition=Q(face__in=FACES), name="grading_boardfeature_face_known"),
            *not_negative(*FEATURE_NUMBERS),
        ]
        triggers: ClassVar = [
            pgtrigger.Trigger(
                name="feature_session_of_its_study",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("session_id", "board_id"),
                condition=pgtrigger.Q(new__session_id__isnull=False),
                func=SAME_STUDY,
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} on {self.board}"

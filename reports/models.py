"""Price lists, and nothing else that could be computed from the other rooms."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from grading.models import Grade
from portal.constraints import not_negative, positive
from portal.history import tracked
from trials.models import Trial


@tracked
class PriceList(models.Model):
    """Prices of graded timber at one time, in one currency. A new file makes a new version."""

    trial = models.ForeignKey(Trial, models.PROTECT, related_name="price_lists")
    version = models.PositiveIntegerField(default=1)
    currency = models.CharField(max_length=3, blank=True)
    current = models.BooleanField(default=True)
    upload = models.ForeignKey("portal.Upload", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["trial", "-version"]
        constraints: ClassVar = [
            models.UniqueConstraint("trial", "version", name="reports_pricelist_version_once"),
            models.UniqueConstraint("trial", condition=Q(current=True), name="reports_pricelist_one_current"),
        ]

    def __str__(self) -> str:
        return f"Prices, version {self.version}"


@tracked
class Price(models.Model):
    """Price per m³ of a grade within a band of widths (from inclusive, to exclusive; empty is open)."""

    price_list = models.ForeignKey(PriceList, models.PROTECT, related_name="prices")
    grade = models.ForeignKey(Grade, models.PROTECT, related_name="prices")
    price_per_m3 = models.FloatField()
    min_width_mm = models.FloatField(null=True, blank=True)
    max_width_mm = models.FloatField(null=True, blank=True)
    min_thickness_mm = models.FloatField(null=True, blank=True)
    notes = models.JSONField(null=True, blank=True)
    upload = models.ForeignKey("portal.Upload", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                "price_list",
                "grade",
                "min_width_mm",
                "min_thickness_mm",
                nulls_distinct=False,
                name="reports_price_band_once",
            ),
            models.CheckConstraint(
                condition=Q(min_width_mm__isnull=True)
                | Q(max_width_mm__isnull=True)
                | Q(max_width_mm__gt=models.F("min_width_mm")),
                name="reports_price_band_runs_upwards",
            ),
            *not_negative("price_per_m3", "min_width_mm", "min_thickness_mm"),
            *positive("max_width_mm"),
        ]

    def __str__(self) -> str:
        return f"{self.grade}: {self.price_per_m3} per m³"

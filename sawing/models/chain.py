"""A processing study: from felled tree to board."""

from typing import Any, ClassVar

import pgtrigger
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now

from portal.constraints import filled, not_negative, positive
from portal.history import tracked
from trials.models import Tree, Trial


class SweepPosition(models.TextChoices):
    """How the bow of a log lies on the carriage."""

    ON_ITS_SIDE = "side", "Bow in the plane of the flitches (on its side)"
    BOW_UP = "bow_up", "Bow up or down"


@tracked
class Study(models.Model):
    """One processing study: trees of a trial felled, sawn at a mill, dried and graded together."""

    trial = models.ForeignKey(Trial, models.PROTECT, related_name="studies")
    code = models.SlugField(max_length=32)
    name = models.CharField(max_length=200)
    mill = models.CharField(max_length=200, blank=True)
    purpose = models.TextField(blank=True)
    headsaw_kerf_mm = models.FloatField(null=True, blank=True)
    edger_kerf_mm = models.FloatField(null=True, blank=True)
    widths_mm = models.JSONField(default=list, blank=True)
    thicknesses_mm = models.JSONField(default=list, blank=True)
    crosscut_module_mm = models.FloatField(null=True, blank=True)
    crosscut_kerf_mm = models.FloatField(null=True, blank=True)
    min_length_mm = models.FloatField(null=True, blank=True)
    max_length_mm = models.FloatField(null=True, blank=True)
    max_docks = models.PositiveSmallIntegerField(db_default=1, default=1)
    oversize_width_pct = models.FloatField(null=True, blank=True)
    oversize_thickness_mm = models.FloatField(null=True, blank=True)
    edger_clearance_mm = models.FloatField(null=True, blank=True)
    sweep_position = models.CharField(
        max_length=10, choices=SweepPosition.choices, default=SweepPosition.ON_ITS_SIDE
    )
    safety_note = models.TextField(blank=True)
    bark_factor = models.FloatField(
        null=True, blank=True, help_text="Diameter under bark ÷ over bark, for logs measured over bark."
    )
    log_volume_formula = models.CharField(max_length=40, default="smalian")
    drying_plan = models.TextField(blank=True)
    felled_on = models.DateField(null=True, blank=True)
    sawn_on = models.DateField(null=True, blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        verbose_name_plural = "studies"
        ordering: ClassVar = ["-created_at"]
        constraints: ClassVar = [
            models.UniqueConstraint("trial", "code", name="sawing_study_code_once"),
            models.CheckConstraint(
                condition=Q(bark_factor__isnull=True) | Q(bark_factor__gt=0.5, bark_factor__lte=1),
                name="sawing_study_bark_factor_plausible",
            ),
            *filled("code", "name"),
            models.CheckConstraint(
                condition=Q(sweep_position__in=SweepPosition.values), name="sawing_study_sweep_position_known"
            ),
            models.CheckConstraint(condition=Q(max_docks__lte=2), name="sawing_study_docks_few"),
            models.CheckConstraint(
                condition=Q(min_length_mm__isnull=True)
                | Q(max_length_mm__isnull=True)
                | Q(max_length_mm__gte=F("min_length_mm")),
                name="sawing_study_lengths_in_order",
            ),
            *positive("crosscut_module_mm", "min_length_mm", "max_length_mm"),
            *not_negative("headsaw_kerf_mm", "edger_kerf_mm", "crosscut_kerf_mm"),
            *not_negative("oversize_width_pct", "oversize_thickness_mm", "edger_clearance_mm"),
        ]
        triggers: ClassVar = [pgtrigger.ReadOnly(name="stays_in_its_trial", fields=["trial"])]

    def __str__(self) -> str:
        return self.name


@tracked
class Felling(models.Model):
    """A tree felled for a study. A tree is felled once."""

    study = models.ForeignKey(Study, models.PROTECT, related_name="fellings")
    tree = models.OneToOneField(Tree, models.PROTECT, related_name="felling")
    felled_on = models.DateField(null=True, blank=True)
    stem_length_m = models.FloatField(null=True, blank=True)
    stump_m = models.FloatField(null=True, blank=True)
    north_marked = models.BooleanField(db_default=False, help_text="North is painted along the stem.")
    felled_by = models.CharField(max_length=200, blank=True)
    note = models.TextField(blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints: ClassVar = [*positive("stem_length_m"), *not_negative("stump_m")]
        triggers: ClassVar = [
            pgtrigger.Trigger(
                name="tree_of_the_trial",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("study_id", "tree_id"),
                func="""
                    IF (SELECT trial_id FROM sawing_study WHERE id = NEW.study_id)
                        IS DISTINCT FROM (SELECT trial_id FROM trials_tree WHERE id = NEW.tree_id) THEN
                        RAISE EXCEPTION 'the felled tree belongs to another trial than the study'
                            USING ERRCODE = 'check_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"felling of {self.tree}"


class Bark(models.TextChoices):
    UNDER = "under", "Under bark"
    OVER = "over", "Over bark"


@tracked
class Log(models.Model):
    """A length of stem. Two diameter readings at right angles at each end, in mm; heights and lengths in m."""

    study = models.ForeignKey(Study, models.PROTECT, related_name="logs")
    felling = models.ForeignKey(Felling, models.PROTECT, related_name="logs")
    code = models.CharField(max_length=64)
    bottom_m = models.FloatField()
    length_m = models.FloatField()
    sed1_mm = models.FloatField()
    led1_mm = models.FloatField()
    sed2_mm = models.FloatField(null=True, blank=True)
    led2_mm = models.FloatField(null=True, blank=True)
    mid1_mm = models.FloatField(null=True, blank=True)
    mid2_mm = models.FloatField(null=True, blank=True)
    centroid_mm = models.FloatField(null=True, blank=True)
    sections_mm = models.CharField(max_length=400, null=True, blank=True)
    heart_sed_mm = models.FloatField(null=True, blank=True)
    heart_led_mm = models.FloatField(null=True, blank=True)
    sweep_mm = models.FloatField(null=True, blank=True)
    bark = models.CharField(max_length=10, choices=Bark.choices, db_default=Bark.UNDER)
    resonance_hz = models.FloatField(null=True, blank=True)
    mass_kg = models.FloatField(null=True, blank=True)
    notes = models.JSONField(null=True, blank=True)
    upload = models.ForeignKey("portal.Upload", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["code"]
        constraints: ClassVar = [
            models.UniqueConstraint("study", "code", name="sawing_log_code_once"),
            models.CheckConstraint(condition=Q(bark__in=Bark.values), name="sawing_log_bark_known"),
            *filled("code"),
            *positive(
                "length_m", "sed1_mm", "led1_mm", "sed2_mm", "led2_mm", "mid1_mm", "mid2_mm", "centroid_mm"
            ),
            *positive("resonance_hz", "mass_kg"),
            *not_negative("bottom_m", "heart_sed_mm", "heart_led_mm", "sweep_mm"),
        ]

    def __str__(self) -> str:
        return self.code


class OutlineFrom(models.TextChoices):
    """Where a flitch's outline was taken from. A predicted outline is never stored."""

    MEASURED = "measured", "Measured, from a file"
    TRACED = "traced", "Traced over a picture"


@tracked
class Flitch(models.Model):
    """A slab-sided piece sawn through the log, before edging.

    `outline` is a list of stations from the butt, in mm: {"x_mm", "left_mm", "right_mm"} and, where measured, the
    wide face's {"left_wide_mm", "right_wide_mm"}.
    """

    study = models.ForeignKey(Study, models.PROTECT, related_name="flitches")
    log = models.ForeignKey(Log, models.PROTECT, related_name="flitches")
    code = models.CharField(max_length=64)
    thickness_mm = models.FloatField(null=True, blank=True)
    outline = models.JSONField(null=True, blank=True)
    outline_from = models.CharField(max_length=10, choices=OutlineFrom.choices, null=True, blank=True)
    upload = models.ForeignKey("portal.Upload", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        verbose_name_plural = "flitches"
        ordering: ClassVar = ["code"]
        constraints: ClassVar = [
            models.UniqueConstraint("log", "code", name="sawing_flitch_code_once"),
            models.CheckConstraint(
                condition=Q(outline__isnull=True, outline_from__isnull=True)
                | Q(outline__isnull=False, outline_from__isnull=False, outline_from__in=OutlineFrom.values),
                name="sawing_flitch_outline_from_known",
            ),
            *filled("code"),
            *positive("thickness_mm"),
        ]

    def __str__(self) -> str:
        return self.code


class BoardState(models.TextChoices):
    SAWN = "sawn", "Sawn"
    IN_STACK = "in_stack", "In stack"
    DRY = "dry", "Dry"
    GRADED = "graded", "Graded"
    AVAILABLE = "available", "Available"
    RESERVED = "reserved", "Reserved"
    RELEASED = "released", "Released"
    CONSUMED = "consumed", "Consumed"
    RETURNED = "returned", "Returned"


# Boards may be graded green or straight from the saw; nothing else is skipped.
BOARD_STEPS: list[tuple[Any, Any]] = [
    ("sawn", "in_stack"),
    ("sawn", "dry"),
    ("sawn", "graded"),
    ("in_stack", "dry"),
    ("in_stack", "graded"),
    ("in_stack", "sawn"),  # taken out of a stack before it is dry
    ("dry", "graded"),
    ("graded", "available"),
    ("available", "graded"),
    ("available", "reserved"),
    ("reserved", "available"),
    ("reserved", "released"),
    ("released", "consumed"),
    ("released", "returned"),
    ("returned", "available"),
]


@tracked
class Board(models.Model):
    """A board, with its actual green size and, where known, its nominal and its dry size."""

    study = models.ForeignKey(Study, models.PROTECT, related_name="boards")
    log = models.ForeignKey(Log, models.PROTECT, related_name="boards")
    flitch = models.ForeignKey(Flitch, models.PROTECT, null=True, blank=True, related_name="boards")
    code = models.CharField(max_length=64)
    piece = models.CharField(max_length=64, null=True, blank=True)
    cell = models.CharField(max_length=64, null=True, blank=True)
    thickness_mm = models.FloatField()
    width_mm = models.FloatField()
    length_m = models.FloatField()
    nominal_thickness_mm = models.FloatField(null=True, blank=True)
    nominal_width_mm = models.FloatField(null=True, blank=True)
    dry_thickness_mm = models.FloatField(null=True, blank=True)
    dry_width_mm = models.FloatField(null=True, blank=True)
    dry_length_m = models.FloatField(null=True, blank=True)
    volume_m3 = models.GeneratedField(
        expression=F("thickness_mm") * F("width_mm") * F("length_m") / 1e6,
        output_field=models.FloatField(),
        db_persist=True,
    )
    state = models.CharField(max_length=20, choices=BoardState.choices, db_default=BoardState.SAWN)
    notes = models.JSONField(null=True, blank=True)
    upload = models.ForeignKey("portal.Upload", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["code"]
        constraints: ClassVar = [
            models.UniqueConstraint("study", "code", name="sawing_board_code_once"),
            models.CheckConstraint(condition=Q(state__in=BoardState.values), name="sawing_board_state_known"),
            *filled("code"),
            *positive("thickness_mm", "width_mm", "length_m", "nominal_thickness_mm", "nominal_width_mm"),
            *positive("dry_thickness_mm", "dry_width_mm", "dry_length_m"),
        ]
        triggers: ClassVar = [
            pgtrigger.FSM(name="board_steps", field="state", transitions=BOARD_STEPS),
        ]

    def __str__(self) -> str:
        return self.code

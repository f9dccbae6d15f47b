"""Yards, stacks, moisture readings and what drying did to boards."""

from typing import ClassVar

import pgtrigger
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower, Now

from portal.constraints import filled, not_negative, positive
from portal.history import tracked
from sawing.models.chain import Board, Study
from trials.models import Trial


@tracked
class Yard(models.Model):
    """A place where boards dry. `climate` has twelve rows, January first: {"temperature_c", "humidity_pct"}."""

    trial = models.ForeignKey(Trial, models.PROTECT, related_name="yards")
    name = models.CharField(max_length=120)
    under_roof = models.BooleanField(default=True)
    climate = models.JSONField(default=list, blank=True)
    climate_source = models.CharField(max_length=200, blank=True)
    note = models.TextField(blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["name"]
        constraints: ClassVar = [
            models.UniqueConstraint("trial", Lower("name"), name="sawing_yard_name_once"),
            *filled("name"),
        ]

    def __str__(self) -> str:
        return self.name


class StackState(models.TextChoices):
    BUILDING = "building", "Being built"
    DRYING = "drying", "Drying"
    RELEASED = "released", "Released"


@tracked
class Stack(models.Model):
    """Boards piled on fillets to dry."""

    study = models.ForeignKey(Study, models.PROTECT, related_name="stacks")
    code = models.SlugField(max_length=40)
    yard = models.ForeignKey(Yard, models.PROTECT, null=True, blank=True, related_name="stacks")
    place = models.CharField(max_length=120, blank=True)
    fillet_thickness_mm = models.FloatField(null=True, blank=True)
    fillet_spacing_mm = models.FloatField(null=True, blank=True)
    top_weight_kg = models.FloatField(null=True, blank=True)
    target_pct = models.FloatField(null=True, blank=True)
    state = models.CharField(max_length=10, choices=StackState.choices, default=StackState.BUILDING)
    built_on = models.DateField(null=True, blank=True)
    released_on = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["code"]
        constraints: ClassVar = [
            models.UniqueConstraint("study", Lower("code"), name="sawing_stack_code_once"),
            models.CheckConstraint(condition=Q(state__in=StackState.values), name="sawing_stack_state_known"),
            models.CheckConstraint(
                condition=Q(released_on__isnull=True)
                | Q(built_on__isnull=True)
                | Q(released_on__gte=F("built_on")),
                name="sawing_stack_days_in_order",
            ),
            models.CheckConstraint(
                condition=~Q(state="released") | Q(released_on__isnull=False),
                name="sawing_stack_released_has_a_day",
            ),
            *filled("code"),
            *positive("fillet_thickness_mm", "fillet_spacing_mm", "target_pct"),
            *not_negative("top_weight_kg"),
        ]

    def __str__(self) -> str:
        return self.code


@tracked
class StackPlacing(models.Model):
    """A board's place in a stack. A board is in one stack at a time."""

    stack = models.ForeignKey(Stack, models.PROTECT, related_name="placings")
    board = models.ForeignKey(Board, models.PROTECT, related_name="placings")
    layer = models.PositiveSmallIntegerField(null=True, blank=True)
    position = models.PositiveSmallIntegerField(null=True, blank=True)
    placed_on = models.DateField()
    taken_on = models.DateField(null=True, blank=True)
    taken_why = models.CharField(
        max_length=400, blank=True, help_text="Why it was taken out before it was dry; empty after a release."
    )
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["layer", "position", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                "board", condition=Q(taken_on__isnull=True), name="sawing_stackplacing_one_stack"
            ),
            models.UniqueConstraint(
                "stack",
                "layer",
                "position",
                condition=Q(taken_on__isnull=True),
                name="sawing_stackplacing_place_once",
            ),
            models.CheckConstraint(
                condition=Q(taken_on__isnull=True) | Q(taken_on__gte=F("placed_on")),
                name="sawing_stackplacing_days_in_order",
            ),
        ]
        triggers: ClassVar = [
            pgtrigger.Trigger(
                name="board_of_its_study",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("stack_id", "board_id"),
                func="""
                    IF (SELECT study_id FROM sawing_board WHERE id = NEW.board_id)
                        IS DISTINCT FROM (SELECT study_id FROM sawing_stack WHERE id = NEW.stack_id) THEN
                        RAISE EXCEPTION 'the board belongs to another study than the stack'
                            USING ERRCODE = 'check_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"{self.board} in {self.stack}"


class MoistureMethod(models.TextChoices):
    METER = "meter", "Meter"
    OVEN_DRY = "oven_dry", "Oven-dry sample"


@tracked
class MoistureReading(models.Model):
    """One moisture reading of a board, in % of the oven-dry mass.

    Meter: `raw_pct` is what the meter showed, `mc_pct` the corrected value, NULL where it stood above fibre
    saturation (`above_fsp`). Oven-dry: from the masses of a sample cut from the board.
    """

    board = models.ForeignKey(Board, models.PROTECT, related_name="moisture_readings")
    stack = models.ForeignKey(Stack, models.PROTECT, null=True, blank=True, related_name="moisture_readings")
    read_on = models.DateField()
    method = models.CharField(
        max_length=10, choices=MoistureMethod.choices, db_default=MoistureMethod.METER, default="meter"
    )
    raw_pct = models.FloatField(null=True, blank=True)
    mc_pct = models.FloatField(null=True, blank=True)
    above_fsp = models.BooleanField(db_default=False, default=False)
    temperature_c = models.FloatField(null=True, blank=True)
    instrument = models.CharField(max_length=120, blank=True)
    species_setting = models.CharField(max_length=120, blank=True)
    wet_mass_g = models.FloatField(null=True, blank=True)
    dry_mass_g = models.FloatField(null=True, blank=True)
    sample = models.CharField(max_length=64, blank=True, help_text="Which sample or place on the board.")
    note = models.TextField(blank=True)
    client_id = models.UUIDField(null=True, blank=True, unique=True)
    set_aside = models.BooleanField(db_default=False, default=False)
    by = models.ForeignKey("portal.User", models.PROTECT, null=True, blank=True, related_name="+")
    upload = models.ForeignKey("portal.Upload", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["read_on", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(method__in=MoistureMethod.values), name="sawing_moisturereading_method_known"
            ),
            models.CheckConstraint(
                condition=Q(above_fsp=True, mc_pct__isnull=True) | Q(above_fsp=False, mc_pct__isnull=False),
                name="sawing_moisturereading_value_or_above",
            ),
            models.CheckConstraint(
                condition=~Q(method="oven_dry") | Q(above_fsp=False),
                name="sawing_moisturereading_oven_has_a_value",
            ),
            models.CheckConstraint(
                condition=Q(wet_mass_g__isnull=True)
                | Q(dry_mass_g__isnull=True)
                | Q(wet_mass_g__gte=F("dry_mass_g")),
                name="sawing_moisturereading_water_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(temperature_c__isnull=True) | Q(temperature_c__gte=-60, temperature_c__lte=150),
                name="sawing_moisturereading_temperature_plausible",
            ),
            *not_negative("raw_pct", "mc_pct"),
            *positive("wet_mass_g", "dry_mass_g"),
        ]
        indexes: ClassVar = [models.Index(fields=["stack", "read_on"], name="sawing_moisture_by_stack")]

    def __str__(self) -> str:
        value = "> FSP" if self.above_fsp else f"{self.mc_pct:g} %"
        return f"{self.board}: {value} on {self.read_on}"


class DefectKind(models.TextChoices):
    CHECK = "check", "Check"
    END_SPLIT = "end_split", "End split"
    COLLAPSE = "collapse", "Collapse"
    BOW = "bow", "Bow"
    SPRING = "spring", "Spring"
    CUP = "cup", "Cup"
    TWIST = "twist", "Twist"
    STAIN = "stain", "Stain"


@tracked
class DryingDefect(models.Model):
    """Something drying did to a board. `size_mm` is the deflection, width or depth; `over_mm` the length it is over."""

    board = models.ForeignKey(Board, models.PROTECT, related_name="drying_defects")
    kind = models.CharField(max_length=12, choices=DefectKind.choices)
    size_mm = models.FloatField(null=True, blank=True)
    over_mm = models.FloatField(null=True, blank=True)
    seen_on = models.DateField()
    note = models.TextField(blank=True)
    set_aside = models.BooleanField(db_default=False, default=False)
    by = models.ForeignKey("portal.User", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["board", "kind", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(kind__in=DefectKind.values), name="sawing_dryingdefect_kind_known"
            ),
            *not_negative("size_mm"),
            *positive("over_mm"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.board}"

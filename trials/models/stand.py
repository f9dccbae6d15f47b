"""Where clones stand: trial, site, block, plot, tree; and the clones themselves."""

from typing import ClassVar

import pgtrigger
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower, Now

from portal.constraints import filled, positive
from portal.history import tracked
from trials.models.belonging import measured_trees_stay


@tracked
class Trial(models.Model):
    """A set of clones compared on one or more sites under one plan."""

    code = models.SlugField(max_length=32, unique=True)
    name = models.CharField(max_length=200)
    description = models.TextField(blank=True)
    breast_height_m = models.FloatField(default=1.3)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["name"]
        constraints: ClassVar = [*filled("code", "name"), *positive("breast_height_m")]

    def __str__(self) -> str:
        return self.name


@tracked
class Site(models.Model):
    """A piece of ground of the trial. Its trees have row and column addresses."""

    trial = models.ForeignKey(Trial, models.PROTECT, related_name="sites")
    code = models.CharField(max_length=64)
    name = models.CharField(max_length=200, blank=True)
    place = models.CharField(max_length=200, blank=True)
    elevation_m = models.FloatField(null=True, blank=True)
    planted_on = models.DateField(null=True, blank=True)
    spacing_m = models.CharField(max_length=40, blank=True, help_text="Between rows × within rows, in m.")
    design = models.CharField(max_length=200, blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["code"]
        constraints: ClassVar = [
            models.UniqueConstraint("trial", "code", name="trials_site_code_once"),
            *filled("code"),
        ]

    def __str__(self) -> str:
        return self.code


@tracked
class Block(models.Model):
    site = models.ForeignKey(Site, models.PROTECT, related_name="blocks")
    code = models.CharField(max_length=64)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["code"]
        constraints: ClassVar = [
            models.UniqueConstraint("site", "code", name="trials_block_code_once"),
            *filled("code"),
        ]
        triggers: ClassVar = [pgtrigger.ReadOnly(name="stays_on_its_site", fields=["site"])]

    def __str__(self) -> str:
        return self.code


@tracked
class Plot(models.Model):
    block = models.ForeignKey(Block, models.PROTECT, related_name="plots")
    code = models.CharField(max_length=64)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["code"]
        constraints: ClassVar = [
            models.UniqueConstraint("block", "code", name="trials_plot_code_once"),
            *filled("code"),
        ]
        triggers: ClassVar = [pgtrigger.ReadOnly(name="stays_in_its_block", fields=["block"])]

    def __str__(self) -> str:
        return self.code


class CloneKind(models.TextChoices):
    HYBRID = "hybrid", "Hybrid"
    PARENT_SPECIES = "parent species", "Parent species"
    CONTROL = "control", "Control"


@tracked
class Clone(models.Model):
    """Genetically identical trees. `colour` is its place on the portal's clone scale, given once per trial."""

    trial = models.ForeignKey(Trial, models.PROTECT, related_name="clones")
    code = models.CharField(max_length=64)
    name = models.CharField(max_length=200, blank=True)
    kind = models.CharField(max_length=20, choices=CloneKind.choices, default=CloneKind.HYBRID)
    seed_parent = models.CharField(max_length=200, blank=True)
    pollen_parent = models.CharField(max_length=200, blank=True)
    colour = models.PositiveSmallIntegerField(default=0)
    notes = models.JSONField(null=True, blank=True)
    upload = models.ForeignKey("portal.Upload", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["code"]
        constraints: ClassVar = [
            models.UniqueConstraint("trial", Lower("code"), name="trials_clone_code_once"),
            models.CheckConstraint(condition=Q(kind__in=CloneKind.values), name="trials_clone_kind_known"),
            *filled("code"),
        ]

    def __str__(self) -> str:
        return self.code


class TreeStatus(models.TextChoices):
    STANDING = "standing", "Standing"
    DEAD = "dead", "Dead"
    MISSING = "missing", "Missing"
    FELLED = "felled", "Felled"


@tracked
class Tree(models.Model):
    """One planted position. Its code is unique in the trial; site, row and column are its address."""

    trial = models.ForeignKey(Trial, models.PROTECT, related_name="trees")
    site = models.ForeignKey(Site, models.PROTECT, related_name="trees")
    plot = models.ForeignKey(Plot, models.PROTECT, related_name="trees")
    clone = models.ForeignKey(Clone, models.PROTECT, related_name="trees")
    code = models.CharField(max_length=64)
    row = models.IntegerField()
    col = models.IntegerField()
    planted_on = models.DateField(null=True, blank=True)
    status = models.CharField(max_length=20, choices=TreeStatus.choices, db_default=TreeStatus.STANDING)
    notes = models.JSONField(null=True, blank=True)
    upload = models.ForeignKey("portal.Upload", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["site", "row", "col"]
        constraints: ClassVar = [
            models.UniqueConstraint("trial", "code", name="trials_tree_code_once"),
            models.UniqueConstraint("site", "row", "col", name="trials_tree_address_once"),
            models.CheckConstraint(
                condition=Q(status__in=TreeStatus.values), name="trials_tree_status_known"
            ),
            *filled("code"),
        ]
        triggers: ClassVar = [
            pgtrigger.ReadOnly(name="stays_in_its_trial", fields=["trial"]),
            measured_trees_stay(),
            pgtrigger.Trigger(
                name="plot_on_its_site",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("site_id", "plot_id"),
                func="""
                    IF NOT EXISTS (
                        SELECT FROM trials_plot JOIN trials_block ON trials_block.id = trials_plot.block_id
                        WHERE trials_plot.id = NEW.plot_id AND trials_block.site_id = NEW.site_id
                    ) THEN
                        RAISE EXCEPTION 'the plot of tree % lies on another site', NEW.code
                            USING ERRCODE = 'check_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return self.code

"""Traits, assessments, and the entries that crews make tree by tree.

An entry is never changed and never lost: a correction is a new entry that names the one it corrects, and which
entry stands for a tree's trait is said by `standing`.
"""

from typing import Any, ClassVar

import pghistory
import pgtrigger
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower, Now

from portal.constraints import filled
from portal.history import tracked
from trials.models.belonging import trees_of_its_site
from trials.models.stand import Site, Tree, Trial


class TraitKind(models.TextChoices):
    NUMBER = "number", "Number"
    ORDINAL = "ordinal", "Ordinal scale"
    YES_NO = "yes_no", "Yes or no"
    TEXT = "text", "Text"


@tracked
class Trait(models.Model):
    """What is measured, how, and within which limits. Its code is the column name in files of measurements.

    `points` describes an ordinal scale: [{"value": 1, "text": "straight"}, …]. Limits are asked about at entry,
    never enforced: a tree may be odder than anybody thought.
    """

    trial = models.ForeignKey(Trial, models.PROTECT, related_name="traits")
    code = models.SlugField(max_length=40)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=10, choices=TraitKind.choices, default=TraitKind.NUMBER)
    unit = models.CharField(max_length=20, blank=True)
    minimum = models.FloatField(null=True, blank=True)
    maximum = models.FloatField(null=True, blank=True)
    decimals = models.PositiveSmallIntegerField(default=0)
    points = models.JSONField(default=list, blank=True)
    method = models.TextField(blank=True)
    instrument = models.CharField(max_length=120, blank=True)
    shrinks = models.BooleanField(
        default=False, help_text="May be smaller than last time without being asked about."
    )
    position = models.PositiveSmallIntegerField(default=0)
    active = models.BooleanField(default=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["position", "code"]
        constraints: ClassVar = [
            models.UniqueConstraint("trial", Lower("code"), name="trials_trait_code_once"),
            models.CheckConstraint(condition=Q(kind__in=TraitKind.values), name="trials_trait_kind_known"),
            models.CheckConstraint(
                condition=Q(minimum__isnull=True) | Q(maximum__isnull=True) | Q(maximum__gte=F("minimum")),
                name="trials_trait_limits_in_order",
            ),
            models.CheckConstraint(condition=Q(decimals__lte=6), name="trials_trait_decimals_few"),
            *filled("code", "name"),
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.unit}" if self.unit else self.name


class AssessmentState(models.TextChoices):
    OPEN = "open", "Open"
    CLOSED = "closed", "Closed"


@tracked
class Assessment(models.Model):
    """One visit to a site: which traits, which crew, from which day. Open until a manager closes it."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="assessments")
    name = models.CharField(max_length=120)
    measured_from = models.DateField()
    state = models.CharField(max_length=10, choices=AssessmentState.choices, default=AssessmentState.OPEN)
    traits = models.ManyToManyField(Trait, through="AssessmentTrait", related_name="assessments")
    crew = models.ManyToManyField("portal.User", related_name="assessments", blank=True)
    note = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_with = models.TextField(
        blank=True, help_text="What was not looked at, or not done, when it was closed."
    )
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["-measured_from", "name"]
        constraints: ClassVar = [
            models.UniqueConstraint("site", Lower("name"), name="trials_assessment_name_once"),
            models.CheckConstraint(
                condition=Q(state="open", closed_at__isnull=True)
                | Q(state="closed", closed_at__isnull=False),
                name="trials_assessment_closed_has_a_date",
            ),
            models.CheckConstraint(
                condition=Q(state="closed") | Q(closed_with=""), name="trials_assessment_open_without_a_word"
            ),
            *filled("name"),
        ]
        triggers: ClassVar = [pgtrigger.ReadOnly(name="assessment_stays_on_its_site", fields=["site"])]

    def __str__(self) -> str:
        return self.name


@tracked
class AssessmentTrait(models.Model):
    """A trait of an assessment, in the order in which it is entered."""

    assessment = models.ForeignKey(Assessment, models.PROTECT, related_name="assessment_traits")
    trait = models.ForeignKey(Trait, models.PROTECT, related_name="assessment_traits")
    position = models.PositiveSmallIntegerField(default=0)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering: ClassVar = ["position"]
        constraints: ClassVar = [
            models.UniqueConstraint("assessment", "trait", name="trials_assessmenttrait_once"),
        ]

    def __str__(self) -> str:
        return f"{self.trait} in {self.assessment}"


class EntryKind(models.TextChoices):
    VALUE = "value", "Value"
    DEAD = "dead", "Dead"
    MISSING = "missing", "Missing"
    SKIPPED = "skipped", "Skipped"
    SECOND_LEADER = "second_leader", "Second leader"
    NOTE = "note", "Note"


class Standing(models.TextChoices):
    CURRENT = "current", "Stands"
    REPLACED = "replaced", "Replaced by a later entry of the same crew"
    REPEATED = "repeated", "Says the same as another crew's entry"
    DISPUTED = "disputed", "Another crew entered another value"
    LATE = "late", "Came after the assessment was closed"
    SET_ASIDE = "set_aside", "Set aside by a person"


def _tracked_changes(model: type[Any]) -> type[Any]:
    """Entries are their own record of what was added; history keeps what happens to them afterwards."""
    return pghistory.track(
        pghistory.UpdateEvent("changed", row=pghistory.Old),
        pghistory.DeleteEvent("deleted"),
        level=pgtrigger.Statement,
    )(model)


@_tracked_changes
class Entry(models.Model):
    """One thing a person entered about one tree, made on a phone or read from a file.

    `client_id` is made where the entry is made, and is its identity for ever: sent twice, it is stored once.
    `device` and `sequence` say in which order one phone made its entries, whatever its clock says; `entered_at`
    is that clock, `received_at` the server's. A value has a number or a text; the other kinds have no trait.
    """

    client_id = models.UUIDField(unique=True)
    assessment = models.ForeignKey(Assessment, models.PROTECT, related_name="entries")
    tree = models.ForeignKey(Tree, models.PROTECT, related_name="entries")
    trait = models.ForeignKey(Trait, models.PROTECT, null=True, blank=True, related_name="entries")
    kind = models.CharField(max_length=15, choices=EntryKind.choices, db_default=EntryKind.VALUE)
    number = models.FloatField(null=True, blank=True)
    text = models.TextField(null=True, blank=True)
    confirmed = models.BooleanField(
        db_default=False, help_text="The portal asked about the value and the crew said it is right."
    )
    corrects = models.UUIDField(null=True, blank=True)
    standing = models.CharField(max_length=10, choices=Standing.choices, db_default=Standing.CURRENT)
    device = models.UUIDField(null=True, blank=True)
    sequence = models.BigIntegerField(null=True, blank=True)
    entered_at = models.DateTimeField(null=True, blank=True)
    received_at = models.DateTimeField(db_default=Now(), editable=False)
    by = models.ForeignKey("portal.User", models.PROTECT, related_name="entries")
    upload = models.ForeignKey("portal.Upload", models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        verbose_name_plural = "entries"
        constraints: ClassVar = [
            # One value stands for a tree's trait in an assessment; actions take the old one down first.
            models.UniqueConstraint(
                "assessment",
                "tree",
                "trait",
                condition=Q(standing="current", kind="value"),
                name="trials_entry_one_stands",
            ),
            models.CheckConstraint(condition=Q(kind__in=EntryKind.values), name="trials_entry_kind_known"),
            models.CheckConstraint(
                condition=Q(standing__in=Standing.values), name="trials_entry_standing_known"
            ),
            models.CheckConstraint(
                condition=(
                    Q(kind="value", trait__isnull=False)
                    & (
                        Q(number__isnull=False, text__isnull=True)
                        | Q(number__isnull=True, text__isnull=False)
                    )
                )
                | (~Q(kind="value") & Q(trait__isnull=True, number__isnull=True)),
                name="trials_entry_value_has_a_trait",
            ),
            models.CheckConstraint(
                condition=Q(number__isnull=True) | Q(number__gt=-1e9, number__lt=1e9),
                name="trials_entry_number_finite",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["assessment", "tree"], name="trials_entry_by_tree"),
            models.Index(fields=["tree", "trait"], name="trials_entry_of_tree"),
            models.Index(
                fields=["assessment"],
                condition=Q(standing__in=["disputed", "late"]),
                name="trials_entry_to_decide",
            ),
        ]
        triggers: ClassVar = trees_of_its_site("entry")

    def __str__(self) -> str:
        value = self.get_kind_display() if self.kind != "value" else self.text or f"{self.number:g}"
        return f"{self.tree}: {value}"


class HeldEntryState(models.TextChoices):
    WAITING = "waiting", "Waiting"
    STORED = "stored", "Mended and stored"
    SET_ASIDE = "set_aside", "Set aside"


@tracked
class HeldEntry(models.Model):
    """An entry that a phone sent and that could not be taken: kept whole, with its reasons, for a person to settle.

    The phone may then forget it: nothing typed is lost.
    """

    client_id = models.UUIDField(unique=True)
    assessment = models.ForeignKey(
        Assessment, models.PROTECT, null=True, blank=True, related_name="held_entries"
    )
    content = models.JSONField()
    problems = models.JSONField()
    state = models.CharField(max_length=10, choices=HeldEntryState.choices, default=HeldEntryState.WAITING)
    by = models.ForeignKey("portal.User", models.PROTECT, related_name="+")
    received_at = models.DateTimeField(db_default=Now(), editable=False)
    settled_by = models.ForeignKey("portal.User", models.PROTECT, null=True, blank=True, related_name="+")
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "held entries"
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(state__in=HeldEntryState.values), name="trials_heldentry_state_known"
            ),
            models.CheckConstraint(
                condition=Q(state="waiting", settled_at__isnull=True)
                | (~Q(state="waiting") & Q(settled_at__isnull=False)),
                name="trials_heldentry_settled_has_a_date",
            ),
        ]

    def __str__(self) -> str:
        return f"held entry {self.client_id}"

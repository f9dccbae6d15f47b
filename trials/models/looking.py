"""What was looked at: findings of the checks that a manager settled, and photos of trees."""

from typing import Any, ClassVar

import pghistory
import pgtrigger
from django.db import models
from django.db.models import F, Func, IntegerField, Q
from django.db.models.functions import Now

from portal.constraints import filled, positive
from portal.history import tracked
from trials.models.belonging import trees_of_its_site
from trials.models.measuring import Assessment, Trait
from trials.models.stand import Tree

MOST_PHOTO_BYTES = 2 * 1024 * 1024  # as stored, after being made smaller


@tracked
class SettledCheck(models.Model):
    """A finding that a manager looked at: it counts as settled while the entries under it stay what they were.

    `fingerprint` says which finding it is and what it was about: check, trait, trees, and the entries that stood
    (trials.desk.settling). Another entry, another fingerprint: the finding is open again by itself.
    """

    assessment = models.ForeignKey(Assessment, models.PROTECT, related_name="settled_checks")
    fingerprint = models.CharField(max_length=64)
    check_kind = models.CharField(max_length=40)
    tree = models.ForeignKey(Tree, models.PROTECT, null=True, blank=True, related_name="settled_checks")
    trait = models.ForeignKey(Trait, models.PROTECT, null=True, blank=True, related_name="settled_checks")
    said = models.TextField(help_text="What the check said.")
    note = models.TextField(help_text="What the person found.")
    by = models.ForeignKey("portal.User", models.PROTECT, related_name="settled_checks")
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("assessment", "fingerprint", name="trials_settledcheck_once"),
            *filled("fingerprint", "check_kind", "said", "note"),
        ]
        triggers: ClassVar = trees_of_its_site("settled_check", or_none=True)

    def __str__(self) -> str:
        return f"{self.check_kind}: {self.said}"


def _tracked_but_for_pictures(model: type[Any]) -> type[Any]:
    """History tells who added or removed a photo; it does not keep the picture a second time."""
    return pghistory.track(
        pghistory.InsertEvent("added"),
        pghistory.UpdateEvent("changed"),
        pghistory.DeleteEvent("deleted"),
        level=pgtrigger.Statement,
        exclude=["content", "small"],
    )(model)


def _size(field: str) -> Func:
    return Func(F(field), function="octet_length", output_field=IntegerField())


@_tracked_but_for_pictures
class Photo(models.Model):
    """A picture of a tree, taken on a phone during an assessment.

    `client_id` is made on the phone: sent twice, it is stored once. `content` is a JPEG that the portal wrote
    itself, without what the camera notes beside the picture (place, device); `small` the same, to be listed.
    One `set_aside` is shown to managers only; the history tells who set it aside, and when.
    """

    client_id = models.UUIDField(unique=True)
    assessment = models.ForeignKey(Assessment, models.PROTECT, related_name="photos")
    tree = models.ForeignKey(Tree, models.PROTECT, related_name="photos")
    device = models.UUIDField(null=True, blank=True)
    taken_at = models.DateTimeField(null=True, blank=True)
    received_at = models.DateTimeField(db_default=Now(), editable=False)
    by = models.ForeignKey("portal.User", models.PROTECT, related_name="photos")
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    content = models.BinaryField()
    small = models.BinaryField()
    set_aside = models.BooleanField(default=False, db_default=False)

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            *positive("width_px", "height_px"),
            models.CheckConstraint(
                condition=Q(models.lookups.GreaterThan(_size("content"), 0))
                & Q(models.lookups.LessThanOrEqual(_size("content"), MOST_PHOTO_BYTES)),
                name="trials_photo_content_sized",
            ),
            models.CheckConstraint(
                condition=Q(models.lookups.GreaterThan(_size("small"), 0)), name="trials_photo_small_filled"
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["assessment", "tree"], name="trials_photo_by_tree")]
        triggers: ClassVar = trees_of_its_site("photo")

    def __str__(self) -> str:
        return f"photo {self.client_id}"

"""Reading uploads and their held rows, for those who may see them."""

from django.db.models import Count, Q, QuerySet

from portal import access
from portal.models import HeldRow, Role, Upload, User
from portal.uploads.registry import UploadKind, kind_named, kinds


def uploads_of(user: User) -> QuerySet[Upload]:
    """Uploads of the trials a person belongs to, newest first, with the number of rows that still wait."""
    found = Upload.objects.select_related("trial", "study", "by").annotate(
        waiting=Count("held_rows", filter=Q(held_rows__state="waiting")),
        mended=Count("held_rows", filter=Q(held_rows__state__in=["stored", "replaced"])),
    )
    allowed = access.trial_ids(user)
    if allowed is not None:
        found = found.filter(trial_id__in=allowed)
    return found.order_by("-created_at", "-id")


def kinds_for(user: User, trial_id: int) -> list[UploadKind]:
    """Kinds of file that a person may bring into a trial."""
    held = access.roles_in(user, trial_id)
    return [k for k in kinds() if not k.roles.isdisjoint(held)]


def may_bring(user: User, trial_id: int, kind: str) -> bool:
    """Whether a person may bring this kind of file into a trial."""
    return access.may(user, trial_id, kind_named(kind).roles)


def may_write(user: User, upload: Upload) -> bool:
    """Whether a person may store, mend or set aside the rows of an upload."""
    return access.may(user, upload.trial_id, kind_named(upload.kind).roles)


def waiting_rows(upload: Upload) -> QuerySet[HeldRow]:
    return upload.held_rows.filter(state="waiting").order_by("row_number")


def waiting_count(trial_id: int, study_id: int | None = None) -> int:
    """How many rows of a trial (or of one study) wait for somebody to settle them."""
    rows = HeldRow.objects.filter(upload__trial_id=trial_id, state="waiting")
    if study_id is not None:
        rows = rows.filter(upload__study_id=study_id)
    return rows.count()


def manager_of(user: User, trial_id: int) -> bool:
    return access.may(user, trial_id, [Role.MANAGER])

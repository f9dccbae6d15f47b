"""Ticking findings of the checks as looked at."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction

from portal import access
from portal.models import Role, User
from trials.calc.entry_reading import plain_json
from trials.models import Assessment, SettledCheck

LONGEST_NOTE = 1000


@dataclass(frozen=True)
class Looked:
    """A finding that a manager looked at: its fingerprint, and what it was about in words."""

    fingerprint: str
    check_kind: str
    said: str
    tree_id: int | None = None
    trait_id: int | None = None


def settle_checks(*, assessment: Assessment, looked: Sequence[Looked], note: str, by: User) -> int:
    """Tick findings as looked at, with what was found. One ticked already keeps its first tick. Managers only.

    :raises ValidationError: no finding, no note, or a note beyond 1000 letters.
    :returns: number of findings ticked now.
    """
    access.require(by, assessment.site.trial_id, [Role.MANAGER])
    if not looked:
        raise ValidationError("Tick at least one finding.")
    note = str(plain_json(note))
    if not note.strip() or len(note) > LONGEST_NOTE:
        raise ValidationError(
            f"Write what was found, in at most {LONGEST_NOTE} letters: “tape read again, 312 is right”."
        )
    with transaction.atomic():
        # One person at a time, so that two ticks of one finding are one.
        Assessment.objects.select_for_update(no_key=True).get(pk=assessment.pk)
        marks = [item.fingerprint for item in looked]
        there = set(
            assessment.settled_checks.filter(fingerprint__in=marks).values_list("fingerprint", flat=True)
        )
        new = {item.fingerprint: item for item in looked if item.fingerprint not in there}
        SettledCheck.objects.bulk_create(
            SettledCheck(
                assessment=assessment,
                fingerprint=item.fingerprint,
                check_kind=item.check_kind,
                tree_id=item.tree_id,
                trait_id=item.trait_id,
                said=item.said,
                note=note.strip(),
                by=by,
            )
            for item in new.values()
        )
        return len(new)


def open_check_again(*, assessment: Assessment, settled_id: int, by: User) -> None:
    """Take a tick back; the history keeps it. Managers only.

    :raises ValidationError: it was taken back before.
    """
    access.require(by, assessment.site.trial_id, [Role.MANAGER])
    with transaction.atomic():
        n, _ = assessment.settled_checks.filter(pk=settled_id).delete()
        if not n:
            raise ValidationError("This tick was taken back before.")

"""What managers decide of entries: which of two values stands, whether a late one counts, what a held one meant."""

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils import timezone

from portal import access
from portal.models import Role, User
from trials.calc.entry_reading import plain_json, read_entry, read_id
from trials.calc.standing import DISPUTED, LATE, SET_ASIDE
from trials.entries.actions.assessments import mark_dead_and_missing
from trials.entries.actions.storing import lock_assessments, restand, stated_entries, store_entries
from trials.entries.ground import ground_for
from trials.models import AssessmentState, Entry, HeldEntry, HeldEntryState

DEVICE = "device"


def settle_dispute(*, entry_id: int, by: User) -> Entry:
    """Let one of several disputed entries stand. Those that say otherwise are set aside; nothing is lost.

    :raises ValidationError: the entry is in dispute no longer.
    """
    with transaction.atomic():
        entry = _locked(entry_id, by)
        if entry.standing != DISPUTED:
            raise ValidationError("This value is in dispute no longer: look again at what stands now.")
        place = (entry.assessment_id, entry.tree_id)
        stated = stated_entries({place})[place]
        chosen = next(s for s in stated if s.id == entry.client_id)
        rivals = [
            s
            for s in stated
            if s.standing == DISPUTED
            and s.matter == chosen.matter
            and (s.kind, s.value) != (chosen.kind, chosen.value)
        ]
        # The chosen one counts as current, so that it and no other of the same value stands.
        return _decide(entry, {**{s.id: SET_ASIDE for s in rivals}, entry.client_id: "current"})


def take_late(*, entry_id: int, by: User) -> Entry:
    """Let an entry count that came late, or that was set aside, as if it had come in time.

    It then stands, is replaced, or is in dispute, as the rules say.

    :raises ValidationError: the entry counts already.
    """
    with transaction.atomic():
        entry = _locked(entry_id, by)
        if entry.standing not in (LATE, SET_ASIDE):
            raise ValidationError("This entry counts already.")
        return _decide(entry, {entry.client_id: None})


def set_aside(*, entry_id: int, by: User) -> Entry:
    """Let an entry count no more, whatever it was; it stays on record. Twice is the same as once."""
    with transaction.atomic():
        entry = _locked(entry_id, by)
        return _decide(entry, {entry.client_id: SET_ASIDE})


def mend_held_entry(*, held_id: int, changes: Mapping[str, Any], by: User) -> HeldEntry:
    """Check a held entry again, with some of its content changed, and store it when it is sound.

    It is stored in the name of who made it, under the id it was made with. While it is not sound it goes on
    waiting, with its new content and reasons.

    :param changes: fields of the entry as a phone sends them, e.g. {"tree": "AR-01-02"}; its id stays.
    :raises ValidationError: it was settled before.
    """
    with transaction.atomic():
        held = _waiting(held_id)
        content = plain_json({**held.content, **changes, "id": str(held.client_id)})
        read, problems = read_entry(content, held.client_id)
        named = content.get("assessment")
        assessments = lock_assessments([named] if read is not None else [])
        for assessment in [*assessments.values(), *([held.assessment] if held.assessment else [])]:
            access.require(by, assessment.site.trial_id, [Role.MANAGER])
        if not assessments and held.assessment is None:
            _require_overseer(held, by)
        if read is not None:
            entry, problems = ground_for([read], assessments, by).entry_for(read, held.by_id)
            if entry is not None:
                entry.device = read_id(content.get(DEVICE))
                store_entries([entry])
                held.assessment = entry.assessment
                _mark_if_closed([entry])
                _settle(held, HeldEntryState.STORED, by)
        held.content, held.problems = content, problems or held.problems
        held.save()
        return held


def set_held_aside(*, held_id: int, by: User) -> HeldEntry:
    """Settle a held entry as not to be stored; it stays on record."""
    with transaction.atomic():
        held = _waiting(held_id)
        _require_overseer(held, by)
        _settle(held, HeldEntryState.SET_ASIDE, by)
        held.save()
        return held


def _decide(entry: Entry, decided: Mapping[Any, str | None]) -> Entry:
    restand([entry], decided)
    _mark_if_closed([entry])
    entry.refresh_from_db(fields=["standing"])
    return entry


def _mark_if_closed(entries: list[Entry]) -> None:
    """What closing would have done to the trees, for decisions that come after it."""
    for entry in entries:
        if entry.assessment.state == AssessmentState.CLOSED:
            mark_dead_and_missing(entry.assessment, [entry.tree_id])


def _locked(entry_id: int, by: User) -> Entry:
    """An entry, with its assessment locked; for managers of its trial."""
    entry = Entry.objects.select_related("assessment__site").get(pk=entry_id)
    access.require(by, entry.assessment.site.trial_id, [Role.MANAGER])
    locked = lock_assessments([entry.assessment_id])
    entry.refresh_from_db(fields=["standing"])
    entry.assessment = locked[entry.assessment_id]
    return entry


def _waiting(held_id: int) -> HeldEntry:
    rows = HeldEntry.objects.select_for_update(of=("self",)).select_related("assessment__site", "by")
    held = rows.get(pk=held_id)
    if held.state != HeldEntryState.WAITING:
        raise ValidationError("This entry was settled before.")
    return held


def _require_overseer(held: HeldEntry, by: User) -> None:
    """Managers of its trial; where none is known, managers of a trial that the sender belongs to."""
    if held.assessment is not None:
        access.require(by, held.assessment.site.trial_id, [Role.MANAGER])
        return
    trials = held.by.memberships.values_list("trial_id", flat=True)
    if not by.is_superuser and not any(access.may(by, t, [Role.MANAGER]) for t in set(trials)):
        raise PermissionDenied("This needs the role of a manager in a trial of the sender.")


def _settle(held: HeldEntry, state: str, by: User) -> None:
    held.state, held.settled_by, held.settled_at = state, by, timezone.now()

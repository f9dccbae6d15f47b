"""What managers decide of the tally: which of two sizes stands, and what a held entry meant."""

import uuid
from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from portal import access
from portal.models import Role, User
from sawing.calc.tally_reading import read_id, read_tally
from sawing.calc.tally_standing import CURRENT, DISPUTED, SET_ASIDE, comparable
from sawing.models import HeldTally, Study, TallyEntry
from sawing.models.tally import HeldTallyState
from sawing.tally.actions.storing import Tally, lock_study
from trials.calc.entry_reading import plain_json


def settle_tally(*, study: Study, entry_id: int, by: User) -> TallyEntry:
    """Let one of several disputed entries stand; those that say otherwise are set aside. Managers only.

    The board takes the sizes of that entry, or is taken back when a withdrawal stands.

    :raises ValidationError: the entry is in dispute no longer, or the board cannot be withdrawn any more.
    """
    access.require(by, study.trial_id, [Role.MANAGER])
    with transaction.atomic():
        entry, tally = _locked(study, entry_id)
        if entry.standing != DISPUTED:
            raise ValidationError("This entry is in dispute no longer: look again at what stands now.")
        rivals = [
            e
            for e in tally.group(entry.board_code).entries
            if e.standing == DISPUTED and _said(e) != _said(entry)
        ]
        decided: dict[uuid.UUID, str | None] = {e.client_id: SET_ASIDE for e in rivals}
        # The chosen one counts as current, so that it and no other of the same sizes stands.
        return _decide(tally, entry, {**decided, entry.client_id: CURRENT}, against_file=True)


def keep_board(*, study: Study, board_code: str, by: User) -> int:
    """Let a board that came by a file stand as it is: what scanners said otherwise is set aside. Managers only.

    :returns: number of entries set aside.
    :raises ValidationError: nothing about this board is in dispute.
    """
    access.require(by, study.trial_id, [Role.MANAGER])
    with transaction.atomic():
        locked = lock_study(study.pk)
        disputed = list(locked.tally_entries.filter(board_code=board_code, standing=DISPUTED))
        if not disputed:
            raise ValidationError("This board is in dispute no longer: look again at what stands now.")
        tally = Tally.of(locked, (), disputed)
        _decide(tally, disputed[0], {e.client_id: SET_ASIDE for e in disputed})
        return len(disputed)


def set_tally_aside(*, study: Study, entry_id: int, by: User) -> TallyEntry:
    """Let an entry count no more, whatever it was; it stays on record. Managers only."""
    access.require(by, study.trial_id, [Role.MANAGER])
    with transaction.atomic():
        entry, tally = _locked(study, entry_id)
        return _decide(tally, entry, {entry.client_id: SET_ASIDE})


def mend_held_tally(
    *, study: Study, held_id: int, changes: Mapping[str, Any], by: User, forced: bool = False
) -> HeldTally:
    """Check a held entry again, with some of its content changed, and store it when it is sound. Managers only.

    It is stored in the name of who made it, under the id it was made with. While it is not sound it goes on
    waiting, with its new content and reasons.

    :param changes: fields as a scanner sends them, e.g. {"log": "L2"}; the id stays.
    :param forced: sizes of a board that is stacked or dry already may be changed.
    :raises ValidationError: it was settled before.
    """
    access.require(by, study.trial_id, [Role.MANAGER])
    with transaction.atomic():
        locked = lock_study(study.pk)
        held = _waiting(locked, held_id)
        content = plain_json({**held.content, **changes, "id": str(held.client_id)})
        read, problems = read_tally(content, held.client_id)
        if read is not None:
            tally = Tally.of(locked, [read])
            entry, problems = tally.take(read, read_id(content.get("device")), held.by_id, forced=forced)
            if entry is not None:
                tally.write()
                _settle(held, HeldTallyState.STORED, by)
        held.content, held.problems = content, problems or held.problems
        held.save()
        return held


def set_held_tally_aside(*, study: Study, held_id: int, by: User) -> HeldTally:
    """Settle a held entry as not to be stored; it stays on record. Managers only."""
    access.require(by, study.trial_id, [Role.MANAGER])
    with transaction.atomic():
        held = _waiting(lock_study(study.pk), held_id)
        _settle(held, HeldTallyState.SET_ASIDE, by)
        held.save()
        return held


def _decide(
    tally: Tally,
    entry: TallyEntry,
    decided: Mapping[uuid.UUID, str | None],
    *,
    against_file: bool = False,
) -> TallyEntry:
    if refused := tally.decide(entry, decided, against_file=against_file):
        raise ValidationError(refused)
    tally.write()
    entry.refresh_from_db(fields=["standing", "board"])
    return entry


def _locked(study: Study, entry_id: int) -> tuple[TallyEntry, Tally]:
    locked = lock_study(study.pk)
    entry = locked.tally_entries.get(pk=entry_id)
    return entry, Tally.of(locked, (), [entry])


def _said(entry: TallyEntry) -> Any:
    if entry.thickness_mm is None or entry.width_mm is None or entry.length_m is None:
        return None
    return entry.log_id, comparable(entry.thickness_mm, entry.width_mm, entry.length_m)


def _waiting(study: Study, held_id: int) -> HeldTally:
    held = study.held_tallies.select_for_update(of=("self",)).select_related("by").get(pk=held_id)
    if held.state != HeldTallyState.WAITING:
        raise ValidationError("This entry was settled before.")
    return held


def _settle(held: HeldTally, state: str, by: User) -> None:
    held.state, held.settled_by, held.settled_at = state, by, timezone.now()

"""Taking tally entries in: each is stored once with its standing, or held once with its reasons."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import IntegrityError, transaction

from portal import access
from portal.models import Role, User
from sawing.calc.tally_reading import TallyRead, read_id, read_tally
from sawing.models import HeldTally, Study, TallyEntry
from sawing.tally.actions.storing import Tally, lock_study
from trials.calc.entry_reading import plain_json

AT_ONCE = 200
MAY_TALLY = frozenset({Role.MILL, Role.MANAGER})
NO_ID = "id: expected a UUID made by the scanner's page"
NO_OBJECT = "expected a JSON object"
NOT_ALLOWED = "sent by: found {}, expected mill staff or a manager of the trial"


@dataclass(frozen=True)
class Answer:
    """What became of one entry. `id` as it was sent; `taken` says whether the sender may forget it."""

    id: Any
    taken: bool
    standing: str | None = None
    problems: tuple[str, ...] = ()
    board: str | None = None
    warnings: tuple[dict[str, str], ...] = ()

    @property
    def held(self) -> bool:
        return self.taken and self.standing is None

    def to_dict(self) -> dict[str, Any]:
        """The answer as it goes to the scanner's page."""
        if not self.taken:
            return {"id": self.id, "taken": False, "problems": list(self.problems)}
        if self.held:
            return {"id": self.id, "taken": True, "held": True, "problems": list(self.problems)}
        told = {"board": self.board, "warnings": list(self.warnings)}
        return {"id": self.id, "taken": True, "standing": self.standing, **told}


def receive_tally(*, study: Study, device: uuid.UUID, entries: Sequence[Any], by: User) -> list[Answer]:
    """Take the entries of one scanner: every one with a readable id is stored, or held for a person, once.

    Entries already taken get the answer that holds for them now; nothing is written twice. Who may not tally has
    the entry held, not refused: what was typed is kept.

    :param entries: JSON objects as the page sent them, in any order.
    :returns: one answer per entry sent, in the order sent.
    """
    identities = [read_id(e.get("id")) if isinstance(e, dict) else None for e in entries]
    first: dict[uuid.UUID, Any] = {}
    for identity, entry in zip(identities, entries, strict=True):
        if identity is not None:
            first.setdefault(identity, entry)
    for attempt in (1, 2):
        try:
            with transaction.atomic():
                found = _take(study, device, first, by)
            break
        except IntegrityError:
            # The same id came at the same moment for another study; the second look finds it stored.
            if attempt == 2:
                raise
    return [
        found[identity].answer(sent["id"]) if identity is not None else _no_id(sent)
        for identity, sent in zip(identities, entries, strict=True)
    ]


@dataclass(frozen=True)
class _Known:
    standing: str | None = None
    problems: Sequence[str] = ()
    board: str | None = None
    warnings: Sequence[dict[str, str]] = ()

    def answer(self, sent_id: Any) -> Answer:
        return Answer(sent_id, True, self.standing, tuple(self.problems), self.board, tuple(self.warnings))


def _no_id(sent: Any) -> Answer:
    return (
        Answer(sent.get("id"), False, problems=(NO_ID,))
        if isinstance(sent, dict)
        else Answer(None, False, problems=(NO_OBJECT,))
    )


def _take(
    study: Study, device: uuid.UUID, sent: Mapping[uuid.UUID, Any], by: User
) -> dict[uuid.UUID, _Known]:
    """Standing, or reasons for being held, of every id."""
    locked = lock_study(study.pk)
    known = _known(sent)
    if len(known) == len(sent):
        return known
    refused = [] if access.may(by, locked.trial_id, MAY_TALLY) else [NOT_ALLOWED.format(by)]
    held: dict[uuid.UUID, list[str]] = {}
    reads: list[TallyRead] = []
    for identity in sent.keys() - known.keys():
        read, problems = read_tally(sent[identity], identity)
        held[identity] = refused + problems
        if read is not None and not held[identity]:
            reads.append(read)
    stored: list[TallyEntry] = []
    if reads:
        tally = Tally.of(locked, reads)
        for read in sorted(reads, key=lambda r: (r.sequence, r.id)):
            entry, held[read.id] = tally.take(read, device, by.pk)
            stored += [entry] if entry is not None else []
        tally.write()
    waiting = {i: problems for i, problems in held.items() if problems}
    HeldTally.objects.bulk_create(
        HeldTally(
            client_id=identity,
            study=locked,
            content=plain_json({**sent[identity], "device": str(device)}),
            problems=[plain_json(p) for p in problems],
            by=by,
        )
        for identity, problems in waiting.items()
    )
    answers = {
        e.client_id: _Known(e.standing, board=e.board_code or None, warnings=e.warnings) for e in stored
    }
    return {**known, **answers, **{i: _Known(problems=p) for i, p in waiting.items()}}


def _known(ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, _Known]:
    wanted = list(ids)
    held = HeldTally.objects.filter(client_id__in=wanted).values_list("client_id", "problems")
    known = {identity: _Known(problems=problems) for identity, problems in held}
    # A held entry that was mended is an entry now.
    rows = TallyEntry.objects.filter(client_id__in=wanted)
    for identity, standing, board, warnings in rows.values_list(
        "client_id", "standing", "board_code", "warnings"
    ):
        known[identity] = _Known(standing, board=board or None, warnings=warnings)
    return known

"""Taking entries in: each is stored once with its standing, or held once with its reasons."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import IntegrityError, transaction

from portal.models import User
from trials.calc.entry_reading import MOST_INTEGER, EntryRead, plain_json, read_entry, read_id
from trials.entries.actions.storing import lock_assessments, store_entries
from trials.entries.ground import ground_for
from trials.models import Assessment, Entry, HeldEntry

AT_ONCE = 200
NO_ID = "id: expected a UUID made on the phone"
NO_OBJECT = "expected a JSON object"


@dataclass(frozen=True)
class Answer:
    """What became of one entry. `id` as it was sent; `taken` says whether the sender may forget it."""

    id: Any
    taken: bool
    standing: str | None = None
    problems: tuple[str, ...] = ()

    @property
    def held(self) -> bool:
        return self.taken and self.standing is None

    def to_dict(self) -> dict[str, Any]:
        """The answer as it goes to the phone."""
        if not self.taken:
            return {"id": self.id, "taken": False, "problems": list(self.problems)}
        if self.held:
            return {"id": self.id, "taken": True, "held": True, "problems": list(self.problems)}
        return {"id": self.id, "taken": True, "standing": self.standing}


def receive_entries(*, device: uuid.UUID, entries: Sequence[Any], by: User) -> list[Answer]:
    """Take the entries of one phone: every one with a readable id is stored, or held for a person, once.

    Entries already taken get the answer that holds for them now; nothing is written twice. Who may not enter
    into an assessment has the entry held, not refused: what was typed is kept.

    :param entries: JSON objects as the phone sent them, in any order.
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
                found = _take(device, first, by)
            break
        except IntegrityError:
            # The same id came at the same moment by another way; the second look finds it stored.
            if attempt == 2:
                raise
    return [
        _answer(sent, found[identity]) if identity is not None else _no_id(sent)
        for identity, sent in zip(identities, entries, strict=True)
    ]


def _answer(sent: Any, known: "str | list[str]") -> Answer:
    if isinstance(known, str):
        return Answer(sent["id"], True, known)
    return Answer(sent["id"], True, None, tuple(known))


def _no_id(sent: Any) -> Answer:
    return (
        Answer(sent.get("id"), False, problems=(NO_ID,))
        if isinstance(sent, dict)
        else Answer(None, False, problems=(NO_OBJECT,))
    )


def _take(device: uuid.UUID, sent: Mapping[uuid.UUID, Any], by: User) -> dict[uuid.UUID, "str | list[str]"]:
    """Standing, or reasons for being held, of every id."""
    assessments = lock_assessments(_named_assessments(sent.values()))
    known = _known(sent)
    held: dict[uuid.UUID, list[str]] = {}
    reads: list[EntryRead] = []
    for identity in sent.keys() - known.keys():
        read, held[identity] = read_entry(sent[identity], identity)
        if read is not None:
            reads.append(read)
    if len(known) == len(sent):
        return known
    reads.sort(key=lambda r: (r.sequence, r.id))
    ground = ground_for(reads, assessments, by)
    new: list[Entry] = []
    for read in reads:
        entry, held[read.id] = ground.entry_for(read, by.pk)
        if entry is not None:
            entry.device = device
            new.append(entry)
    stand = store_entries(new)
    waiting = {i: problems for i, problems in held.items() if problems}
    _hold(waiting, sent, device, assessments, by)
    return {**known, **stand, **waiting}


def _named_assessments(sent: Iterable[Any]) -> set[int]:
    named = {e.get("assessment") for e in sent if isinstance(e.get("assessment"), int)}
    return {n for n in named if not isinstance(n, bool) and 0 < n <= MOST_INTEGER}


def _known(ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, "str | list[str]"]:
    wanted = list(ids)
    known: dict[uuid.UUID, str | list[str]] = dict(
        HeldEntry.objects.filter(client_id__in=wanted).values_list("client_id", "problems")
    )
    # A held entry that was mended is an entry now.
    known.update(Entry.objects.filter(client_id__in=wanted).values_list("client_id", "standing"))
    return known


def _hold(
    waiting: Mapping[uuid.UUID, list[str]],
    sent: Mapping[uuid.UUID, Any],
    device: uuid.UUID,
    assessments: Mapping[int, Assessment],
    by: User,
) -> None:
    rows = []
    for identity, problems in waiting.items():
        named = sent[identity].get("assessment")
        rows.append(
            HeldEntry(
                client_id=identity,
                assessment=assessments.get(named) if type(named) is int else None,
                content=plain_json({**sent[identity], "device": str(device)}),
                problems=[plain_json(p) for p in problems],
                by=by,
            )
        )
    if rows:
        HeldEntry.objects.bulk_create(rows)

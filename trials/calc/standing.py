"""Which entries stand: the rules for what several phones said of one tree in one assessment.

The standings are a function of all that was said, not of the order in which it came: entries that are sent
late, twice or in another order end where they would have ended at once. An entry belongs to a matter (a trait;
whether the tree is dead or missing; ...) and to a lane (the phone it was made on). In a lane the latest entry
speaks, the others are replaced; lanes that say the same repeat each other; lanes that differ are in dispute
until a person sets one of them aside. Our own rules; no outside source.
"""

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass

CURRENT, REPLACED, REPEATED = "current", "replaced", "repeated"
DISPUTED, LATE, SET_ASIDE = "disputed", "late", "set_aside"

DEATH = "death"  # the matter of the kinds dead and missing
DEATH_KINDS = frozenset({"dead", "missing"})
ANSWERS = frozenset({"value", "dead", "missing"})
"""Kinds of entry that answer a question about a tree: each takes back an earlier "skipped" of the same phone."""


@dataclass(frozen=True)
class Stated:
    """One entry as the rules see it.

    `arrived` orders entries as the server took them. `device` and `sequence` are the phone's own order (None:
    not made on a phone; such an entry is a lane of its own). `value` is comparable: see `comparable`.
    `standing` is what it was so far, None for a new entry.
    """

    id: Hashable
    arrived: int
    kind: str
    trait: Hashable | None = None
    value: Hashable | None = None
    device: Hashable | None = None
    sequence: int | None = None
    person: Hashable | None = None
    corrects: Hashable | None = None
    standing: str | None = None

    @property
    def matter(self) -> Hashable:
        """What the entry is about; a note is about nothing but itself."""
        if self.kind == "value":
            return ("trait", self.trait)
        if self.kind in DEATH_KINDS:
            return DEATH
        return ("note", self.id) if self.kind == "note" else self.kind

    @property
    def lane(self) -> Hashable:
        """Entries of one lane are one voice."""
        return ("none", self.id) if self.device is None else ("device", self.device)

    @property
    def place(self) -> tuple[int, int]:
        """Order within a lane: the phone's own count, then the server's."""
        return (self.sequence if self.sequence is not None else -1, self.arrived)


def comparable(number: float | None, text: str | None, decimals: int) -> Hashable:
    """A value as two phones are compared: numbers rounded to the trait's decimals, texts without outer spaces.

    Rounding, not a difference, so that "the same" holds between any number of phones.
    """
    if number is not None:
        return round(number, decimals) + 0.0  # -0.0 is 0.0
    return (text or "").strip()


def standings(entries: Iterable[Stated]) -> dict[Hashable, str]:
    """The standing of every entry of one tree in one assessment, by id.

    Late entries stay late and those set aside stay set aside: only a person changes that (by giving them
    another `standing`, None for "as if it had just come", before asking again). Late entries have no effect on
    others; those set aside still replace what their lane said before them.
    """
    listed = list(entries)
    counted = [e for e in listed if e.standing != LATE]
    gone = _replaced(counted)
    result: dict[Hashable, str] = {}
    matters: dict[Hashable, list[Stated]] = {}
    for entry in listed:
        if entry.standing in (LATE, SET_ASIDE):
            result[entry.id] = str(entry.standing)
        elif entry.id in gone:
            result[entry.id] = REPLACED
        else:
            matters.setdefault(entry.matter, []).append(entry)
    for heads in matters.values():
        result.update(_between_lanes(heads))
    return result


def _replaced(entries: Sequence[Stated]) -> set[Hashable]:
    """Ids of the entries that a later one of the same voice replaces."""
    gone = {e.id for e in entries if e.kind == "skipped" and _answered_later(e, entries)}
    latest: dict[tuple[Hashable, Hashable], Stated] = {}
    for entry in sorted(entries, key=lambda e: e.place):
        key = (entry.matter, entry.lane)
        if key in latest:
            gone.add(latest[key].id)
        latest[key] = entry
    by_id = {e.id: e for e in entries}
    for entry in entries:
        target = by_id.get(entry.corrects) if entry.corrects is not None else None
        if target is not None and _may_correct(entry, target):
            gone.add(target.id)
    return gone


def _may_correct(entry: Stated, target: Stated) -> bool:
    """A correction holds within a lane, and for a person's own entry from another phone, which must have been
    on the server for that phone to know of it. Somebody else's entry is contradicted, not corrected."""
    if entry.id == target.id:
        return False
    if entry.lane == target.lane:
        return entry.place > target.place
    return entry.person is not None and entry.person == target.person and entry.arrived > target.arrived


def _answered_later(skipped: Stated, entries: Sequence[Stated]) -> bool:
    return any(e.kind in ANSWERS and e.lane == skipped.lane and e.place > skipped.place for e in entries)


def _between_lanes(heads: Sequence[Stated]) -> dict[Hashable, str]:
    """Standings of the entries that each lane is left with on one matter."""
    said = {(e.kind, e.value) for e in heads}
    if len(said) > 1:
        return {e.id: DISPUTED for e in heads}
    # Who stood already goes on standing; else the first to arrive does.
    first = min(heads, key=lambda e: (e.standing != CURRENT, e.arrived))
    return {e.id: CURRENT if e.id == first.id else REPEATED for e in heads}

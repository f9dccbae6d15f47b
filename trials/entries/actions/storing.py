"""Writing entries and their standings: part of every action on entries, inside its transaction and its locks."""

import uuid
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace

from django.utils import timezone

from trials.calc.standing import CURRENT, LATE, Stated, comparable, standings
from trials.models import Assessment, AssessmentState, Entry, Trait

BATCH = 1_000
NEW_FROM = 2**62  # entries not stored yet arrive after all that are
Place = tuple[int, int]
"""(assessment id, tree id): within one, standings hang together."""

STATED = (
    "client_id",
    "pk",
    "kind",
    "trait_id",
    "number",
    "text",
    "device",
    "sequence",
    "by_id",
    "corrects",
    "standing",
    "assessment_id",
    "tree_id",
)


def lock_assessments(ids: Collection[int]) -> dict[int, Assessment]:
    """The assessments of these ids, locked in the order of their keys: one batch at a time into each."""
    rows = Assessment.objects.select_for_update(of=("self",), no_key=True).select_related("site__trial")
    return {a.pk: a for a in rows.filter(pk__in=ids).order_by("pk")}


def store_entries(new: Sequence[Entry]) -> dict[uuid.UUID, str]:
    """Store new entries with their standings, and give those already there the standings they have now.

    Caller holds the locks of the assessments, and has made sure that no id is stored yet. Entries of one call
    arrive in the order of the list.

    :returns: standing by client id.
    """
    late = {e.client_id for e in new if e.assessment.state == AssessmentState.CLOSED}
    found = _stand({(e.assessment_id, e.tree_id) for e in new}, new, dict.fromkeys(late, LATE))
    return {e.client_id: found[e.client_id] for e in new}


def restand(entries: Iterable[Entry], decided: Mapping[uuid.UUID, str | None]) -> dict[uuid.UUID, str]:
    """Apply a person's decisions to the trees of these entries; the caller holds the locks.

    :param decided: standing by client id; None stands for "as if it had just come".
    :returns: standing by client id, of every entry of these trees.
    """
    return _stand({(e.assessment_id, e.tree_id) for e in entries}, (), decided)


def _stand(
    places: set[Place], new: Sequence[Entry], decided: Mapping[uuid.UUID, str | None]
) -> dict[uuid.UUID, str]:
    """Standings of all entries of these places, written where they changed."""
    if not places:
        return {}
    by_place = stated_entries(places, new)
    found: dict[uuid.UUID, str] = {}
    moved: dict[str, list[uuid.UUID]] = {}
    fresh = {e.client_id for e in new}
    for entries in by_place.values():
        told = [replace(e, standing=decided[e.id]) if e.id in decided else e for e in entries]
        stand = standings(told)
        found.update(stand)
        for entry in entries:
            if entry.id not in fresh and stand[entry.id] != entry.standing:
                moved.setdefault(stand[entry.id], []).append(entry.id)
    _write(moved, new, found)
    return found


def stated_entries(places: set[Place], new: Sequence[Entry] = ()) -> dict[Place, list[Stated]]:
    """What is stored, and what comes new, as the rules of standing see it: two queries for any number."""
    by_place: dict[Place, list[Stated]] = {place: [] for place in places}
    stored = Entry.objects.filter(
        assessment_id__in={a for a, _ in places}, tree_id__in={t for _, t in places}
    )
    rows = list(stored.values_list(*STATED))
    traits = {row[3] for row in rows} | {e.trait_id for e in new}
    decimals = dict(Trait.objects.filter(pk__in=traits - {None}).values_list("pk", "decimals"))
    rows += [
        (*(getattr(e, name) for name in STATED[:1]), NEW_FROM + i, *(getattr(e, name) for name in STATED[2:]))
        for i, e in enumerate(new)
    ]
    for row in rows:
        client_id, pk, kind, trait, number, text, device, sequence, by, corrects, standing, *place = row
        if (at := tuple(place)) in by_place:
            by_place[at].append(
                Stated(
                    id=client_id,
                    arrived=pk,
                    kind=kind,
                    trait=trait,
                    value=comparable(number, text, decimals.get(trait, 0)) if kind == "value" else None,
                    device=device,
                    sequence=sequence,
                    person=by,
                    corrects=corrects,
                    standing=standing if pk < NEW_FROM else None,
                )
            )
    return by_place


def _write(
    moved: Mapping[str, list[uuid.UUID]], new: Sequence[Entry], found: Mapping[uuid.UUID, str]
) -> None:
    """Those that stand no longer first, so that at no moment two stand for one trait of a tree."""
    for standing in sorted(moved.keys() - {CURRENT}):
        Entry.objects.filter(client_id__in=moved[standing]).update(standing=standing)
    now = timezone.now()
    for entry in new:
        entry.standing, entry.received_at = found[entry.client_id], now
    Entry.objects.bulk_create(new, batch_size=BATCH)
    if CURRENT in moved:
        Entry.objects.filter(client_id__in=moved[CURRENT]).update(standing=CURRENT)

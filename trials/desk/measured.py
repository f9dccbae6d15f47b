"""What an assessment has brought so far: values as frames, for tables, maps, checks and figures."""

from collections.abc import Sequence
from typing import Any

import pandas as pd
from django.db.models import QuerySet

from trials.entries import queries
from trials.models import Assessment, Entry, EntryKind, Standing, Trait, TraitKind, Tree, TreeStatus

GONE = (EntryKind.DEAD, EntryKind.MISSING, EntryKind.SKIPPED)
NOT_ALIVE = (EntryKind.DEAD, EntryKind.MISSING)
PLACES = {
    "tree": "code",
    "row": "row",
    "col": "col",
    "block": "plot__block__code",
    "plot": "plot__code",
    "clone": "clone__code",
    "status": "status",
}
OWN = frozenset({*PLACES, "state", "notes", "crew", "entered", "confirmed", "alive", "years"})
DAYS_A_YEAR = 365.25


def standing_entries(assessment: Assessment) -> QuerySet[Entry]:
    """The entries that stand in an assessment."""
    return queries.standing().filter(assessment=assessment)


def trait_list(assessment: Assessment) -> list[Trait]:
    """The traits of an assessment in the order in which they are entered."""
    links = assessment.assessment_traits.select_related("trait").order_by("position")
    return [link.trait for link in links]


def column_of(trait: Trait) -> str:
    """The column of a trait in the frame of a visit: its code, unless the frame needs that name itself."""
    return f"{trait.code}_" if trait.code in OWN or trait.code.startswith("last_") else trait.code


def as_shown(trait: Trait, number: float | None, text: str | None) -> float | str | None:
    """A stored value as people read it: yes and no in words, numbers as numbers, texts as texts."""
    if number is None:
        return text
    if trait.kind == TraitKind.YES_NO:
        return "yes" if number else "no"
    return number


def visit_frame(assessment: Assessment, traits: Sequence[Trait] | None = None) -> pd.DataFrame:
    """One row a planted tree of the site, indexed by tree code: its place, what stands for each trait, and more.

    `traits`: only columns of these; all of the assessment when None. Whether a tree is alive is told by all.

    Columns: tree, row, col, block, plot, clone, status; one a trait (`column_of`; NaN or None without a value);
    state (dead, missing, skipped or ""), alive (True, False, None: not seen), notes, crew (who entered the
    first trait that has a value), entered (day), confirmed (how many values the crew was asked about and kept).
    """
    trees = assessment.site.trees.order_by("row", "col").values_list(*PLACES.values())
    frame = pd.DataFrame(list(trees), columns=list(PLACES)).set_index("tree", drop=False).rename_axis(None)
    all_traits = trait_list(assessment)
    told = _told(assessment, {t.pk: t for t in all_traits})
    for trait in all_traits if traits is None else traits:
        column = [told.get(code, {}).get(trait.code) for code in frame["tree"]]
        is_number = trait.kind in (TraitKind.NUMBER, TraitKind.ORDINAL)
        frame[column_of(trait)] = pd.Series(column, frame.index, dtype="float64" if is_number else object)
    for name in ("_state", "_notes", "_crew", "_day"):
        column = [told.get(code, {}).get(name, "" if name == "_state" else None) for code in frame["tree"]]
        frame[name.replace("_day", "entered").lstrip("_")] = pd.Series(column, frame.index, dtype=object)
    frame["confirmed"] = [told.get(code, {}).get("_confirmed", 0) for code in frame["tree"]]
    alive = [
        _is_alive(told.get(code), status) for code, status in zip(frame["tree"], frame["status"], strict=True)
    ]
    frame["alive"] = pd.Series(alive, frame.index, dtype=object)
    return frame


def _told(assessment: Assessment, traits: dict[int, Trait]) -> dict[str, dict[str, Any]]:
    """What stands for each tree: values by trait code, and beside them _state, _notes, _crew, _day, _confirmed."""
    told: dict[str, dict[str, Any]] = {}
    fields = ("tree__code", "trait_id", "kind", "number", "text", "by__full_name", "by__username")
    rows = standing_entries(assessment).order_by("received_at", "pk")
    for code, trait, kind, number, text, name, username, entered, received, confirmed in rows.values_list(
        *fields, "entered_at", "received_at", "confirmed"
    ):
        at = told.setdefault(code, {})
        if kind == EntryKind.VALUE and trait in traits:
            at[traits[trait].code] = as_shown(traits[trait], number, text)
        elif kind in GONE:
            at["_state"] = kind
        elif kind != EntryKind.VALUE:
            at["_seen"] = at.get("_seen") or kind == EntryKind.SECOND_LEADER
            at["_notes"] = "; ".join(filter(None, [at.get("_notes"), text or EntryKind(kind).label]))
        at.setdefault("_crew", name or username)
        at["_day"] = (entered or received).date()
        at["_confirmed"] = at.get("_confirmed", 0) + bool(confirmed)
    return told


def _is_alive(told: dict[str, Any] | None, status: str) -> bool | None:
    """Dead or missing when a crew said so, alive when something was measured; felled and unvisited trees: not
    seen, unless the tree was known as dead or missing before."""
    told = told or {}
    if told.get("_state") in NOT_ALIVE or told.get("survival") == "no":
        return False
    if told.get("_seen") or any(not name.startswith("_") for name in told):
        return True
    return False if status in (TreeStatus.DEAD, TreeStatus.MISSING) else None


def visit_before(assessment: Assessment) -> Assessment | None:
    """The latest earlier assessment of the site that shares a trait with this one, and has values."""
    return (
        Assessment.objects.filter(
            site=assessment.site_id,
            measured_from__lt=assessment.measured_from,
            traits__in=assessment.traits.all(),
            entries__standing=Standing.CURRENT,
            entries__kind=EntryKind.VALUE,
        )
        .order_by("-measured_from", "-pk")
        .first()
    )


def with_last_values(now: pd.DataFrame, before: pd.DataFrame, years: float) -> pd.DataFrame:
    """The frame of a visit with last_<trait>, last_alive and years since the visit before, tree by tree."""
    shared = [c for c in before.columns if c in now.columns and (c not in OWN or c == "alive")]
    last = before[shared].reindex(now.index)
    return now.join(last.add_prefix("last_")).assign(years=years)


def years_between(earlier: Assessment, later: Assessment) -> float:
    """Years from the first day of one assessment to the first day of the other."""
    return (later.measured_from - earlier.measured_from).days / DAYS_A_YEAR


def trait_values(assessment: Assessment, trait: Trait) -> dict[str, Any]:
    """A trait of an assessment for the map: its words, and values and marks (dead, missing …) by tree code."""
    values: dict[str, Any] = {}
    marks: dict[str, str] = {}
    rows = standing_entries(assessment).values_list("tree__code", "trait_id", "kind", "number", "text")
    for code, trait_id, kind, number, text in rows:
        if kind in GONE:
            marks[code] = kind
        elif kind == EntryKind.VALUE and trait_id == trait.pk:
            values[code] = as_shown(trait, number, text)
    is_number = trait.kind in (TraitKind.NUMBER, TraitKind.ORDINAL)
    return {
        "title": f"{trait}, {assessment.name}",
        "kind": "number" if is_number else "text",
        "unit": trait.unit,
        "decimals": trait.decimals,
        "points": trait.points if trait.kind == TraitKind.ORDINAL else [],
        "values": values,
        "marks": marks,
    }


def measurements_of(tree: Tree) -> tuple[list[Trait], list[dict[str, Any]]]:
    """A tree through time: the traits it was measured for, and one row an assessment, newest first.

    A row has assessment, values (in the order of the traits), state, by and day. Only what stands is shown.
    """
    entries = (
        queries.standing()
        .filter(tree=tree)
        .select_related("assessment__site__trial", "trait", "by")
        .order_by("-assessment__measured_from", "-assessment_id", "received_at", "pk")
    )
    traits: dict[int, Trait] = {}
    rows: dict[int, dict[str, Any]] = {}
    for entry in entries:
        row = rows.setdefault(
            entry.assessment_id, {"assessment": entry.assessment, "told": {}, "state": [], "by": entry.by}
        )
        if entry.trait is not None:
            traits.setdefault(entry.trait_id, entry.trait)
            row["told"][entry.trait_id] = as_shown(entry.trait, entry.number, entry.text)
        else:
            row["state"].append(": ".join(filter(None, [str(entry.get_kind_display()), entry.text])))
    order = sorted(traits.values(), key=lambda t: (t.position, t.code))
    for row in rows.values():
        row["values"] = [(t, row["told"].get(t.pk)) for t in order]
    return order, list(rows.values())

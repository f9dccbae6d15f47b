"""Rows of a file of measurements against what is stored: their assessments, their cells, what these say anew."""

import math
from dataclasses import dataclass
from typing import Any

import pandas as pd
from django.db.models import QuerySet

from portal.calc.file_spec import FileKind, Known, Problem
from portal.uploads.registry import Target
from trials.calc.trait_rules import STATUS_WORDS
from trials.entries.files import FIXED, file_of_traits
from trials.entries.ground import scale
from trials.models import Assessment, AssessmentState, Entry, Standing, Trait, Tree, Trial

KNOWN_TREES = {"tree": "code", "pk": "pk", "site": "site_id", "site_code": "site__code"}
CELL = {"yes_no": {1.0: "yes", 0.0: "no"}}


@dataclass(frozen=True)
class Cell:
    """One filled cell: what it says of a tree in an assessment. `trait` is None for a status."""

    row: int
    tree_id: int
    assessment: Assessment
    trait: Trait | None
    name: str
    value: Any
    day: Any


def file_for(target: Target) -> FileKind:
    """The file with the traits of this trial as columns."""
    return file_of_traits(
        [
            (t.code, t.name, t.kind, t.unit, [int(v) for v in scale(t.points)], t.minimum, t.maximum)
            for t in _traits(target.trial)
        ]
    )


def known_for_measurements(target: Target) -> dict[str, pd.DataFrame]:
    """The trial's trees."""
    rows = list(target.trial.trees.values_list(*KNOWN_TREES.values()))
    return {"trees": pd.DataFrame(rows, columns=list(KNOWN_TREES))}


def assessment_problems(target: Target, rows: pd.DataFrame, known: Known, file_name: str) -> list[Problem]:
    """Rows that name no open assessment of their tree's site, traits it has not got, or a tree it has already."""
    places = _assessments(target.trial)
    trees = known["trees"].set_index("tree")
    taken: dict[tuple[int, str], int] = {}
    problems = []
    traits = {t.code for t in _traits(target.trial)} & set(rows.columns)
    for row in rows.to_dict("records"):
        number, site = int(row["_row"]), int(trees.at[row["tree"], "site"])
        found = _assessment_of(places, site, row["assessment"])
        if found is None:
            shown = row["assessment"] or "no name"
            listed = ", ".join(sorted(a.name for a in places.get(site, []))) or "none is open there"
            expected = (
                f"the name of an open assessment of site {trees.at[row['tree'], 'site_code']}: {listed}"
            )
            problems.append(Problem(file_name, number, "assessment", shown, expected))
            continue
        first = taken.setdefault((found.pk, row["tree"]), number)
        if first != number:
            expected = f"a tree once in an assessment; it stands in row {first} too"
            problems.append(Problem(file_name, number, "tree", row["tree"], expected))
        codes = {t.code for t in found.traits.all()}
        for code in sorted(traits - codes):
            if not _empty(row[code]):
                expected = f"nothing here: {code} is no trait of the assessment {found.name}"
                problems.append(Problem(file_name, number, code, str(row[code]), expected))
    return problems


def cells_of(target: Target, rows: pd.DataFrame) -> list[Cell]:
    """Every filled cell of sound rows."""
    places = _assessments(target.trial)
    trees = {
        code: (pk, site)
        for code, pk, site in Tree.objects.filter(
            trial=target.trial, code__in=rows["tree"].tolist()
        ).values_list("code", "pk", "site_id")
    }
    traits = [t for t in _traits(target.trial) if t.code in rows]
    cells = []
    for row in rows.to_dict("records"):
        tree, site = trees[row["tree"]]
        found = _assessment_of(places, site, row["assessment"])
        if found is None:  # closed since the rows were checked
            continue
        named: list[tuple[str, Trait | None]] = [("status", None), *((t.code, t) for t in traits)]
        cells += [
            Cell(int(row["_row"]), tree, found, trait, name, row[name], row["measured_on"])
            for name, trait in named
            if not _empty(row[name])
        ]
    return cells


def stored_cells(cells: list[Cell]) -> dict[tuple[int, int, str], Entry]:
    """What stands already where these cells would go, by (assessment, tree, column)."""
    rows = agreed_entries(cells).filter(standing=Standing.CURRENT).select_related("trait")
    return {(e.assessment_id, e.tree_id, e.trait.code if e.trait else "status"): e for e in rows}


def agreed_entries(cells: list[Cell]) -> QuerySet[Entry]:
    """Entries about the trees of these cells that stand, or say the same as one that stands."""
    return Entry.objects.filter(
        assessment_id__in={c.assessment.pk for c in cells},
        tree_id__in={c.tree_id for c in cells},
        standing__in=[Standing.CURRENT, Standing.REPEATED],
        kind__in=["value", *STATUS_WORDS],
    )


def as_cell(entry: Entry) -> Any:
    """What an entry would be in the cell of a file."""
    if entry.trait is None:
        return entry.kind
    return CELL.get(entry.trait.kind, {}).get(
        entry.number, entry.text if entry.number is None else entry.number
    )


def stored_measurements(target: Target, rows: pd.DataFrame) -> pd.DataFrame:
    """The rows that are stored already, or stored with another value somewhere, in the columns of the file.

    Rows with something new to say and nothing that contradicts are left out: they are new.
    """
    cells = cells_of(target, rows)
    there = stored_cells(cells)
    stored: dict[int, dict[str, Any]] = {}
    fresh: set[int] = set()
    contrary: set[int] = set()
    for cell in cells:
        entry = there.get((cell.assessment.pk, cell.tree_id, cell.name))
        if entry is None:
            fresh.add(cell.row)
            continue
        stored.setdefault(cell.row, {})[cell.name] = as_cell(entry)
        if not _same(as_cell(entry), cell.value):
            contrary.add(cell.row)
    names = [c.name for c in FIXED] + [t.code for t in _traits(target.trial)]
    kept = rows[rows["_row"].isin([n for n in stored if n not in fresh or n in contrary])]
    listed = [
        {**{n: row.get(n) for n in ("tree", "measured_on", "assessment")}, **stored[int(row["_row"])]}
        for row in kept.to_dict("records")
    ]
    return pd.DataFrame(listed, columns=names)


def is_new(cell: Cell, there: dict[tuple[int, int, str], Entry]) -> bool:
    """Whether a cell says what does not stand yet."""
    entry = there.get((cell.assessment.pk, cell.tree_id, cell.name))
    return entry is None or not _same(as_cell(entry), cell.value)


def _same(stored: Any, cell: Any) -> bool:
    if isinstance(stored, float) and isinstance(cell, int | float):
        return math.isclose(stored, cell, rel_tol=1e-9, abs_tol=1e-12)
    return bool(stored == cell)


def _empty(value: Any) -> bool:
    return value is None or (isinstance(value, float) and math.isnan(value))


def _traits(trial: Trial) -> list[Trait]:
    return list(trial.traits.filter(active=True).order_by("position", "code"))


def _assessments(trial: Trial) -> dict[int, list[Assessment]]:
    """Open assessments by site."""
    found: dict[int, list[Assessment]] = {}
    rows = Assessment.objects.filter(site__trial=trial, state=AssessmentState.OPEN)
    for assessment in rows.prefetch_related("traits").select_related("site"):
        found.setdefault(assessment.site_id, []).append(assessment)
    return found


def _assessment_of(places: dict[int, list[Assessment]], site: int, name: str | None) -> Assessment | None:
    there = places.get(site, [])
    if name is None:
        return there[0] if len(there) == 1 else None
    return next((a for a in there if a.name.casefold() == name.casefold()), None)

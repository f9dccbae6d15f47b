"""What is asked of a choice of trees to fell, as a whole-number programme, and what stands in its way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

import numpy as np
import pandas as pd

from trials.calc.felling_model import Cell, IntArray, Programme, Requirement, Shortfall, shortfalls

PER_CLONE = "trees of a clone"
PER_CLASS = "trees of a diameter class"
PER_SITE = "trees of a site"
PER_PLOT = "trees of a plot"
FAMILIES = (PER_CLONE, PER_CLASS, PER_SITE, PER_PLOT)


GROUP = ("clone", "site", "block", "plot", "diameter_class")


@dataclass(frozen=True)
class Wanted:
    """What is asked of a choice of trees.

    per_clone: number of trees of each clone; other clones are not felled. class_edges_mm: bounds between
    diameter classes, rising; a class takes in its lower bound. least_per_class trees of each class, in all
    or of each clone (`cover`). sites: the sites to fell on (None: all); least_per_site trees of each of them.
    most_per_plot trees of one plot. Trees known to be unhealthy or at an edge are left out where asked, and
    always the trees in `leave`, of unknown diameter, and named twice. Weights say how much unevenness over
    classes, sites and blocks counts, whole numbers, 0 for not at all.
    """

    per_clone: Mapping[str, int]
    class_edges_mm: tuple[float, ...] = ()
    least_per_class: int = 1
    cover: Literal["in all", "each clone"] = "in all"
    sites: tuple[str, ...] | None = None
    least_per_site: int = 0
    most_per_plot: int = 1
    leave_unhealthy: bool = True
    leave_edge: bool = True
    leave: frozenset[str] = frozenset()
    reserves: int = 1
    weights: Mapping[str, int] = field(default_factory=lambda: {"class": 1, "site": 1, "block": 1})


@dataclass(frozen=True)
class Obstacle:
    """What stands in the way: loosening only this kind of requirement, by the amounts in `details`, would
    allow a choice (`alone`), or only together with the other obstacles."""

    requirement: str
    alone: bool
    details: tuple[str, ...]


def diameter_classes(dbh_mm: pd.Series[float], edges_mm: tuple[float, ...]) -> pd.Series[str]:
    """Class of each diameter in words, None where the diameter is missing. ValueError unless edges rise."""
    labels = np.array(class_labels(edges_mm), dtype=object)
    values = dbh_mm.to_numpy(dtype=np.float64, na_value=np.nan)
    classes = labels[np.searchsorted(np.array(edges_mm, dtype=np.float64), values, side="right")]
    classes[np.isnan(values)] = None
    return pd.Series(classes, index=dbh_mm.index, dtype=object, name="diameter_class")


def class_labels(edges_mm: tuple[float, ...]) -> tuple[str, ...]:
    """Names of the classes between the edges: "under 180 mm", "180 to under 240 mm", "240 mm and over"."""
    if any(b <= a for a, b in pairwise(edges_mm)) or any(edge <= 0 for edge in edges_mm):
        raise ValueError(f"class edges {edges_mm}: expected rising numbers above 0 mm")
    if not edges_mm:
        return ("all diameters",)
    between = [f"{a:g} to under {b:g} mm" for a, b in pairwise(edges_mm)]
    return (f"under {edges_mm[0]:g} mm", *between, f"{edges_mm[-1]:g} mm and over")


def grouped(usable: pd.DataFrame) -> tuple[pd.DataFrame, IntArray]:
    """Groups of trees alike for a choice (columns of GROUP and size), and the group of each tree."""
    groups = usable[list(GROUP)].drop_duplicates().sort_values(list(GROUP), ignore_index=True)
    of_tree = usable[list(GROUP)].merge(groups.reset_index(names="group"), on=list(GROUP), how="left")[
        "group"
    ]
    numbers = of_tree.to_numpy(dtype=np.int64)
    return groups.assign(size=np.bincount(numbers, minlength=len(groups))), numbers


def programme(groups: pd.DataFrame, wanted: Wanted) -> Programme:
    """The programme of a choice: requirements of every family, and cells for each clone and all together."""
    total = sum(wanted.per_clone.values())
    cells = [
        Cell(members, float(weight))
        for of_clone in (*({"clone": clone} for clone in wanted.per_clone), {})
        for weight, level_sets in _dimensions(groups, wanted)
        for members in (_where(groups, {**of_clone, **level}) for level in level_sets)
        if len(members)
    ]
    return Programme(
        sizes=groups["size"].to_numpy(dtype=np.int64),
        requirements=tuple(_requirements(groups, wanted, total)),
        cells=tuple(cells),
        most=total,
    )


def levels(trees: pd.DataFrame, wanted: Wanted) -> dict[str, list[dict[str, str]]]:
    """Levels the balance is over: every diameter class, the sites felled on, their blocks."""
    places = trees[["site", "block"]].drop_duplicates().sort_values(["site", "block"])
    sites = wanted.sites or tuple(str(site) for site in places["site"].unique())
    return {
        "class": [{"diameter_class": label} for label in class_labels(wanted.class_edges_mm)],
        "site": [{"site": site} for site in sites],
        "block": [{"site": s, "block": b} for s, b in zip(places["site"], places["block"], strict=True)],
    }


def obstacles(made: Programme) -> tuple[Obstacle, ...]:
    """Which requirements prevent any choice: each kind that would do alone, or else the kinds that have to
    give way together."""
    found = []
    for family in FAMILIES:
        short = shortfalls(made, {family})
        if short:
            found.append(Obstacle(family, True, tuple(_in_words(row) for row in short)))
    if found:
        return tuple(found)
    together = shortfalls(made, set(FAMILIES)) or ()
    return tuple(
        Obstacle(family, False, tuple(_in_words(row) for row in together if row.family == family))
        for family in FAMILIES
        if any(row.family == family for row in together)
    )


def _dimensions(groups: pd.DataFrame, wanted: Wanted) -> list[tuple[int, list[dict[str, str]]]]:
    return [(wanted.weights.get(over, 0), sets) for over, sets in levels(groups, wanted).items()]


def _requirements(groups: pd.DataFrame, wanted: Wanted, total: int) -> list[Requirement]:
    rows = [
        Requirement(PER_CLONE, clone, _where(groups, {"clone": clone}), number, number)
        for clone, number in wanted.per_clone.items()
    ]
    for label in class_labels(wanted.class_edges_mm):
        for of_clone in [{"clone": c} for c in wanted.per_clone] if wanted.cover == "each clone" else [{}]:
            members = _where(groups, {"diameter_class": label, **of_clone})
            name = " of ".join([label, *of_clone.values()])
            rows.append(Requirement(PER_CLASS, name, members, wanted.least_per_class, np.inf))
    for site in wanted.sites or sorted(groups["site"].unique()):
        rows.append(
            Requirement(PER_SITE, site, _where(groups, {"site": site}), wanted.least_per_site, np.inf)
        )
    names = "site " + groups["site"] + ", block " + groups["block"] + ", plot " + groups["plot"]
    for name in names.unique():
        members = np.flatnonzero(names == name)
        rows.append(Requirement(PER_PLOT, str(name), members, -np.inf, wanted.most_per_plot))
    return rows


def _where(groups: pd.DataFrame, level: Mapping[str, str]) -> IntArray:
    mask = np.ones(len(groups), dtype=bool)
    for column, value in level.items():
        mask &= (groups[column] == value).to_numpy()
    return np.flatnonzero(mask)


def _in_words(row: Shortfall) -> str:
    if row.by < 0:
        most = "at most " if row.family == PER_PLOT else ""
        return f"{row.label}: {most}{row.wanted:g} asked, {row.wanted - row.by:g} needed"
    return f"{row.label}: {row.wanted:g} wanted, {row.wanted - row.by:g} possible"

"""Classes of stiffness as data: the least MOE and density of each. What a board or a group reaches of them.

A strength class belongs to a population that was graded under a licensed route, and asks for strength too; here only
figures are compared, with dynamic MOE, which reads above the static one.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sawing.calc.resampling import RESAMPLES, SEED, tree_bootstrap


@dataclass(frozen=True)
class StiffnessClass:
    """A class: the least MOE (GPa) at 12 % and, where one is asked for, the least density (kg/m3) at 12 %."""

    code: str
    min_moe_gpa: float
    min_density_kg_m3: float | None = None


@dataclass(frozen=True)
class ClassTable:
    """Classes from the lowest up, with where they come from."""

    code: str
    title: str
    edition: str
    origin: str
    source: str
    note: str
    classes: tuple[StiffnessClass, ...]

    def reached(self, moe_gpa: float, density_kg_m3: float) -> str | None:
        """The highest class whose figures are reached (equality passes); None below the lowest or without an MOE. A
        class that asks for a density is not reached without one."""
        if math.isnan(moe_gpa):
            return None
        for one in reversed(self.classes):
            dense = one.min_density_kg_m3 is None or density_kg_m3 >= one.min_density_kg_m3
            if moe_gpa >= one.min_moe_gpa and dense:
                return one.code
        return None


@dataclass(frozen=True)
class GroupStiffness:
    """Stiffness of a group of boards: mean and standard deviation of MOE at 12 % (GPa), mean density (kg/m3), boards
    and
    trees, and the interval of the mean by resampling trees (None where they are too few)."""

    name: str
    boards: int
    trees: int
    mean_gpa: float
    sd_gpa: float
    density_kg_m3: float
    interval: tuple[float, float] | None
    note: str | None


def read_class_table(path: Path) -> ClassTable:
    """A table from its document. Raises ValueError when it is none, or its classes do not rise."""
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
        classes = tuple(_class(c) for c in content["classes"])
        texts = {n: str(content[n]) for n in ("code", "title", "edition", "origin", "source", "note")}
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError, TypeError, ValueError) as error:
        raise ValueError(f"{path.name} is no table of stiffness classes: {error}") from error
    limits = [c.min_moe_gpa for c in classes]
    if not classes or limits != sorted(set(limits)) or len({c.code for c in classes}) < len(classes):
        raise ValueError(f"{path.name}: expected classes of different names with rising limits")
    return ClassTable(**texts, classes=classes)


def read_class_tables(folder: Path) -> list[ClassTable]:
    """All tables (*.toml) of a folder by name."""
    return [read_class_table(path) for path in sorted(folder.glob("*.toml"))]


def _class(given: dict[str, Any]) -> StiffnessClass:
    moe, density = float(given["min_moe_gpa"]), given.get("min_density_kg_m3")
    dense = None if density is None else float(density)
    if not (math.isfinite(moe) and moe >= 0) or (
        dense is not None and not (math.isfinite(dense) and dense > 0)
    ):
        raise ValueError("limits are numbers from 0 up")
    return StiffnessClass(str(given["code"]), moe, dense)


def group_stiffness(
    taps: pd.DataFrame, key: str, *, resamples: int = RESAMPLES, seed: int = SEED
) -> list[GroupStiffness]:
    """Stiffness by the values of a column, boards with an MOE at 12 % only; one tap a board is expected.

    :param taps: moe12_gpa, density12_kg_m3, tree and the column `key`.
    """
    known = taps[taps["moe12_gpa"].notna()].assign(_n=1.0)
    found = []
    for name, rows in known.groupby(key, sort=True):
        totals = rows.groupby("tree")[["moe12_gpa", "_n"]].sum()
        drawn = tree_bootstrap(totals, {"mean": ("moe12_gpa", "_n")}, resamples, seed)
        moe = rows["moe12_gpa"].to_numpy(dtype=np.float64)
        found.append(
            GroupStiffness(
                name=str(name),
                boards=len(rows),
                trees=len(totals),
                mean_gpa=float(moe.mean()),
                sd_gpa=float(moe.std(ddof=1)) if len(moe) > 1 else math.nan,
                density_kg_m3=float(rows["density12_kg_m3"].mean()),
                interval=drawn.intervals["mean"],
                note=drawn.note,
            )
        )
    return found


def counts(taps: pd.DataFrame, table: ClassTable) -> list[tuple[str | None, int]]:
    """Boards by the class they reach, highest first, None (below all) last."""
    reached = [
        table.reached(float(m), float(d))
        for m, d in zip(taps["moe12_gpa"], taps["density12_kg_m3"], strict=True)
        if not math.isnan(m)
    ]
    names: Sequence[str | None] = [*(c.code for c in reversed(table.classes)), None]
    return [(name, sum(r == name for r in reached)) for name in names]

"""Out-turn of graded boards: shares by grade of any grouping, what boards were downgraded for, what was lost to it.

Volumes are of the graded pieces (booked sizes; the board's own where a piece has none); shares are ratios of totals.
Intervals come from resampling whole trees, never boards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from sawing.calc.resampling import RESAMPLES, SEED, tree_bootstrap

POSITIONS: Final = ("butt log", "second log", "third log and above")
RADIAL: Final = ("inner", "middle", "outer")
WIDTH_STEP_MM: Final = 50.0
NOT_KNOWN: Final = "not known"
NOTHING: Final = "nothing"


@dataclass(frozen=True)
class Group:
    """One group of boards: volume by grade (m3) and its shares, boards and trees; `better`: share of the grades down
    to the one asked for, with the interval of it (None where trees are too few) and a caution."""

    name: str
    boards: int
    trees: int
    volume_m3: float
    by_grade: dict[str, float]
    better: float | None
    interval: tuple[float, float] | None
    note: str | None

    def share(self, grade: str) -> float:
        """Share of a grade in the group's graded volume."""
        return self.by_grade.get(grade, 0.0) / self.volume_m3 if self.volume_m3 else 0.0


def graded_frame(grades: pd.DataFrame) -> pd.DataFrame:
    """Grades with volumes and losses, a row a board.

    :param grades: board, tree, grade, deciding_kind, graded_length_m, graded_width_mm, graded_thickness_mm and the
        board's own length_m, width_mm, thickness_mm (and nominal_width_mm where known).
    :returns: with volume_m3, lost_length_m, lost_width_mm (board minus piece, not below 0; width against the nominal
        one, which a piece of full width is booked with), lost_m3 (what the board has more than the piece).
    """
    length = grades["graded_length_m"].fillna(grades["length_m"])
    own_width = grades["nominal_width_mm"].fillna(grades["width_mm"])
    width = grades["graded_width_mm"].fillna(own_width)
    thick = grades["graded_thickness_mm"].fillna(grades["thickness_mm"])
    volume = length * width * thick / 1e6
    whole = grades["length_m"] * own_width * thick / 1e6
    return grades.assign(
        volume_m3=volume,
        lost_length_m=(grades["length_m"] - length).clip(lower=0),
        lost_width_mm=(own_width - width).clip(lower=0),
        lost_m3=(whole - volume).clip(lower=0),
    )


def groups(
    table: pd.DataFrame,
    key: str,
    order: Sequence[str],
    down_to: str,
    *,
    rejects: Sequence[str] = (),
    resamples: int = RESAMPLES,
    seed: int = SEED,
) -> list[Group]:
    """Out-turn by the values of a column, in their order of appearance.

    :param table: as `graded_frame` gives it, with the column `key`.
    :param order: grades, best first; `down_to`: the last of those that count as better. Rejects count in the volume.
    :raises ValueError: `down_to` is no grade.
    """
    if down_to not in order:
        raise ValueError(f"{down_to!r} is none of {', '.join(order)}")
    good = [g for g in order[: list(order).index(down_to) + 1] if g not in rejects]
    marked = table.assign(_good=table["volume_m3"].where(table["grade"].isin(good), 0.0))
    found = []
    for name, rows in marked.groupby(key, sort=False, dropna=False):
        totals = rows.groupby("tree")[["_good", "volume_m3"]].sum()
        drawn = tree_bootstrap(totals, {"better": ("_good", "volume_m3")}, resamples, seed)
        volume = float(rows["volume_m3"].sum())
        found.append(
            Group(
                name=str(name) if pd.notna(name) else NOT_KNOWN,
                boards=len(rows),
                trees=len(totals),
                volume_m3=volume,
                by_grade={str(g): float(v) for g, v in rows.groupby("grade")["volume_m3"].sum().items()},
                better=float(rows["_good"].sum()) / volume if volume else None,
                interval=drawn.intervals["better"],
                note=drawn.note,
            )
        )
    return found


def pareto(table: pd.DataFrame, below: Sequence[str]) -> list[dict[str, Any]]:
    """Why boards are in these grades: kinds of features that decided, most boards first, with the running share.

    Each row: kind, boards, volume_m3, share of the boards, cumulative share. Boards without a deciding feature on
    record count as "not known".
    """
    mine = table[table["grade"].isin(list(below))]
    kinds = mine["deciding_kind"].fillna(NOT_KNOWN)
    counted = (
        mine.groupby(kinds)["volume_m3"]
        .agg(["size", "sum"])
        .sort_values(["size", "sum"], ascending=False, kind="stable")
    )
    running, found = 0, []
    for kind, row in counted.iterrows():
        running += int(row["size"])
        found.append(
            {
                "kind": str(kind),
                "boards": int(row["size"]),
                "volume_m3": float(row["sum"]),
                "share": row["size"] / len(mine),
                "cumulative": running / len(mine),
            }
        )
    return found


def losses(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Lengths and widths cut off, by the kind of feature that decided each board; most volume first.

    The whole loss of a board goes to its deciding feature; where none decided, to "nothing" (trim to the module).
    """
    kinds = table["deciding_kind"].fillna(NOTHING)
    sums = table.groupby(kinds).agg(
        boards=("volume_m3", "size"),
        docked=("lost_length_m", lambda v: int((v > 1e-9).sum())),
        lost_length_m=("lost_length_m", "sum"),
        ripped=("lost_width_mm", lambda v: int((v > 1e-9).sum())),
        lost_width_mm=("lost_width_mm", "sum"),
        lost_m3=("lost_m3", "sum"),
    )
    sums = sums.sort_values("lost_m3", ascending=False, kind="stable")
    listed = sums.reset_index(names="kind").to_dict("records")
    return [{str(name): value for name, value in row.items()} for row in listed]


def cross(
    first: pd.DataFrame, second: pd.DataFrame, rows: Sequence[str], columns: Sequence[str]
) -> list[dict[str, Any]]:
    """Boards graded by two rule sets: counts, and volume of the boards' pieces under the first, by pair of grades.

    :param first: board, grade, volume_m3; `second`: board, grade. Boards in both count.
    """
    both = first.merge(second[["board", "grade"]], on="board", suffixes=("", "_second"))
    found = []
    for grade in rows:
        mine = both[both["grade"] == grade]
        cells = [
            {
                "grade": other,
                "boards": int((mine["grade_second"] == other).sum()),
                "volume_m3": float(mine.loc[mine["grade_second"] == other, "volume_m3"].sum()),
            }
            for other in columns
        ]
        found.append({"grade": grade, "cells": cells, "boards": len(mine)})
    return found


def position_of(log_numbers: pd.Series) -> pd.Series:
    """Log position from the number of the log from the butt; "not known" without one."""
    at = pd.to_numeric(log_numbers, errors="coerce")
    named = np.select([at == 1, at == 2, at >= 3], POSITIONS, default=NOT_KNOWN)
    return pd.Series(named, index=log_numbers.index, dtype=object)


def width_class(width_mm: pd.Series) -> pd.Series:
    """Classes of board width, 50 mm wide: "150 to 199 mm"."""
    low = (width_mm // WIDTH_STEP_MM) * WIDTH_STEP_MM
    return low.map(lambda v: f"{v:.0f} to {v + WIDTH_STEP_MM - 1:.0f} mm" if pd.notna(v) else NOT_KNOWN)

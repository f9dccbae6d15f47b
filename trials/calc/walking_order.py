"""The order in which a crew walks a site: back and forth over its rows (or columns) from a chosen corner.

Rows and columns are the numbers of the layout: row 1 is the top, column 1 the left of the map, whatever the
compass says. A line without anything to visit is passed over, so that the next line begins at the near end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt
import pandas as pd

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

Corner = Literal["top left", "top right", "bottom left", "bottom right"]
CORNERS: tuple[Corner, ...] = get_args(Corner)
Along = Literal["rows", "columns"]


@dataclass(frozen=True)
class Walk:
    """Where a walk begins, along what it goes, and the spacing of rows and of columns in m (NaN: unknown, and
    so are the distances)."""

    corner: Corner = "top left"
    along: Along = "rows"
    row_spacing_m: float = float("nan")
    col_spacing_m: float = float("nan")


def tree_walk(trees: pd.DataFrame, walk: Walk = Walk()) -> pd.DataFrame:
    """Trees in walking order. `trees` needs row and col, and may have a site: each site is a walk of its own,
    sites in the order they first appear.

    The result has all columns of `trees` and order (1, 2, ... in its site), step_m (straight line from the
    tree before, 0 at the first) and walked_m (their sum). ValueError for a missing row or column, an unknown
    corner or direction, and a spacing that is not above 0.
    """
    _check(trees, walk)
    return _by_site(trees, walk)


def plot_walk(
    trees: pd.DataFrame,
    walk: Walk = Walk(),
    *,
    plot: Sequence[str] = ("block", "plot"),
) -> pd.DataFrame:
    """Plots in walking order, one row a plot: the columns of `plot` (with site where there is one), row and
    col (the middle of the plot, decimals allowed), trees, order, step_m and walked_m.

    A plot lies in the line of its first row (column), counted from the corner's side; distances are from
    middle to middle. ValueError as for tree_walk.
    """
    _check(trees, walk)
    keys = [*(["site"] if "site" in trees.columns else []), *plot]
    grouped = trees.groupby(keys, sort=False, dropna=False)
    pick = ("min" if _from_low(walk)[0] else "max", "min" if _from_low(walk)[1] else "max")
    plots = grouped.agg(
        row=("row", "mean"),
        col=("col", "mean"),
        trees=("row", "size"),
        _line_row=("row", pick[0]),
        _line_col=("col", pick[1]),
    ).reset_index()
    walked = _by_site(plots, walk, at=("_line_row", "_line_col"))
    return walked.drop(columns=["_line_row", "_line_col"])


def _by_site(places: pd.DataFrame, walk: Walk, at: tuple[str, str] = ("row", "col")) -> pd.DataFrame:
    if "site" not in places.columns:
        return _walked(places, walk, at)
    parts = [_walked(part, walk, at) for _, part in places.groupby("site", sort=False, dropna=False)]
    return pd.concat(parts, ignore_index=True) if parts else _walked(places, walk, at)


def _walked(places: pd.DataFrame, walk: Walk, at: tuple[str, str]) -> pd.DataFrame:
    order = _serpentine(places[at[0]].to_numpy(), places[at[1]].to_numpy(), walk)
    walked = places.iloc[order].reset_index(drop=True)
    across = np.diff(walked["row"].to_numpy(dtype=np.float64)) * walk.row_spacing_m
    along = np.diff(walked["col"].to_numpy(dtype=np.float64)) * walk.col_spacing_m
    # A step along one row has no part in the other direction, whose spacing may be unknown.
    across, along = (np.where(np.diff(walked[c]) == 0, 0.0, d) for c, d in (("row", across), ("col", along)))
    steps = np.concatenate([[0.0], np.hypot(across, along)])[: len(walked)]
    return walked.assign(order=np.arange(1, len(walked) + 1), step_m=steps, walked_m=np.cumsum(steps))


def _serpentine(rows: npt.NDArray[np.int64], columns: npt.NDArray[np.int64], walk: Walk) -> IntArray:
    """Positions in walking order: line by line from the corner, turning round after every line visited."""
    low_rows, low_columns = _from_low(walk)
    line = rows if low_rows else -rows
    place = columns if low_columns else -columns
    if walk.along == "columns":
        line, place = place, line
    visited = np.unique(line, return_inverse=True)[1]
    return np.lexsort((np.where(visited % 2 == 0, place, -place), visited)).astype(np.int64)


def _from_low(walk: Walk) -> tuple[bool, bool]:
    return walk.corner.startswith("top"), walk.corner.endswith("left")


def _check(trees: pd.DataFrame, walk: Walk) -> None:
    if walk.corner not in CORNERS:
        raise ValueError(f"corner {walk.corner!r}: expected one of {', '.join(CORNERS)}")
    if walk.along not in get_args(Along):
        raise ValueError(f"walk along {walk.along!r}: expected rows or columns")
    for spacing in (walk.row_spacing_m, walk.col_spacing_m):
        if spacing <= 0 or np.isinf(spacing):
            raise ValueError(f"spacing of {spacing!r} m: expected above 0, or NaN where it is not known")
    if trees[["row", "col"]].isna().any(axis=None):
        raise ValueError("a tree without row or column has no place in a walk")

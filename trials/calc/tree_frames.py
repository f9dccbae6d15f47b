"""Reading columns of a frame of trees that may be absent, and naming the rows that cannot be used.

A frame of trees has one row a planted position; an optional column may be missing, which means the same as a
column without any value.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class TreeProblem:
    """A row that cannot be used: its index label in the frame, the column, what was found, what is
    expected."""

    index: Hashable
    column: str
    found: str
    expected: str


def numbers(frame: pd.DataFrame, column: str) -> FloatArray:
    """Values of a numeric column as float64, shape (rows,); NaN everywhere when the frame has no such
    column."""
    if column not in frame.columns:
        return np.full(len(frame), np.nan)
    return frame[column].to_numpy(dtype=np.float64, na_value=np.nan)


def as_floats(values: npt.ArrayLike) -> FloatArray:
    """Anything array-like (a Series with missing values too) as float64."""
    if isinstance(values, pd.Series):
        return values.to_numpy(dtype=np.float64, na_value=np.nan)
    return np.asarray(values, dtype=np.float64)


def truths(frame: pd.DataFrame, column: str) -> FloatArray:
    """A yes-no column as 1.0, 0.0 and NaN for not known; NaN everywhere when the frame has no such
    column."""
    if column not in frame.columns:
        return np.full(len(frame), np.nan)
    return np.array([np.nan if pd.isna(value) else float(bool(value)) for value in frame[column]])


def require(frame: pd.DataFrame, columns: Sequence[str]) -> None:
    """ValueError that names the columns the frame lacks."""
    absent = [column for column in columns if column not in frame.columns]
    if absent:
        raise ValueError(f"trees without column {', '.join(absent)}: expected {', '.join(columns)}")


def shown(value: float) -> str:
    """A number as a person wrote it (no trailing zeros); the empty text for a missing one."""
    return "" if np.isnan(value) else f"{value:.10g}"


def positions_where(mask: npt.ArrayLike) -> list[int]:
    """Positions of the true values of a mask."""
    return [int(position) for position in np.flatnonzero(np.asarray(mask))]


def group_positions(
    frame: pd.DataFrame, by: Sequence[str]
) -> tuple[pd.DataFrame, list[npt.NDArray[np.intp]]]:
    """The groups of a frame in the order of their labels: one row of labels a group, and its row positions.

    Rows without a label make a group of their own (missing is not left out in silence). Without columns to
    group by, all rows are one group.
    """
    if not by:
        return pd.DataFrame(index=range(1)), [np.arange(len(frame), dtype=np.intp)]
    require(frame, by)
    codes = frame.groupby(list(by), dropna=False, sort=True).ngroup().to_numpy()
    order = np.argsort(codes, kind="stable")
    starts = np.flatnonzero(np.diff(codes[order], prepend=-1)) if len(order) else np.array([], dtype=np.intp)
    positions = np.split(order, starts[1:]) if len(starts) else []
    labels = frame[list(by)].iloc[order[starts]].reset_index(drop=True)
    return labels, positions


def label_of(labels: pd.DataFrame, row: int) -> Hashable:
    """The label of a group: the value itself for one column, a tuple for several or none; None for a missing
    one."""
    values = tuple(None if pd.isna(value) else value for value in labels.iloc[row].tolist())
    return values[0] if len(values) == 1 else values


def joined_label(label: Hashable) -> str:
    """A group's label in words: its parts joined by " / "."""
    parts = label if isinstance(label, tuple) else (label,)
    return " / ".join("none" if pd.isna(part) else str(part) for part in parts)

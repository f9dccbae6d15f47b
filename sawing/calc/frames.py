"""Reading columns of a tally or log frame that may be absent, and naming the rows that cannot be used.

A frame from a file and a frame from the database carry the same columns; an optional column may be missing
from either, which means the same as a column without any value.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class RowProblem:
    """One row that cannot be used: its index label in the frame, the column, what was found, what is
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


def texts(frame: pd.DataFrame, column: str) -> pd.Series[str]:
    """A text column as object values, None where missing (also when the frame has no such column)."""
    if column not in frame.columns:
        return pd.Series([None] * len(frame), index=frame.index, dtype=object)
    values = frame[column].astype(object)
    return values.where(values.notna(), None)


def positions_where(mask: npt.ArrayLike) -> list[int]:
    """Positions of the true values of a mask."""
    return [int(position) for position in np.flatnonzero(np.asarray(mask))]


def shown(value: float) -> str:
    """A number as a person wrote it (no trailing zeros); the empty text for a missing one."""
    return "" if np.isnan(value) else f"{value:.10g}"


def not_positive(frame: pd.DataFrame, columns: tuple[str, ...], expected: str) -> list[RowProblem]:
    """A problem for each row and column whose number is missing, zero, negative or infinite."""
    problems: list[RowProblem] = []
    for column in columns:
        values = numbers(frame, column)
        for position in positions_where(~((values > 0) & np.isfinite(values))):
            problems.append(RowProblem(frame.index[position], column, shown(values[position]), expected))
    return problems

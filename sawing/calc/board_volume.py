"""Sizes and volume of boards in one of three named size bases."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import pandas as pd

from sawing.calc.frames import FloatArray, RowProblem, not_positive, numbers

SizeBasis = Literal["actual_green", "nominal", "dry"]
SIZE_BASES: tuple[SizeBasis, ...] = get_args(SizeBasis)
SIZE_BASIS_TITLES: dict[SizeBasis, str] = {
    "actual_green": "actual green size",
    "nominal": "nominal size",
    "dry": "actual dry size",
}
_COLUMNS: dict[SizeBasis, tuple[str, str]] = {
    "actual_green": ("thickness_mm", "width_mm"),
    "nominal": ("nominal_thickness_mm", "nominal_width_mm"),
    "dry": ("dry_thickness_mm", "dry_width_mm"),
}


@dataclass(frozen=True)
class BoardVolumes:
    """Sizes and volumes of boards in one size basis, Series aligned to the boards; NaN where a size is
    missing."""

    size_basis: SizeBasis
    thickness_mm: pd.Series[float]
    width_mm: pd.Series[float]
    length_m: pd.Series[float]
    volume_m3: pd.Series[float]
    problems: tuple[RowProblem, ...]


def as_size_basis(text: str) -> SizeBasis:
    """The size basis named by `text` (any case, spaces or hyphens); ValueError naming the three otherwise."""
    key = text.strip().lower().replace(" ", "_").replace("-", "_")
    for basis in SIZE_BASES:
        if key == basis:
            return basis
    raise ValueError(f"unknown size basis {text!r}; expected one of: {', '.join(SIZE_BASES)}")


def board_volumes(boards: pd.DataFrame, size_basis: SizeBasis = "actual_green") -> BoardVolumes:
    """Thickness x width x length of each board in m3.

    actual_green: thickness_mm, width_mm, length_m as sawn; nominal: nominal_thickness_mm, nominal_width_mm,
    length_m; dry: dry_thickness_mm, dry_width_mm, dry_length_m (length_m where no dry length was taken). A
    missing or non-positive size of the basis is a problem of its row, and its volume NaN. ValueError for an
    unknown basis.
    """
    basis = as_size_basis(size_basis)
    thickness_column, width_column = _COLUMNS[basis]
    used = [thickness_column, width_column]
    length = numbers(boards, "length_m")
    if basis == "dry":
        dry_length = numbers(boards, "dry_length_m")
        length = np.where(np.isnan(dry_length), length, dry_length)
    sizes = pd.DataFrame(
        {thickness_column: numbers(boards, thickness_column), width_column: numbers(boards, width_column)},
        index=boards.index,
    ).assign(length_m=length)
    expected = f"a number above 0 (recovery on {SIZE_BASIS_TITLES[basis]} needs it)"
    problems = not_positive(sizes, (*used, "length_m"), expected)
    good = ((sizes > 0) & (sizes < np.inf)).all(axis=1)
    return BoardVolumes(
        size_basis=basis,
        thickness_mm=sizes[thickness_column],
        width_mm=sizes[width_column],
        length_m=sizes["length_m"],
        volume_m3=piece_volume_m3(sizes[thickness_column], sizes[width_column], sizes["length_m"]).where(
            good
        ),
        problems=tuple(problems),
    )


def piece_volume_m3(
    thickness_mm: pd.Series[float] | FloatArray,
    width_mm: pd.Series[float] | FloatArray,
    length_m: pd.Series[float],
) -> pd.Series[float]:
    """Volume in m3 of pieces with these sizes."""
    return (length_m * thickness_mm * width_mm / 1e6).rename("volume_m3")

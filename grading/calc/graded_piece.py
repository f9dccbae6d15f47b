"""Size and volume of the graded piece of a board: what is left of it once the grader has docked and
ripped."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sawing.calc.board_volume import BoardVolumes
from sawing.calc.frames import FloatArray, RowProblem, numbers, positions_where, shown, texts

# Graded and board sizes are both written down to the digit; only the last bits of a computed size may differ.
RELATIVE_TOLERANCE = 1e-9
_PAIRS = (
    ("graded_thickness_mm", "thickness_mm"),
    ("graded_width_mm", "width_mm"),
    ("graded_length_m", "length_m"),
)


@dataclass(frozen=True)
class GradedPieces:
    """Graded pieces, Series aligned to the grades: sizes after fallback and volume; NaN where the board is
    unknown."""

    thickness_mm: pd.Series[float]
    width_mm: pd.Series[float]
    length_m: pd.Series[float]
    volume_m3: pd.Series[float]


def graded_pieces(grades: pd.DataFrame, boards: pd.DataFrame, sizes: BoardVolumes) -> GradedPieces:
    """Graded thickness x width x length of each row of `grades`, in m3.

    Columns of grades: board, graded_thickness_mm, graded_width_mm, graded_length_m; a missing graded size
    falls back to the board's own size in the basis of `sizes`, which is aligned to `boards` (column board,
    codes unique).
    """
    code = texts(boards, "board")
    of_grade = texts(grades, "board")
    own = {
        "thickness_mm": pd.Series(sizes.thickness_mm.to_numpy(), index=code),
        "width_mm": pd.Series(sizes.width_mm.to_numpy(), index=code),
        "length_m": pd.Series(sizes.length_m.to_numpy(), index=code),
    }
    used: dict[str, FloatArray] = {}
    for graded_column, board_column in _PAIRS:
        graded = numbers(grades, graded_column)
        fallback = of_grade.map(own[board_column]).to_numpy(dtype=np.float64, na_value=np.nan)
        used[board_column] = np.where(np.isnan(graded), fallback, graded)
    known = of_grade.isin(set(code)).to_numpy()
    volume = used["thickness_mm"] * used["width_mm"] * used["length_m"] / 1e6
    index = grades.index
    return GradedPieces(
        thickness_mm=pd.Series(used["thickness_mm"], index=index),
        width_mm=pd.Series(used["width_mm"], index=index),
        length_m=pd.Series(used["length_m"], index=index),
        volume_m3=pd.Series(np.where(known, volume, np.nan), index=index, name="graded_volume_m3"),
    )


def larger_than_board(grades: pd.DataFrame, boards: pd.DataFrame) -> list[RowProblem]:
    """Graded sizes above the board's actual green size, or negative: one problem per row and column.

    The green board is the most wood there ever was in the piece, whatever size basis a recovery is shown in.
    Boards not in `boards` are not judged here.
    """
    problems: list[RowProblem] = []
    code = texts(boards, "board")
    of_grade = texts(grades, "board")
    for graded_column, board_column in _PAIRS:
        graded = numbers(grades, graded_column)
        own_sizes = pd.Series(numbers(boards, board_column), index=code)
        own = of_grade.map(own_sizes).to_numpy(dtype=np.float64, na_value=np.nan)
        with np.errstate(invalid="ignore"):
            larger = graded > own * (1.0 + RELATIVE_TOLERANCE)
            impossible = (graded < 0) | np.isinf(graded)
        for at in positions_where(larger):
            expected = f"at most the board's own {shown(own[at])}"
            problems.append(RowProblem(grades.index[at], graded_column, shown(graded[at]), expected))
        for at in positions_where(impossible & ~larger):
            problems.append(
                RowProblem(grades.index[at], graded_column, shown(graded[at]), "0 or more, or blank")
            )
    return problems

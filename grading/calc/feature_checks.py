"""What no single cell of a list of features shows: sizes that are missing, features beyond their board."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
import pandas as pd

from grading.calc.feature_kinds import BY_CODE, title_of
from grading.calc.grade_checks import BOARD_SIZES
from portal.calc.file_spec import Known, Problem, shown
from sawing.calc.frames import numbers, texts

ROUNDING_MM: Final = 0.5
NEEDS: Final = {
    "across": (("size_mm", "width_mm"), "a size or a width in mm; 0 when looked for and not found"),
    "along": (("size_mm", "length_mm"), "a size or a length in mm; 0 when looked for and not found"),
    "mm": (("size_mm",), "a size in mm"),
    "warp": (("size_mm",), "the deviation in mm; 0 when straight"),
    "percent": (("percent", "size_mm"), "a value in percent"),
}


def check_features(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    """Rows without the measure their kind needs, groups that are said to be there, features beyond their board.

    `known["boards"]` with actual sizes, when given, tells how long and wide a board is.
    """
    problems = []
    for at, (column, found, expected) in _odd_rows(rows):
        problems.append(Problem(file, int(rows["_row"].iloc[at]), column, shown(found), expected))
    boards = known.get("boards")
    if boards is not None and set(boards.columns) >= BOARD_SIZES and len(rows):
        for at, (column, found, expected) in _beyond(rows, boards):
            problems.append(Problem(file, int(rows["_row"].iloc[at]), column, shown(found), expected))
    return problems


def _odd_rows(rows: pd.DataFrame) -> Iterator[tuple[int, tuple[str, str, str]]]:
    given = {n: ~np.isnan(numbers(rows, n)) for n in ("size_mm", "width_mm", "length_mm", "percent")}
    none = numbers(rows, "size_mm") == 0
    for at, name in enumerate(texts(rows, "kind")):
        kind = BY_CODE.get(name)
        if kind is None:
            if not none[at]:
                expected = f"size_mm 0, which says that no {name} were found; name the kind of what was found"
                yield at, ("kind", str(name), expected)
        elif kind.measure in NEEDS:
            columns, expected = NEEDS[kind.measure]
            if not any(given[c][at] for c in columns):
                yield at, (columns[0], "an empty cell", f"for {kind.title}: {expected}")


def _beyond(rows: pd.DataFrame, boards: pd.DataFrame) -> Iterator[tuple[int, tuple[str, str, str]]]:
    """Features whose middle lies off the board, or that are wider than the surface they are on."""
    sizes = boards.assign(_code=texts(boards, "board")).drop_duplicates("_code").set_index("_code")
    code = texts(rows, "board")
    length, width, thickness = (
        code.map(sizes[n]).to_numpy(dtype=np.float64, na_value=np.nan)
        for n in ("length_m", "width_mm", "thickness_mm")
    )
    on_edge = texts(rows, "face").isin(["edge1", "edge2"]).to_numpy()
    across = np.where(on_edge, thickness, width)
    kinds = [BY_CODE.get(k) for k in texts(rows, "kind")]
    wide = np.array([k is not None and k.measure == "across" for k in kinds], dtype=bool)
    for name, most, applies, what in (
        ("x_mm", length * 1000, np.ones(len(rows), bool), "the board’s own length"),
        ("y_mm", across, np.ones(len(rows), bool), "the width of the surface it is on"),
        ("width_mm", across, np.ones(len(rows), bool), "the width of the surface it is on"),
        ("size_mm", across, wide, "the width of the surface it is on"),
    ):
        values = numbers(rows, name)
        for at in np.flatnonzero(applies & (values > most + ROUNDING_MM)):
            feature = kinds[at]
            words = f"at most {most[at]:g}, {what}"
            yield (
                int(at),
                (name, f"{values[at]:g}" + (f" ({title_of(feature.code)})" if feature else ""), words),
            )

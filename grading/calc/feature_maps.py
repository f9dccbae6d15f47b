"""Features of boards as arrays: where each lies, how large it is, and what was looked for on which board.

x runs along the board from its butt (label) end, y across the wide face from edge 1; both name the middle of a
feature. On an edge y and the width run across the thickness, and `depth_mm` says how far the feature reaches into the
wide face. What is left blank is taken at its worst: without x, or without a length where the kind is no round one, a
feature runs along the whole board; without y, or without a width, across all of its surface.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from grading.calc.feature_kinds import BY_CODE, FACES, GROUPS, KINDS, NUMBER_OF, looked_for, members
from sawing.calc.frames import numbers, texts

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

SMALLEST_MM: Final = 1.0
"""No feature is thinner or shorter: a line on the drawing still stands somewhere."""
ROUND_GROUPS: Final = ("knots", "insects")
"""Groups whose features are as long as they are wide, unless said otherwise."""
_MEASURE: Final = np.array([kind.measure for kind in KINDS])
_ROUND: Final = np.array([kind.group in ROUND_GROUPS for kind in KINDS])
_LOOKED: Final = {
    name: np.array([kind.code in looked_for([name]) for kind in KINDS]) for name in (*BY_CODE, *GROUPS)
}


@dataclass(frozen=True, eq=False)
class BoardSizes:
    """Boards by code: sizes in mm as graded, shape (boards,), and the sizes a piece of full size is booked with."""

    codes: tuple[str, ...]
    length_mm: Floats
    width_mm: Floats
    thickness_mm: Floats
    booked_width_mm: Floats
    booked_thickness_mm: Floats


@dataclass(frozen=True, eq=False)
class FeatureMap:
    """Features of many boards, sorted by board and by where they begin.

    first (boards + 1,): where each board's features begin. kind, face, row (features,): places in `KINDS`, in `FACES`
    and in the frame (-1: made from the board's heartwood). lo, hi, ylo, yhi: extents in mm. size, length, depth (mm),
    percent, margin (%): measures, NaN where missing. assessed (boards, kinds): what was looked for.
    """

    first: Ints
    kind: Ints
    face: Ints
    row: Ints
    lo: Floats
    hi: Floats
    ylo: Floats
    yhi: Floats
    size: Floats
    length: Floats
    depth: Floats
    percent: Floats
    margin: Floats
    assessed: Bools

    def of_board(self, board: int) -> range:
        """The features of a board."""
        return range(int(self.first[board]), int(self.first[board + 1]))


def board_sizes(boards: pd.DataFrame) -> BoardSizes:
    """Sizes of boards (columns of the tally): dry where measured, else green; booked at nominal sizes where known.

    Raises ValueError for boards without a code, a code twice, or sizes that are not above 0.
    """
    codes = texts(boards, "board")
    if codes.isna().any() or codes.duplicated().any():
        raise ValueError("each board needs a code of its own")

    def measured(name: str) -> Floats:
        dry, green = numbers(boards, f"dry_{name}"), numbers(boards, name)
        return np.where(np.isnan(dry), green, dry)

    def booked(name: str, own: Floats) -> Floats:
        nominal = numbers(boards, f"nominal_{name}")
        return np.where(np.isnan(nominal), own, nominal)

    length, width, thickness = (measured(n) for n in ("length_m", "width_mm", "thickness_mm"))
    if not all(np.all(np.isfinite(a) & (a > 0)) for a in (length, width, thickness)):
        raise ValueError("each board needs a length, a width and a thickness above 0")
    return BoardSizes(
        tuple(codes),
        np.round(length * 1000, 3),
        width,
        thickness,
        booked("width_mm", width),
        booked("thickness_mm", thickness),
    )


def feature_map(
    features: pd.DataFrame, boards: BoardSizes, heart: tuple[Floats, Floats] | None = None
) -> FeatureMap:
    """The map of the features of some boards; rows of other boards are left out.

    :param features: columns of a features file (absent optional ones count as blank).
    :param heart: y from and to of the heartwood by board, NaN where not known; what lies outside becomes sapwood.
    :raises ValueError: a kind or face that is not in the vocabulary.
    """
    at = {code: i for i, code in enumerate(boards.codes)}
    board = np.asarray(
        texts(features, "board").map(at).to_numpy(dtype=np.float64, na_value=np.nan), np.float64
    )
    names = texts(features, "kind").to_numpy()
    assessed = _assessed(board, names, len(boards.codes))
    found = ~np.isnan(board) & ~(numbers(features, "size_mm") == 0)
    rows = np.flatnonzero(found)
    table = _extents(features.iloc[rows], names[rows], board[rows].astype(np.int64), boards)
    table["row"] = rows
    if heart is not None:
        known = ~np.isnan(heart[0]) & ~np.isnan(heart[1])
        assessed[known, NUMBER_OF["sapwood"]] = True
        table = pd.concat([table, _sapwood(known, heart, boards)], ignore_index=True)
    table = table.sort_values(["board", "lo"], kind="stable")
    first = np.searchsorted(table["board"].to_numpy(), np.arange(len(boards.codes) + 1)).astype(np.int64)
    whole = {n: table[n].to_numpy(dtype=np.int64) for n in ("kind", "face", "row")}
    parts = {n: table[n].to_numpy(dtype=np.float64) for n in _EXTENTS}
    return FeatureMap(first, **whole, **parts, assessed=assessed)


_EXTENTS: Final = ("lo", "hi", "ylo", "yhi", "size", "length", "depth", "percent", "margin")


def _assessed(board: Floats, names: npt.NDArray[np.object_], count: int) -> Bools:
    """What was looked for on each board: whatever shares a look with a row of it."""
    assessed = np.zeros((count, len(KINDS)), dtype=bool)
    for name in set(names[~np.isnan(board)]):
        if name not in _LOOKED:
            members(str(name))  # raises with the known names
        on = np.unique(board[(names == name) & ~np.isnan(board)]).astype(np.int64)
        assessed[on] |= _LOOKED[name]
    return assessed


def _extents(
    rows: pd.DataFrame, names: npt.NDArray[np.object_], board: Ints, boards: BoardSizes
) -> pd.DataFrame:
    """Extents and measures of rows of features; board, kind and face as numbers."""
    kind = np.array([NUMBER_OF.get(n, -1) for n in names], dtype=np.int64)
    face = np.array([FACES.index(f) if f in FACES else -1 for f in texts(rows, "face")], dtype=np.int64)
    if (kind < 0).any() or (face < 0).any():
        raise ValueError("a row that says something was found names a kind (not a group) and a face")
    wide, size, length, across, depth = (
        numbers(rows, n) for n in ("width_mm", "size_mm", "length_mm", "y_mm", "depth_mm")
    )
    measure, board_length = _MEASURE[kind], boards.length_mm[board]
    size = np.where(np.isnan(size) & (measure == "across"), wide, size)
    size = np.where(np.isnan(size) & (measure == "along"), length, size)
    alike = (measure == "along") | _ROUND[kind]
    length = np.where(np.isnan(length) & alike, size, length)
    half = np.maximum(length, SMALLEST_MM) / 2
    x = numbers(rows, "x_mm")
    everywhere = np.isnan(x) | np.isnan(length) | (measure == "warp")
    low, high = _across(face, across, wide, size, depth, measure, boards.width_mm[board])
    return pd.DataFrame(
        {
            "board": board,
            "kind": kind,
            "face": face,
            "lo": np.where(everywhere, 0.0, x - half),
            "hi": np.where(everywhere, board_length, x + half),
            "ylo": low,
            "yhi": high,
            "size": size,
            "length": np.where(np.isnan(length), board_length, length),
            "depth": depth,
            "percent": numbers(rows, "percent"),
            "margin": numbers(rows, "margin_percent"),
        }
    )


def _across(
    face: Ints,
    y: Floats,
    wide: Floats,
    size: Floats,
    depth: Floats,
    measure: npt.NDArray[np.str_],
    width: Floats,
) -> tuple[Floats, Floats]:
    """From where to where features lie across the wide face; on an edge, as deep as they reach into it."""
    wide = np.where(np.isnan(wide) & (measure == "across"), size, wide)
    wide = np.where(np.isnan(wide) & (measure == "along"), SMALLEST_MM, wide)
    half = np.maximum(wide, SMALLEST_MM) / 2
    all_over = np.isnan(y) | np.isnan(wide) | (face == FACES.index("piece")) | (measure == "warp")
    low, high = np.where(all_over, 0.0, y - half), np.where(all_over, width, y + half)
    deep = np.where(depth > 0, depth, 1e-6)
    edge1, edge2 = face == FACES.index("edge1"), face == FACES.index("edge2")
    low = np.select([edge1, edge2], [np.full_like(width, -1.0), width - deep], low)
    high = np.select([edge1, edge2], [deep, width + 1.0], high)
    return low, high


def _sapwood(known: Bools, heart: tuple[Floats, Floats], boards: BoardSizes) -> pd.DataFrame:
    """Sapwood along the whole board outside its heartwood."""
    made = []
    for i in np.flatnonzero(known):
        for low, high in ((0.0, heart[0][i]), (heart[1][i], boards.width_mm[i])):
            if high - low > 1e-6:
                made.append((i, low, high, high - low, boards.length_mm[i]))
    found = pd.DataFrame(made, columns=["board", "ylo", "yhi", "size", "hi"])
    found["kind"], found["face"], found["row"], found["lo"] = (
        NUMBER_OF["sapwood"],
        FACES.index("piece"),
        -1,
        0.0,
    )
    found["length"] = found["hi"]
    return found.assign(depth=np.nan, percent=np.nan, margin=np.nan).astype({"board": np.int64})

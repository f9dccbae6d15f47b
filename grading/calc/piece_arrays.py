"""The arrays that the compiled search of pieces works on. What their columns hold stands in `piece_kernel`."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


class Board(NamedTuple):
    """A board and its features; features (features, 9) and codes (features, 2) as named above."""

    length: float
    width: float
    thick: float
    features: Floats
    codes: Ints


class Look(NamedTuple):
    """How a board is looked at: the strip, the face taken as the better one, a feature to leave out (-1: none)."""

    y0: float
    y1: float
    face: int
    skip: int


class Rules(NamedTuple):
    """Limits sorted by grade: numbers (limits, 6), codes (limits, 3), kinds (limits, kinds): whom it concerns, warp
    (limits, kinds): kind of warp or -1. By grade: where its limits begin, its shortest length, whether a better face
    is asked for. sizes: as named above."""

    numbers: Floats
    codes: Ints
    kinds: Bools
    warp: Ints
    first_limit: Ints
    min_length: Floats
    two_faces: Bools
    sizes: Floats


class Strips(NamedTuple):
    """places (strips, 3): y0, y1, booked width, widest first within a group; prices (strips, grades) in hundredths per
    m3; first (groups + 1,): where a group's strips begin."""

    places: Floats
    prices: Ints
    first: Ints


class Room(NamedTuple):
    """Room to work in: for the features of a limit, of limits on shares, for starts, and the table of splitting."""

    which: Ints
    weight: Floats
    aside: Floats
    shared: Ints
    shared_count: Ints
    reach: Floats
    worth: Ints
    how: Ints


def room_for(most_features: int, limits: int, starts: int, modules: int) -> Room:
    """Room for boards of so many features, starts and modules (1 and 1 where boards are not split)."""
    return Room(
        np.empty(most_features, np.int64),
        np.empty(most_features),
        np.empty(most_features),
        np.empty((limits, most_features), np.int64),
        np.zeros(limits, np.int64),
        np.empty(starts),
        np.empty((starts if modules > 1 else 1, modules), np.int64),
        np.empty((starts if modules > 1 else 1, modules), np.int64),
    )

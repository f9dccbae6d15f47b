"""How many whole symbols a board keeps of a label sheet, wherever the saw goes, and which lattice keeps enough.

Square symbols of side s stand on a square lattice of pitch p. Sawing cuts the sheet into strips: a board's end is a
rectangle t × w, of which the saw spoils a strip of f at each face, so that t - 2f is left. Saw kerf does not enter.
A symbol counts when it lies whole in the rectangle. Lengths in mm, angles in degrees.

Turned by φ against the lattice, a symbol lies whole in the rectangle when its middle lies in a smaller one, of
t - 2f - s(|cos φ| + |sin φ|) by w - s(|cos φ| + |sin φ|): so whole symbols are lattice points in a rectangle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

DOT_MM = 25.4 / 300
SYMBOL_MODULES = 12  # Data Matrix of ten digits
GAP_MODULES = 2  # light strip between symbols; the symbol itself asks for one at each side
FINEST_DOTS = 5  # modules of 0.42 mm; finer ones were not tried on anything
COARSEST_DOTS = 20
FEWEST_CODES = (
    8  # dirt takes codes one by one: with one or two a board, every second harshly spoilt board is lost
)
MOST_CELLS = 63  # six bits a direction, and an odd number, so that a cell lies over the middle
MARGIN_MM = 10.0  # of sheet beyond the measured diameter
STEP_DEG = 0.1
_TOLERANCE = 1e-7

FloatArray = npt.NDArray[np.float64]


class LatticeRefusedError(ValueError):
    """No lattice keeps the codes that are needed; the text says why, with numbers."""


@dataclass(frozen=True)
class Lattice:
    """Data Matrix 12 × 12 with modules of so many printer dots of 1/300 inch, two modules of gap between symbols."""

    dots: int

    @property
    def module_mm(self) -> float:
        return self.dots * DOT_MM

    @property
    def side_mm(self) -> float:
        return SYMBOL_MODULES * self.module_mm

    @property
    def pitch_mm(self) -> float:
        return (SYMBOL_MODULES + GAP_MODULES) * self.module_mm


@dataclass(frozen=True)
class Slice:
    """The end of a board: thickness and width in mm, and the strip the saw spoils at each face.

    :raises LatticeRefusedError: sizes that are not above 0 or nothing left between the spoilt strips.
    """

    thickness_mm: float
    width_mm: float
    torn_mm: float = 1.0

    def __post_init__(self) -> None:
        sizes = (self.thickness_mm, self.width_mm, self.torn_mm)
        if not all(math.isfinite(size) for size in sizes) or min(sizes[:2]) <= 0 or self.torn_mm < 0:
            raise LatticeRefusedError(
                f"sizes of a board are above 0 mm, the spoilt strip 0 or more: found {sizes}"
            )
        if self.kept_mm <= 0:
            raise LatticeRefusedError(
                f"of {self.thickness_mm:g} mm nothing is left with {self.torn_mm:g} mm spoilt at each face"
            )

    @property
    def kept_mm(self) -> float:
        return self.thickness_mm - 2 * self.torn_mm


def fewest_whole(lattice: Lattice, board: Slice, skew_deg: float = 0.0) -> int:
    """Least number of whole symbols in a board's end, over every place of the board, at one skew. Exact.

    The number changes only where a symbol touches an edge, so one place between any two such places is enough.
    """
    a, b = _room(lattice, board, skew_deg)
    return _fewest_points(lattice.pitch_mm, a, b, math.radians(skew_deg))


def mean_whole(lattice: Lattice, board: Slice, skew_deg: float = 0.0) -> float:
    """Mean number of whole symbols over every place of the board at one skew: area over area of a cell."""
    a, b = _room(lattice, board, skew_deg)
    return max(a, 0.0) * max(b, 0.0) / lattice.pitch_mm**2


@lru_cache(maxsize=4096)
def fewest_at_any_skew(lattice: Lattice, board: Slice, up_to_deg: float = 45.0) -> int:
    """A number of whole symbols that no place and no skew up to a bound goes below.

    45° covers every skew, by the symmetry of a square lattice. Between the skews looked at, 0.1° apart, symbols
    move by less than the half diagonal times half a step: that much is taken off each edge first, so the number
    is on the safe side and may be one or two below the true one.

    :raises ValueError: for a bound outside 0 to 45.
    """
    if not 0 <= up_to_deg <= 45:
        raise ValueError(f"skew up to {up_to_deg!r}: expected 0 to 45 degrees")
    if up_to_deg == 0:
        return fewest_whole(lattice, board)
    steps = max(1, math.ceil(up_to_deg / STEP_DEG))
    half = up_to_deg / steps / 2
    moved = math.hypot(board.kept_mm, board.width_mm) / 2 * math.radians(half)
    fewest = None
    for step in range(steps):
        middle = (2 * step + 1) * half
        a, b = _room(lattice, board, middle + half)  # the room shrinks towards 45°
        found = _fewest_points(lattice.pitch_mm, a - 2 * moved, b - 2 * moved, math.radians(middle))
        fewest = found if fewest is None else min(fewest, found)
        if not fewest:
            break
    return fewest or 0


@dataclass(frozen=True)
class Guarantee:
    """A lattice chosen for a board and a log end: cells a side, and whole symbols that every board keeps."""

    lattice: Lattice
    cells: int
    fewest: int


def choose_lattice(board: Slice, diameter_mm: float, needed: int = FEWEST_CODES) -> Guarantee:
    """The coarsest lattice that keeps the needed whole symbols at any place and any skew of the board.

    Coarser modules are read from further away and by poorer cameras; finer ones give more symbols.

    :param diameter_mm: largest diameter of the log end; the sheet is larger by the margin all round.
    :raises LatticeRefusedError: where even the finest lattice keeps fewer, or the sheet has more cells than a code
        can number; the text gives the numbers and what would do.
    """
    if not (math.isfinite(diameter_mm) and diameter_mm > 0):
        raise LatticeRefusedError(f"a log end of {diameter_mm!r} mm: expected a diameter above 0")
    for dots in range(COARSEST_DOTS, FINEST_DOTS - 1, -1):
        lattice = Lattice(dots)
        if fewest_whole(lattice, board) < needed or fewest_whole(lattice, board, 45) < needed:
            continue
        if (fewest := fewest_at_any_skew(lattice, board)) >= needed:
            return Guarantee(lattice, _cells(lattice, diameter_mm), fewest)
    raise LatticeRefusedError(_too_small(board, needed))


def _cells(lattice: Lattice, diameter_mm: float) -> int:
    """Cells a side of the sheet, odd. Refused where they are more than codes can number."""
    cells = math.ceil((diameter_mm + 2 * MARGIN_MM) / lattice.pitch_mm - _TOLERANCE)
    cells += 1 - cells % 2
    if cells > MOST_CELLS:
        largest = MOST_CELLS * lattice.pitch_mm - 2 * MARGIN_MM
        raise LatticeRefusedError(
            f"an end of {diameter_mm:.0f} mm takes {cells} × {cells} cells of {lattice.pitch_mm:.1f} mm, and a code "
            f"numbers {MOST_CELLS} × {MOST_CELLS}: with such boards, ends up to {largest:.0f} mm can be labelled"
        )
    return cells


def _too_small(board: Slice, needed: int) -> str:
    finest = Lattice(FINEST_DOTS)
    kept = fewest_at_any_skew(finest, board)
    text = (
        f"a board of {board.thickness_mm:g} × {board.width_mm:g} mm with {board.torn_mm:g} mm spoilt at each face "
        f"keeps {kept} whole codes at the least, even of the smallest ({finest.side_mm:.1f} mm); {needed} are needed"
    )
    would = [
        f"{words} of {size:g} mm"
        for words, size in (
            (
                "a thickness",
                _first(np.arange(board.thickness_mm + 0.5, 100, 0.5), "thickness", board, needed),
            ),
            ("a width", _first(np.arange(board.width_mm + 5, 400, 5), "width", board, needed)),
        )
        if size is not None
    ]
    return f"{text}; {' or '.join(would)} would do" if would else text


def _first(sizes: FloatArray, of: str, board: Slice, needed: int) -> float | None:
    """The first of rising sizes with which the finest lattice keeps enough; found by halving, being monotone."""
    low, high = 0, len(sizes)
    while low < high:
        middle = (low + high) // 2
        size = float(sizes[middle])
        t, w = (size, board.width_mm) if of == "thickness" else (board.thickness_mm, size)
        low, high = (low, middle) if _keeps(t, w, board, needed) else (middle + 1, high)
    return float(sizes[low]) if low < len(sizes) else None


def _keeps(thickness_mm: float, width_mm: float, board: Slice, needed: int) -> bool:
    """Whether the finest lattice keeps enough; the two extreme skews are asked first, being quick."""
    other = Slice(float(thickness_mm), float(width_mm), board.torn_mm)
    finest = Lattice(FINEST_DOTS)
    if min(fewest_whole(finest, other), fewest_whole(finest, other, 45)) < needed:
        return False
    return fewest_at_any_skew(finest, other) >= needed


def _room(lattice: Lattice, board: Slice, skew_deg: float) -> tuple[float, float]:
    """Sides of the rectangle in which a symbol's middle must lie; below 0 where no symbol fits."""
    turned = lattice.side_mm * (abs(math.cos(math.radians(skew_deg))) + abs(math.sin(math.radians(skew_deg))))
    return board.kept_mm - turned, board.width_mm - turned


def _fewest_points(pitch: float, a: float, b: float, skew: float) -> int:
    """Least number of points of a turned square lattice in a closed rectangle a × b, over all its places."""
    if a < 0 or b < 0:
        return 0
    cosine, sine = math.cos(skew), math.sin(skew)
    reach = pitch * (abs(cosine) + abs(sine))  # box around one cell: holds every place that differs
    n = math.ceil((max(a, b) + 2 * reach) * 1.5 / pitch) + 1
    i, j = (g.ravel() * pitch for g in np.meshgrid(np.arange(-n, n + 1), np.arange(-n, n + 1)))
    x, y = cosine * i - sine * j, sine * i + cosine * j
    near = (
        (x >= -_TOLERANCE)
        & (x <= reach + a + _TOLERANCE)
        & (y >= -_TOLERANCE)
        & (y <= reach + b + _TOLERANCE)
    )
    x, y = x[near], y[near]
    across = _inside(x, a, _places(x, a, reach))
    along = _inside(y, b, _places(y, b, reach))
    return int((across @ along.T).min())


def _places(coordinates: FloatArray, length: float, reach: float) -> FloatArray:
    """A start of the interval between any two at which a point enters or leaves it."""
    events = np.concatenate([coordinates, coordinates - length, [0.0, reach]])
    events = np.sort(events[(events >= 0) & (events <= reach)])
    wide = np.diff(events) > 2 * _TOLERANCE  # narrower gaps are two events at one place, apart by rounding
    between: FloatArray = (events[:-1][wide] + events[1:][wide]) / 2
    return between


def _inside(coordinates: FloatArray, length: float, starts: FloatArray) -> FloatArray:
    from_start = coordinates[None, :] - starts[:, None]
    inside: FloatArray = ((from_start >= 0) & (from_start <= length)).astype(np.float64)
    return inside

"""From the codes read on a board to its place in the log: distance from the pith, ring position class, shares.

Place coordinates of both ends look along the log from the butt: x to the right, y up, from the pith, in mm. Cell
(row, col) of a sheet has its middle (col + ½) pitches from the left and (row + ½) pitches from the upper edge, on
the sheet of the top end counted from the right, so that both ends count alike. An end is taken as an ellipse about
the pith, with its first diameter reading along x and its second along y.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

CLASSES: Final = ("inner", "middle", "outer")
INNER_TO, MIDDLE_TO = 1 / 3, 2 / 3  # of the radius; thirds of the area would lie elsewhere


class PlaceRefusedError(ValueError):
    """Readings or sizes from which no place follows; the text says why."""


@dataclass(frozen=True)
class SheetOnLog:
    """A sheet as it sits on an end: pitch, cell over the pith, and how far its printed top is turned from the top
    of the log, clockwise as one looks at that end (`top_end` says which)."""

    pitch_mm: float
    pith_row: int
    pith_col: int
    turned_deg: float = 0.0
    top_end: bool = False

    def place(self, row: float, col: float) -> tuple[float, float]:
        """(x, y) of a cell's middle from the pith, in mm, as looked at from the butt."""
        x = (col - self.pith_col) * self.pitch_mm
        y = (self.pith_row - row) * self.pitch_mm
        # Clockwise seen on the top end is anticlockwise seen from the butt.
        turn = math.radians(-self.turned_deg if self.top_end else self.turned_deg)
        return x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)


@dataclass(frozen=True)
class End:
    """Half diameters of a log end along x and along y, in mm.

    :raises PlaceRefusedError: unless both are above 0.
    """

    along_x_mm: float
    along_y_mm: float

    def __post_init__(self) -> None:
        if not (0 < self.along_x_mm < math.inf and 0 < self.along_y_mm < math.inf):
            raise PlaceRefusedError(f"radii of a log end: expected above 0 mm, found {self}")

    @classmethod
    def of_diameters(cls, first_mm: float, second_mm: float | None = None) -> End:
        """An end with one or two diameter readings at right angles."""
        second = first_mm if second_mm is None or math.isnan(second_mm) else second_mm
        return cls(first_mm / 2, second / 2)

    def relative(self, x: float, y: float) -> float:
        """Distance from the pith ÷ radius of the end in that direction; 0 at the pith, 1 at the edge."""
        return math.hypot(x / self.along_x_mm, y / self.along_y_mm)


@dataclass(frozen=True)
class BoardPlace:
    """A board's rectangle on the end face, and what follows from it.

    `x_mm`, `y_mm`: its middle. `angle_deg`: of its width against x. `distance_mm`: of its middle from the pith.
    `nearest_mm`: of its closest point (0: it holds the pith). `relative_radius` and `ring_class`: of its middle, in
    thirds of the radius. `shares`: of its end face within the log, inner, middle, outer; None where thickness or
    width is not known. `spread_mm`: how far the middle can be off. `inferred`: from one code only, its cell taken
    for the board's middle.
    """

    x_mm: float
    y_mm: float
    angle_deg: float
    distance_mm: float
    nearest_mm: float
    relative_radius: float
    ring_class: str
    shares: tuple[float, float, float] | None
    spread_mm: float
    inferred: bool


def ring_class(relative_radius: float) -> str:
    """inner below a third of the radius, outer above two thirds, middle between."""
    if not relative_radius >= 0:
        raise PlaceRefusedError(f"relative radius {relative_radius!r}: expected 0 or more")
    return CLASSES[(relative_radius >= INNER_TO) + (relative_radius > MIDDLE_TO)]


def board_place(
    sheet: SheetOnLog,
    cells: Sequence[tuple[int, int]],
    end: End,
    thickness_mm: float | None = None,
    width_mm: float | None = None,
) -> BoardPlace:
    """Where a board lies, from the cells (row, col) of one or more codes read on its end.

    From two or more, the two furthest apart count as the first and the last readable one along the width: the
    board's middle lies half way, to about half a pitch, and its width runs along the line between them. From one,
    the board's middle is taken to be there, which is off by up to half the width: marked as inferred.

    :raises PlaceRefusedError: no cell, sizes not above 0, codes further apart than the board is wide.
    """
    if not cells:
        raise PlaceRefusedError("no code was read")
    for name, size in (("thickness", thickness_mm), ("width", width_mm)):
        if size is not None and not 0 < size < math.inf:
            raise PlaceRefusedError(f"{name} {size!r}: expected above 0 mm")
    places = sorted({sheet.place(row, col) for row, col in cells})
    first, last = max(
        ((p, q) for p in places for q in places),
        key=lambda pair: (math.dist(*pair), pair[1]),
        default=(places[0],) * 2,
    )
    apart = math.dist(first, last)
    if width_mm is not None and thickness_mm is not None and apart > math.hypot(width_mm, thickness_mm):
        raise PlaceRefusedError(
            f"codes {apart:.0f} mm apart cannot be on one board of {thickness_mm:g} × {width_mm:g} mm"
        )
    middle = ((first[0] + last[0]) / 2, (first[1] + last[1]) / 2)
    one = apart == 0
    angle = 0.0 if one else _angle(first, last)
    radius = end.relative(*middle)
    known = thickness_mm is not None and width_mm is not None
    half = (width_mm or 0.0) / 2, (thickness_mm or 0.0) / 2
    return BoardPlace(
        *middle,
        angle,
        math.hypot(*middle),
        _nearest(middle, angle, half),
        radius,
        ring_class(radius),
        shares_of(end, middle, half, angle) if known else None,
        max(half[0], sheet.pitch_mm / 2) if one else sheet.pitch_mm / 2,
        one,
    )


def shares_of(
    end: End, middle: tuple[float, float], half: tuple[float, float], angle_deg: float = 0.0, lines: int = 200
) -> tuple[float, float, float]:
    """Shares of a rectangle's area, as far as it lies within the end, that are inner, middle and outer.

    Lines across the rectangle's thickness, evenly spaced: along each the three ellipses cut exactly (midpoint rule
    in one direction; to about 1/lines² of the area). Adding up to 1; (nan, nan, nan) when all of it lies outside.
    """
    turn = math.radians(angle_deg)
    cosine, sine = math.cos(turn), math.sin(turn)
    # One radius scale: x and y in radii of the end. A point of line v is (x0 + u·dx, y0 + u·dy).
    dx, dy = cosine / end.along_x_mm, sine / end.along_y_mm
    within = [0.0, 0.0, 0.0]
    for line in range(lines):
        v = half[1] * (2 * (line + 0.5) / lines - 1)
        x0, y0 = (middle[0] - v * sine) / end.along_x_mm, (middle[1] + v * cosine) / end.along_y_mm
        for place, radius in enumerate((INNER_TO, MIDDLE_TO, 1.0)):
            within[place] += _chord(x0, y0, dx, dy, radius, half[0])
    inner, to_middle, whole = within
    if whole == 0:
        return (math.nan, math.nan, math.nan)
    return inner / whole, (to_middle - inner) / whole, (whole - to_middle) / whole


def _chord(x0: float, y0: float, dx: float, dy: float, radius: float, half: float) -> float:
    """Length of u in [-half, half] for which (x0 + u dx, y0 + u dy) lies in a circle about 0."""
    a, b, c = dx * dx + dy * dy, x0 * dx + y0 * dy, x0 * x0 + y0 * y0 - radius * radius
    root = b * b - a * c
    if root <= 0:
        return 0.0
    low, high = (-b - math.sqrt(root)) / a, (-b + math.sqrt(root)) / a
    return max(0.0, min(high, half) - max(low, -half))


def _nearest(middle: tuple[float, float], angle_deg: float, half: tuple[float, float]) -> float:
    """Distance of the pith from the rectangle; 0 when inside."""
    turn = math.radians(angle_deg)
    along = abs(middle[0] * math.cos(turn) + middle[1] * math.sin(turn))
    across = abs(middle[1] * math.cos(turn) - middle[0] * math.sin(turn))
    return math.hypot(max(0.0, along - half[0]), max(0.0, across - half[1]))


def _angle(first: tuple[float, float], last: tuple[float, float]) -> float:
    """Direction of a line against x, between -90 and 90 degrees."""
    angle = math.degrees(math.atan2(last[1] - first[1], last[0] - first[0]))
    return angle - 180 if angle > 90 else angle + 180 if angle <= -90 else angle

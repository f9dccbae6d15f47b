"""Where everything on a label sheet lies, in printer dots of 1/300 inch: cells, pages, and the order of columns.

Columns of the butt end are printed from left to right, those of the top end from right to left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from sawing.calc.label_code import LabelCode
from sawing.calc.label_lattice import DOT_MM, GAP_MODULES, MARGIN_MM, SYMBOL_MODULES

PAGE_DOTS = (2480, 3508)  # A4, 210 × 297 mm
FRAME_DOTS = (150, 330, 150, 300)  # kept free of the sheet: left, bottom, right, top
BEYOND_WOOD_MM = 3.0  # codes reach so far beyond the measured diameter, should it have been measured short


@dataclass(frozen=True)
class Sheet:
    """A sheet for one end of a log. `end`: 0 butt, 1 top. `cells` a side; `dots` a module; mm where named so."""

    log: str
    serial: int
    end: int
    rows: int
    cols: int
    dots: int
    diameter_mm: float
    thickness_mm: float
    width_mm: float
    torn_mm: float
    fewest: int

    @property
    def pitch(self) -> int:
        """Dots from cell to cell."""
        return (SYMBOL_MODULES + GAP_MODULES) * self.dots

    @property
    def pith_cell(self) -> tuple[int, int]:
        """The marked cell (row, col) in the middle, which is put over the pith."""
        return self.rows // 2, self.cols // 2

    @property
    def wood_dots(self) -> float:
        """Radius of the log end."""
        return self.diameter_mm / 2 / DOT_MM

    @property
    def outline_dots(self) -> float:
        """Radius along which the sheet is cut out."""
        return (self.diameter_mm / 2 + MARGIN_MM) / DOT_MM

    def corner(self, row: int, col: int) -> tuple[int, int]:
        """Lower left corner of a cell's symbol from the middle of the sheet, in dots, x to the right, y up.

        On the top end columns run from the right: both ends count as one looks along the log from the butt.
        """
        pith_row, pith_col = self.pith_cell
        across = (pith_col - col) if self.end else (col - pith_col)
        half = SYMBOL_MODULES * self.dots // 2
        return across * self.pitch - half, (pith_row - row) * self.pitch - half

    @cached_property
    def cells(self) -> list[tuple[int, int]]:
        """Cells (row, col) whose symbol lies on the wood, and a little beyond it."""
        reach = (self.wood_dots + BEYOND_WOOD_MM / DOT_MM) ** 2
        side = SYMBOL_MODULES * self.dots
        return [
            (row, col)
            for row in range(self.rows)
            for col in range(self.cols)
            for x, y in (self.corner(row, col),)
            if max(x * x, (x + side) ** 2) + max(y * y, (y + side) ** 2) <= reach
        ]

    def text(self, row: int, col: int) -> str:
        """The ten digits of a cell."""
        return LabelCode(self.serial, self.end, row, col).text


@dataclass(frozen=True)
class Tile:
    """One page's part of a sheet: its rectangle from the sheet's middle in dots, and where it stands among others."""

    left: int
    bottom: int
    right: int
    top: int
    across: int
    down: int
    n_across: int
    n_down: int


def tiles(sheet: Sheet) -> list[Tile]:
    """The pages of a sheet, from the upper left. They are parted in the light gaps: no symbol is cut.

    As few as hold the outline; pages that would hold nothing of the round sheet are left out.
    """
    room = (
        PAGE_DOTS[0] - FRAME_DOTS[0] - FRAME_DOTS[2],
        PAGE_DOTS[1] - FRAME_DOTS[1] - FRAME_DOTS[3],
    )
    columns, lines = _cuts(sheet, room[0]), _cuts(sheet, room[1])
    found = []
    for down, (top, bottom) in enumerate(zip(lines[:0:-1], lines[-2::-1], strict=True)):
        for across, (left, right) in enumerate(pairwise(columns)):
            nearest = math.hypot(max(left, -right, 0), max(bottom, -top, 0))
            if nearest < sheet.outline_dots:
                found.append(
                    Tile(left, bottom, right, top, across + 1, down + 1, len(columns) - 1, len(lines) - 1)
                )
    return found


def _cuts(sheet: Sheet, room: int) -> list[int]:
    """Where pages part along one direction, from -outline to outline, in dots."""
    reach = math.ceil(sheet.outline_dots)
    if 2 * reach <= room:
        return [-reach, reach]
    # Between the middle and any gap lies a half cell and whole cells.
    pages = math.ceil(2 * reach / room)
    while True:
        cuts = [-reach]
        for page in range(1, pages):
            wished = -reach + page * 2 * reach / pages
            cuts.append(round((wished / sheet.pitch) - 0.5) * sheet.pitch + sheet.pitch // 2)
        cuts.append(reach)
        if max(b - a for a, b in pairwise(cuts)) <= room:
            return cuts
        pages += 1

"""A site on paper: the cell of every row and column, and the outlines of areas that trees share."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from portal.calc.svg import TYPE_SIZES, Drawing

LEFT, TOP = 28.0, 18.0  # room for the numbers of rows and columns


@dataclass(frozen=True)
class Grid:
    """Where rows and columns of trees lie on a drawing: upper left corner, size of a cell, numbers covered."""

    x: float
    y: float
    cell_width: float
    cell_height: float
    first_row: int
    first_col: int
    n_rows: int
    n_cols: int

    def left(self, col: float) -> float:
        return self.x + (col - self.first_col) * self.cell_width

    def top(self, row: float) -> float:
        return self.y + (row - self.first_row) * self.cell_height

    def middle(self, row: float, col: float) -> tuple[float, float]:
        return self.left(col + 0.5), self.top(row + 0.5)

    @property
    def bottom(self) -> float:
        return self.y + self.n_rows * self.cell_height


def grid_over(trees: pd.DataFrame, y: float, width: float, *, most_cell: float, height: float = 0.0) -> Grid:
    """A grid as wide as the drawing allows, over all rows and columns of `trees` (row, col; one or more).

    Cells are square, at most `most_cell` wide, or `height` high where that is given.
    """
    rows, cols = trees["row"], trees["col"]
    n_rows, n_cols = int(rows.max() - rows.min()) + 1, int(cols.max() - cols.min()) + 1
    cell = min(most_cell, (width - LEFT - 2) / n_cols)
    return Grid(LEFT, y + TOP, cell, height or cell, int(rows.min()), int(cols.min()), n_rows, n_cols)


def draw_numbers(drawing: Drawing, grid: Grid) -> None:
    """Numbers of rows at the left, of columns above: as many as there is room for."""
    size = TYPE_SIZES["small"]
    for row in _shown(grid.first_row, grid.n_rows, grid.cell_height, size + 2):
        _, y = grid.middle(row, grid.first_col)
        drawing.text(LEFT - 5, y + 4, str(row), "small quiet-text", anchor="end")
    for col in _shown(grid.first_col, grid.n_cols, grid.cell_width, 2.4 * size):
        x, _ = grid.middle(grid.first_row, col)
        drawing.text(x, grid.y - 5, str(col), "small quiet-text", anchor="middle")


def outlines(trees: pd.DataFrame, area: list[Hashable | None], grid: Grid) -> str:
    """Path around every area: lines between neighbours of different areas; None is outside all of them."""
    names = {name: i for i, name in enumerate(dict.fromkeys(a for a in area if a is not None))}
    ids = np.full((grid.n_rows + 2, grid.n_cols + 2), -1, dtype=np.int64)
    rows = trees["row"].to_numpy(dtype=np.int64) - grid.first_row + 1
    cols = trees["col"].to_numpy(dtype=np.int64) - grid.first_col + 1
    ids[rows, cols] = [-1 if a is None else names[a] for a in area]
    parts = []
    for row, start, end in _runs(ids[1:, 1:-1] != ids[:-1, 1:-1]):
        y = grid.y + row * grid.cell_height
        parts.append(f"M{grid.x + start * grid.cell_width:.2f} {y:.2f}h{(end - start) * grid.cell_width:.2f}")
    for col, start, end in _runs((ids[1:-1, 1:] != ids[1:-1, :-1]).T):
        x = grid.x + col * grid.cell_width
        parts.append(
            f"M{x:.2f} {grid.y + start * grid.cell_height:.2f}v{(end - start) * grid.cell_height:.2f}"
        )
    return "".join(parts)


def _runs(marked: npt.NDArray[np.bool_]) -> list[tuple[int, int, int]]:
    """(line, start, end) of every run of marked places in each line."""
    found = []
    for line, places in enumerate(marked):
        steps = np.flatnonzero(np.diff(np.concatenate([[0], places.astype(np.int8), [0]])))
        found += [(line, int(a), int(b)) for a, b in zip(steps[::2], steps[1::2], strict=True)]
    return found


def _shown(first: int, count: int, cell: float, room: float) -> list[int]:
    """First, last, and round numbers between them, apart by the room a number takes."""
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 100_000) if s * cell >= room)
    last = first + count - 1
    between = [
        n for n in range(first, last + 1) if n % step == 0 and (n - first) >= step and (last - n) >= step
    ]
    if step == 1:
        return list(range(first, last + 1))
    return [first, *between, *([last] if last > first else [])]

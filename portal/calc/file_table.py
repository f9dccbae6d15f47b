"""A table as it stands in a file, before anything is understood: raw cells, row numbers, refusals, limits."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NoReturn

import numpy as np
import numpy.typing as npt
import pandas as pd

from portal.calc.file_spec import Problem, header_key

HEADER_SEARCH_ROWS = 10
"""The header stands in one of this many first non-blank rows."""

Row = Sequence[object]


@dataclass(frozen=True)
class ReadLimits:
    """How much a reader takes before it refuses, so that no file can exhaust the server."""

    max_bytes: int = 50 * 1024 * 1024
    max_rows: int = 500_000
    max_columns: int = 200
    max_cells: int = 10_000_000
    max_line_characters: int = 200_000
    max_unpacked_bytes: int = 300 * 1024 * 1024
    max_unpacking_ratio: int = 200
    max_zip_entries: int = 2_000


DEFAULT_LIMITS = ReadLimits()


class UnreadableFile(Exception):
    """The file as a whole cannot be read; `problem` says why and how to mend it."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(f"{problem.file}: {problem.found}; expected {problem.expected}")
        self.problem = problem


def refuse(file: str, found: str, expected: str, row: int | None = None) -> NoReturn:
    """Raise UnreadableFile with a problem of the whole file."""
    raise UnreadableFile(Problem(file, row, None, found, expected))


@dataclass(frozen=True)
class CellRange:
    """A block of cells, rows and columns counted from 1, both ends included."""

    first_row: int
    first_column: int
    last_row: int
    last_column: int
    name: str


@dataclass(frozen=True)
class Grid:
    """The rows of a file or sheet with the row numbers a person sees; nothing interpreted yet.

    `surplus_is_wrong`: a cell beyond the header's width is a mistake (CSV), no unnamed column (sheet).
    `uncomputed` and `computed` are (row number, column index from 0) of formula cells without, with a value.
    """

    rows: list[Row]
    numbers: list[int]
    surplus_is_wrong: bool
    notes: tuple[str, ...] = ()
    merges: tuple[CellRange, ...] = ()
    computed: frozenset[tuple[int, int]] = frozenset()
    uncomputed: frozenset[tuple[int, int]] = frozenset()


@dataclass(frozen=True)
class RawTable:
    """The cells below the header row.

    `cells`: one object column per header, named by the expected name where the header matches one, else by
    the header itself; blank cells are None or blank text. `headers`: as they stand in the file, aligned
    with the columns. `rows`: file row number of each row. `problems`: what is wrong with single rows (they
    are held). `header_problems`: what is wrong with the header (nothing can be read).
    """

    file: str
    headers: tuple[str, ...]
    cells: pd.DataFrame
    rows: npt.NDArray[np.int64]
    header_row: int
    notes: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()
    header_problems: tuple[Problem, ...] = field(default=())


def is_blank(cell: object) -> bool:
    """Whether a cell holds nothing a person can see."""
    return not cell.strip() if isinstance(cell, str) else cell is None


def matches(row: Row, expected: frozenset[str]) -> int:
    """How many different expected names (as header keys) stand in a row."""
    return len({header_key(cell) for cell in row if isinstance(cell, str) and len(cell) < 200} & expected)


def find_header(rows: Sequence[Row], expected: frozenset[str]) -> tuple[int, int]:
    """Index of the likeliest header among the first non-blank rows, and its number of matching names.

    The row with most matches wins, the earliest among equals; (-1, 0) when no row matches any name.
    """
    best, most, seen = -1, 0, 0
    for index, row in enumerate(rows):
        if all(is_blank(cell) for cell in row):
            continue
        seen += 1
        if seen > HEADER_SEARCH_ROWS:
            break
        count = matches(row, expected)
        if count > most:
            best, most = index, count
    return best, most

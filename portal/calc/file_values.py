"""From raw cells to typed columns, finding all problems of a file at once.

Every column is worked on by its distinct values, so that a hundred thousand rows cost little more than their
different cells.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from portal.calc.file_codes import CLEAN_CODE, TextRead, plain_text, read_choice, read_code, read_text
from portal.calc.file_dates import EXPECTED as EXPECTED_DATE
from portal.calc.file_dates import DateRead, DayOrder, day_order, read_date
from portal.calc.file_numbers import (
    NO_NUMBER,
    DecimalStyle,
    NumberText,
    Read,
    decimal_style,
    found_text,
    number_text,
    understand,
)
from portal.calc.file_spec import Column, Problem, shown
from portal.calc.file_table import RawTable, is_blank

BoolArray = npt.NDArray[np.bool_]
DECIMAL_NOTES = {"comma": "decimal commas", "mixed": "decimal commas and decimal points, both read"}
TEXT_READERS: dict[str, Callable[[object, Column], TextRead]] = {
    "code": read_code,
    "text": read_text,
    "choice": read_choice,
}


@dataclass(frozen=True)
class TypedRows:
    """Typed columns of a raw table, row by row aligned with it.

    `frame`: one column per Column of the kind (absent ones all missing), `_row` and `_notes`. `bad`: rows
    with a problem. `rewritten`: per column and row position, the plain text of cells whose reading rested on
    the rest of the file; a held row keeps its meaning by it when it is looked at alone.
    """

    frame: pd.DataFrame
    bad: BoolArray
    problems: list[Problem]
    notes: list[str]
    rewritten: dict[str, dict[int, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class _Cells:
    """A raw column by its distinct cells: `which[i]` is row i's place in `distinct` (last: None)."""

    column: Column
    which: npt.NDArray[np.intp]
    distinct: list[object]


@dataclass
class _Gathered:
    """What typing a file gathers on the way."""

    table: RawTable
    bad: BoolArray
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    rewritten: dict[str, dict[int, str]] = field(default_factory=dict)

    def complain(self, cells: _Cells, complaints: Sequence[str | None]) -> None:
        """Turn complaints about distinct cells into problems of their rows."""
        wrong = np.array([complaint is not None for complaint in complaints], dtype=bool)[cells.which]
        self.bad |= wrong
        for at in np.flatnonzero(wrong):
            place = cells.which[at]
            raw = cells.distinct[place]
            found = "an empty cell" if is_blank(raw) else found_text(raw)
            if isinstance(raw, dt.date | dt.time):
                found = f"{plain_text(raw)} (a date or time)"
            expected = str(complaints[place])
            self.problems.append(
                Problem(self.table.file, int(self.table.rows[at]), cells.column.name, found, expected)
            )

    def rewrite(self, cells: _Cells, texts: dict[int, str]) -> None:
        """Remember the plain text of doubtful distinct cells for the rows that hold them."""
        if texts:
            rows = np.flatnonzero(np.isin(cells.which, list(texts)))
            self.rewritten[cells.column.name] = {int(at): texts[int(cells.which[at])] for at in rows}


def typed_rows(table: RawTable, columns: Sequence[Column], today: dt.date | None = None) -> TypedRows:
    """All columns of a table, typed; the rows with problems are marked, none is dropped.

    `today` is the last day (and one more) that a date may name; the day of reading when None.
    """
    gathered = _Gathered(table, np.zeros(len(table.rows), dtype=bool))
    by_name = {column.name: _cells(table, column) for column in columns}
    typed: dict[str, pd.Series[Any]] = {}
    numeric = [cells for cells in by_name.values() if cells.column.kind in ("number", "integer")]
    numbers = {cells.column.name: [_as_number(cell) for cell in cells.distinct] for cells in numeric}
    style = decimal_style(number for column in numbers.values() for number in column if number)
    if style in DECIMAL_NOTES:
        gathered.notes.append(DECIMAL_NOTES[style])
    dates = [cells for cells in by_name.values() if cells.column.kind == "date"]
    order = day_order(cell for cells in dates for cell in cells.distinct if isinstance(cell, str))
    for name, cells in by_name.items():
        if name in numbers:
            typed[name] = _number_column(cells, numbers[name], style, gathered)
        elif cells.column.kind == "date":
            typed[name] = _date_column(cells, order, today or dt.date.today(), gathered)
        else:
            typed[name] = _text_column(cells, gathered)
    frame = pd.DataFrame(typed, columns=list(by_name))
    frame["_row"] = table.rows
    frame["_notes"] = _extra_columns(table, set(by_name))
    return TypedRows(frame, gathered.bad, gathered.problems, gathered.notes, gathered.rewritten)


def _cells(table: RawTable, column: Column) -> _Cells:
    if column.name not in table.cells:
        return _Cells(column, np.zeros(len(table.rows), dtype=np.intp), [None])
    which, distinct = pd.factorize(table.cells[column.name].to_numpy(dtype=object))
    cells = [*distinct, None]
    return _Cells(column, np.where(which < 0, len(cells) - 1, which).astype(np.intp), cells)


def _spread(cells: _Cells, values: Sequence[object]) -> pd.Series[Any]:
    """Values of the distinct cells laid out by row, as objects."""
    array = np.empty(len(values), dtype=object)
    array[:] = values
    return pd.Series(array[cells.which], dtype=object)


def _needed(column: Column) -> str | None:
    """The complaint about a blank cell of this column."""
    if not column.required:
        return None
    example = f", for example {column.example}" if column.example else ""
    return f"a value in column {column.name}{example}"


def _as_number(cell: object) -> NumberText | None:
    """A raw cell seen as a number; None when it is blank."""
    if is_blank(cell):
        return None
    if isinstance(cell, str):
        return number_text(cell)
    return NumberText("sure", float(cell)) if isinstance(cell, int | float) else NO_NUMBER


def _number_column(
    cells: _Cells, numbers: list[NumberText | None], style: DecimalStyle, gathered: _Gathered
) -> pd.Series[Any]:
    column = cells.column
    blank = Read(expected=_needed(column))
    reads = [blank if number is None else understand(number, column, style) for number in numbers]
    gathered.complain(cells, [read.expected for read in reads])
    _note_adorned(cells, reads, gathered)
    doubtful = {
        place: plain_number(read.value)
        for place, (number, read) in enumerate(zip(numbers, reads, strict=True))
        if number and read.expected is None and number.shape != "sure"
    }
    gathered.rewrite(cells, doubtful)
    values = np.array([np.nan if read.expected else read.value for read in reads], dtype=np.float64)
    return pd.Series(values[cells.which])


def plain_number(value: float) -> str:
    """A number as text that can be read in one way only, whatever stands around it."""
    text = plain_text(value)
    return text if number_text(text).shape == "sure" else f"{text}0"


def _note_adorned(cells: _Cells, reads: list[Read], gathered: _Gathered) -> None:
    """Say how many numbers were read by more than their digits, with an example of each way."""
    reasons = {
        "unit": "with the unit behind the number",
        "limits": "with a doubtful point or comma, read by the limits of the column",
        "style": "with a doubtful point or comma, read as the rest of the file is written",
    }
    for way, reason in reasons.items():
        places = [place for place, read in enumerate(reads) if read.way == way]
        if places:
            count = int(np.isin(cells.which, places).sum())
            example = f"“{shown(cells.distinct[places[0]])}” as {plain_text(reads[places[0]].value)}"
            gathered.notes.append(f"{cells.column.name}: {_numbers(count)} {reason} ({example})")


def _numbers(count: int) -> str:
    return "1 number" if count == 1 else f"{count:,} numbers"


def _date_column(cells: _Cells, order: DayOrder, today: dt.date, gathered: _Gathered) -> pd.Series[Any]:
    blank = DateRead(expected=_needed(cells.column) and EXPECTED_DATE)
    reads = [blank if is_blank(cell) else read_date(cell, order, today) for cell in cells.distinct]
    gathered.complain(cells, [read.expected for read in reads])
    doubtful = {p: r.value.isoformat() for p, r in enumerate(reads) if r.doubtful and r.value}
    gathered.rewrite(cells, doubtful)
    if doubtful:
        name = cells.column.name
        gathered.notes.append(f"{name}: dates with slashes read {order}, as the file shows elsewhere")
    if any(read.serial for read in reads):
        gathered.notes.append(f"{cells.column.name}: day numbers of a spreadsheet read as dates")
    return _spread(cells, [read.value for read in reads])


def _text_column(cells: _Cells, gathered: _Gathered) -> pd.Series[Any]:
    column = cells.column
    reader = TEXT_READERS[column.kind]
    values = list(cells.distinct)
    complaints: list[str | None] = [None] * len(values)
    for place, cell in enumerate(cells.distinct):
        # A tally has one code a row, nearly all of them clean: these are taken without a call for each.
        if column.kind == "code" and type(cell) is str and CLEAN_CODE.fullmatch(cell):
            continue
        read = TextRead() if cell is None else reader(cell, column)
        values[place] = read.value
        complaints[place] = read.expected or (_needed(column) if read.value is None else None)
    gathered.complain(cells, complaints)
    return _spread(cells, values)


def _extra_columns(table: RawTable, names: set[str]) -> pd.Series[Any]:
    """Filled cells of columns the kind does not name, a dictionary per row, None where there are none."""
    extra = [name for name in table.cells.columns if name not in names]
    if not extra:
        return pd.Series([None] * len(table.rows), dtype=object)
    columns = [table.cells[name].to_list() for name in extra]
    notes = [
        {name: plain_text(cell).strip() for name, cell in zip(extra, row, strict=True) if not is_blank(cell)}
        or None
        for row in zip(*columns, strict=True)
    ]
    return pd.Series(notes, dtype=object)

"""From the bytes of a file to a raw table: which content, which sheet, which row is the header."""

import os
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
from openpyxl.utils import get_column_letter

from portal.calc.file_content import is_spreadsheet
from portal.calc.file_csv import read_csv
from portal.calc.file_spec import Problem, header_key, shown
from portal.calc.file_table import (
    DEFAULT_LIMITS,
    Grid,
    RawTable,
    ReadLimits,
    Row,
    UnreadableFile,
    find_header,
    is_blank,
    refuse,
)
from portal.calc.file_xlsx import read_xlsx

__all__ = ["DEFAULT_LIMITS", "RawTable", "ReadLimits", "UnreadableFile", "read_table"]

ObjectArray = npt.NDArray[np.object_]
FileData = bytes | str | os.PathLike[str]


NO_ROWS = "and no rows below it"
"""How the finding ends when a file has a header and nothing else."""


def read_table(
    data: FileData,
    filename: str,
    *,
    expected: Sequence[str],
    required: Iterable[str] = (),
    limits: ReadLimits = DEFAULT_LIMITS,
) -> RawTable:
    """The raw table in a CSV or XLSX file: bytes, or a path whose size is looked at before it is read.

    `expected` are the header names of the kind of file; `required` those that must be there (they help to
    choose a sheet; their absence is left to the caller). Content counts, not the name's ending. Raises
    UnreadableFile, and nothing else, for whatever cannot be read as a whole.
    """
    content = _content(data, filename, limits)
    names = {header_key(name): name for name in expected}
    keys = frozenset(names)
    workbook = is_spreadsheet(content, filename)
    if workbook:
        needed = frozenset(header_key(name) for name in required)
        grid = read_xlsx(content, filename, keys, needed, limits)
    else:
        grid = read_csv(content, filename, keys, limits)
    table = _table(grid, filename, names, limits)
    named_workbook = filename.casefold().endswith((".xlsx", ".xlsm"))
    if workbook == named_workbook:
        return table
    what = "a workbook" if workbook else "delimited text"
    return replace(table, notes=(f"read as {what}, which it is, whatever its name says", *table.notes))


def _content(data: FileData, file: str, limits: ReadLimits) -> bytes:
    """The bytes of the file; refuses an empty one, and a too large one before any of it is read."""
    try:
        size = len(data) if isinstance(data, bytes) else os.stat(data).st_size
        if size > limits.max_bytes:
            found = f"{size / 1e6:,.1f} MB"
            refuse(file, found, f"at most {limits.max_bytes / 1e6:,.0f} MB; split the file")
        content = data if isinstance(data, bytes) else Path(data).read_bytes()
    except OSError as error:
        refuse(file, f"a file that cannot be opened ({error.strerror})", "a readable CSV or XLSX file")
    if not content:
        refuse(file, "an empty file (0 bytes)", "a table with a header row; export it again")
    return content


def _table(grid: Grid, file: str, names: dict[str, str], limits: ReadLimits) -> RawTable:
    index, count = find_header(grid.rows, frozenset(names))
    expected = ", ".join(names.values())
    if count == 0:
        first = next((row for row in grid.rows if not all(map(is_blank, row))), None)
        if first is None:
            refuse(file, "only blank cells", "a table with a header row")
        found = " | ".join(shown(cell) for cell in first if not is_blank(cell))
        found = f"no header row; the first row is: {shown(found)}"
        refuse(file, found, f"a row with the column names {expected}")
    header, header_row = grid.rows[index], grid.numbers[index]
    _refuse_merged_header(grid, file, header_row)
    body, numbers = _body(grid, index)
    if not body:
        refuse(file, f"a header in row {header_row} {NO_ROWS}", "at least one row of data")
    width = len(header) if grid.surplus_is_wrong else max(len(header), max(map(len, body)))
    if width > limits.max_columns:
        refuse(file, f"{width} columns", f"at most {limits.max_columns} columns")
    surplus = _surplus_problems(body, numbers, len(header), file) if grid.surplus_is_wrong else []
    headers = tuple("" if is_blank(cell) else str(cell).strip() for cell in header)
    headers += ("",) * (width - len(headers))
    columns = _columns(body, width)
    kept, labels, notes, duplicates = _labels(headers, columns, names, file, header_row)
    cells = pd.DataFrame(
        {label: pd.Series(columns[at], dtype=object) for at, label in zip(kept, labels, strict=True)}
    )
    above = [grid.numbers[i] for i, row in enumerate(grid.rows[:index]) if not all(map(is_blank, row))]
    if above:
        rows = "row" if len(above) == 1 else "rows"
        notes.insert(0, f"{rows} {', '.join(map(str, above))} above the header skipped")
    table = RawTable(
        file=file,
        headers=tuple(headers[at] for at in kept),
        cells=cells,
        rows=np.asarray(numbers, dtype=np.int64),
        header_row=header_row,
        notes=(*grid.notes, *notes),
        problems=tuple(surplus),
        header_problems=tuple(duplicates),
    )
    return _repeats_dropped(_with_hidden_things(table, grid, kept))


def _refuse_merged_header(grid: Grid, file: str, header_row: int) -> None:
    for merge in grid.merges:
        if merge.first_row <= header_row <= merge.last_row:
            expected = "every column with its own header cell; unmerge the cells of the header row"
            refuse(file, f"merged cells {merge.name} in the header", expected, header_row)


def _body(grid: Grid, header_index: int) -> tuple[list[Row], list[int]]:
    """The non-blank rows below the header with their numbers."""
    rows: list[Row] = []
    numbers: list[int] = []
    for row, number in zip(grid.rows[header_index + 1 :], grid.numbers[header_index + 1 :], strict=True):
        if row and not all(map(is_blank, row)):
            rows.append(row)
            numbers.append(number)
    return rows, numbers


def _surplus_problems(body: list[Row], numbers: list[int], width: int, file: str) -> list[Problem]:
    problems = []
    for row, number in zip(body, numbers, strict=True):
        if len(row) > width and not all(map(is_blank, row[width:])):
            found = f"{len(row)} cells: {shown(' | '.join(map(str, row)))}"
            expected = (
                f"{width} cells as in the header; a text or number that contains the separator "
                "(a decimal comma between commas) needs quotation marks"
            )
            problems.append(Problem(file, number, None, found, expected))
    return problems


def _columns(body: list[Row], width: int) -> list[ObjectArray]:
    """Columns of the rows, each an object array; short rows filled with None, long ones cut."""
    full = [row if len(row) == width else [*row[:width], *[None] * (width - len(row))] for row in body]
    table = np.empty((len(full), width), dtype=object)
    table[:] = full
    return [table[:, at].copy() for at in range(width)]


def _labels(
    headers: tuple[str, ...],
    columns: list[ObjectArray],
    names: dict[str, str],
    file: str,
    header_row: int,
) -> tuple[list[int], list[str], list[str], list[Problem]]:
    """Which columns to keep, under which label; notes on unnamed columns; problems of repeated ones."""
    kept: list[int] = []
    labels: list[str] = []
    notes: list[str] = []
    problems: list[Problem] = []
    for at, header in enumerate(headers):
        label = names.get(header_key(header), header) if header else f"column {get_column_letter(at + 1)}"
        if not header:
            if all(map(is_blank, columns[at])):
                continue
            notes.append(f"{label} has no header; its cells are kept as notes")
        if label in labels and label in names.values():
            expected = "each column name once; rename or remove one of the columns"
            first = headers[kept[labels.index(label)]]
            found = f"two columns named “{shown(first)}” and “{shown(header)}”"
            problems.append(Problem(file, header_row, label, found, expected))
            continue
        while label in labels:
            label += " (again)"
        kept.append(at)
        labels.append(label)
    return kept, labels, notes, problems


def _with_hidden_things(table: RawTable, grid: Grid, kept: list[int]) -> RawTable:
    """The table with problems for rows whose values a sheet hides: formulas never computed, merged cells."""
    problems = list(table.problems)
    label_of = dict(zip(kept, table.cells.columns, strict=True))
    rows = set(table.rows.tolist())
    for number, column in sorted(grid.uncomputed):
        if number in rows and column in label_of:
            expected = "a value; open the file in a spreadsheet program and save it again, or paste values"
            problems.append(
                Problem(table.file, number, label_of[column], "a formula without a stored value", expected)
            )
    for merge in grid.merges:
        columns = [label_of[c] for c in range(merge.first_column - 1, merge.last_column) if c in label_of]
        if merge.last_row <= table.header_row or not columns:
            continue
        expected = "one value in each cell; unmerge the cells and fill in every one"
        problems += [
            Problem(table.file, int(number), str(columns[0]), f"merged cells {merge.name}", expected)
            for number in table.rows[(table.rows >= merge.first_row) & (table.rows <= merge.last_row)]
        ]
    read = sum(number in rows for number, _ in grid.computed)
    notes = (f"{read} formula cells read by their stored values",) if read else ()
    return replace(table, notes=(*table.notes, *notes), problems=tuple(problems))


def _repeats_dropped(table: RawTable) -> RawTable:
    """Without rows that repeat the header word for word, as files joined end to end have them."""
    repeated = np.ones(len(table.rows), dtype=bool)
    for at, header in enumerate(table.headers):
        if header and repeated.any():
            repeated[repeated] = (table.cells.iloc[repeated, at] == header).to_numpy(dtype=bool)
    if not repeated.any():
        return table
    numbers = ", ".join(map(str, table.rows[repeated][:5]))
    note = f"header repeated in row {numbers}{' …' if repeated.sum() > 5 else ''}, skipped"
    if repeated.all():
        refuse(table.file, "only repeated headers", "at least one row of data")
    return replace(
        table,
        cells=table.cells[~repeated].reset_index(drop=True),
        rows=table.rows[~repeated],
        notes=(*table.notes, note),
    )

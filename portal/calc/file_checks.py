"""Checking a whole file against its kind and what is already there: what is taken, what is held, and why."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from portal.calc.file_codes import plain_text
from portal.calc.file_reading import FileData, read_table
from portal.calc.file_references import resolve_references
from portal.calc.file_spec import FileKind, HeldCodes, Known, Problem, shown
from portal.calc.file_table import DEFAULT_LIMITS, RawTable, ReadLimits, UnreadableFile
from portal.calc.file_values import TypedRows, typed_rows

MOST_PROBLEMS = 100_000
NOTHING_HELD: HeldCodes = {}
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Checked:
    """A file after checking.

    `accepted`: typed rows without any problem, columns of the kind and `_row`, `_notes`. `held`: the other
    rows as text, one column per header of the file and `_row`; they go through `check_rows` once mended.
    `problems`: all of them, in the order of the rows; `notes`: what was read in a way a person should know.
    `unreadable`: the file as a whole could not be read (no rows at all).
    """

    accepted: pd.DataFrame
    held: pd.DataFrame
    problems: list[Problem]
    notes: list[str]
    unreadable: bool


def check_file(
    data: FileData,
    filename: str,
    kind: FileKind,
    known: Known,
    held_codes: HeldCodes = NOTHING_HELD,
    *,
    limits: ReadLimits = DEFAULT_LIMITS,
    today: dt.date | None = None,
) -> Checked:
    """Read a file (bytes or path), type its cells and check its rows. Never raises for anything in the file.

    `known` is what is already there (references are looked up in it; a missing frame is not checked against);
    `held_codes` are codes waiting to be mended. Every row with a problem is held whole.
    """
    try:
        table = read_table(data, filename, expected=kind.names, required=kind.required, limits=limits)
    except UnreadableFile as error:
        return _unreadable(kind, [error.problem])
    faults = [*table.header_problems, *_missing_columns(table, kind)]
    if faults:
        return _unreadable(kind, faults, list(table.notes))
    return _check_table(table, kind, known, held_codes, today)


def check_rows(
    rows: Sequence[Mapping[str, object]],
    filename: str,
    kind: FileKind,
    known: Known,
    held_codes: HeldCodes = NOTHING_HELD,
    *,
    today: dt.date | None = None,
) -> Checked:
    """Check rows given as header-to-text mappings with their file row number under "_row", as held rows are.

    They go the same way as the rows of a file: typed, referred, compared with each other, checked.
    """
    headers = list(dict.fromkeys(name for row in rows for name in row if name != "_row"))
    cells = pd.DataFrame({name: pd.Series([row.get(name) for row in rows], dtype=object) for name in headers})
    numbers = np.array([int(str(row["_row"])) for row in rows], dtype=np.int64)
    table = RawTable(filename, tuple(headers), cells, numbers, header_row=1)
    return _check_table(table, kind, known, held_codes, today)


def _check_table(
    table: RawTable, kind: FileKind, known: Known, held_codes: HeldCodes, today: dt.date | None
) -> Checked:
    typed = typed_rows(table, kind.columns, today)
    bad = typed.bad | _of_rows(table, table.problems)
    resolved = resolve_references(typed.frame, kind.columns, known, held_codes, table.file)
    duplicates = _duplicates(resolved.frame, kind, table.file)
    problems = [*table.problems, *typed.problems, *resolved.problems, *duplicates]
    bad |= resolved.bad | _of_rows(table, duplicates)
    good = resolved.frame[~bad]
    found = kind.check(good, known, table.file) if kind.check and len(good) else []
    bad |= _of_rows(table, found)
    accepted = resolved.frame[~bad].reset_index(drop=True)
    remarks = kind.remarks(accepted, known, table.file) if kind.remarks and len(accepted) else []
    return Checked(
        accepted=accepted,
        held=held_rows(table, bad, typed),
        problems=_in_order([*problems, *found], kind, table.file),
        notes=[*table.notes, *typed.notes, *resolved.notes, *_unused_columns(table, kind), *remarks],
        unreadable=False,
    )


def _of_rows(table: RawTable, problems: Sequence[Problem]) -> BoolArray:
    """Which rows of the table the problems are about."""
    return np.isin(table.rows, [problem.row for problem in problems if problem.row is not None])


def held_rows(table: RawTable, bad: BoolArray, typed: TypedRows) -> pd.DataFrame:
    """The bad rows as text: as found, but plain where the reading rested on the rest of the file."""
    places = np.flatnonzero(bad)
    texts: dict[str, pd.Series[str]] = {}
    for name in table.cells.columns:
        plain = typed.rewritten.get(name, {})
        column = table.cells[name].to_numpy(dtype=object)
        texts[name] = pd.Series([plain.get(int(at), plain_text(column[at])) for at in places], dtype=object)
    held = pd.DataFrame(texts, columns=list(table.cells.columns))
    held["_row"] = table.rows[places]
    return held


def empty_rows(kind: FileKind) -> pd.DataFrame:
    """A typed frame of the kind without rows."""
    frame = pd.DataFrame(
        {
            c.name: pd.Series([], dtype=float if c.kind in ("number", "integer") else object)
            for c in kind.columns
        }
    )
    frame["_row"] = np.array([], dtype=np.int64)
    frame["_notes"] = pd.Series([], dtype=object)
    return frame


def _unreadable(kind: FileKind, problems: list[Problem], notes: list[str] | None = None) -> Checked:
    held = pd.DataFrame({"_row": np.array([], dtype=np.int64)})
    return Checked(empty_rows(kind), held, problems, notes or [], unreadable=True)


def _missing_columns(table: RawTable, kind: FileKind) -> list[Problem]:
    """A problem for each required column without a header."""
    headers = ", ".join(shown(header) for header in table.headers if header)
    problems = []
    for name in kind.required:
        if name in table.cells:
            continue
        column = kind.column(name)
        unit = f" in {column.unit}" if column.unit else ""
        expected = (
            f"a column named {name} ({column.help or column.kind}{unit}); add it, or rename the column meant"
        )
        problems.append(
            Problem(table.file, table.header_row, name, f"no such column among: {headers}", expected)
        )
    return problems


def _duplicates(frame: pd.DataFrame, kind: FileKind, file: str) -> list[Problem]:
    """A problem for each row whose key stands in an earlier row of the file; the first one stays."""
    keys = list(kind.key)
    complete = np.ones(len(frame), dtype=bool)
    for name in keys:
        if kind.column(name).required:
            complete &= frame[name].notna().to_numpy()
    keyed = frame.loc[complete, [*keys, "_row"]]
    repeated = keyed.duplicated(keys, keep="first")
    if not repeated.any():
        return []
    first = keyed.groupby(keys, dropna=False, sort=False)["_row"].transform("first")
    problems = []
    names = ", ".join(keys)
    rows = zip(*(keyed.loc[repeated, name] for name in [*keys, "_row"]), first[repeated], strict=True)
    for *values, row, first_row in rows:
        found = ", ".join(shown(plain_text(value)) for value in values if not pd.isna(value))
        expected = f"each {names} once in the file; the first stands in row {first_row}"
        problems.append(Problem(file, int(row), keys[0], found, expected))
    return problems


def _unused_columns(table: RawTable, kind: FileKind) -> list[str]:
    extra = [name for name in table.cells.columns if name not in kind.names]
    return [f"columns kept as notes: {', '.join(map(shown, extra))}"] if extra else []


def _in_order(problems: list[Problem], kind: FileKind, file: str) -> list[Problem]:
    """Problems by row and column, cut with a last one that counts the rest."""
    places = {name: at for at, name in enumerate(kind.names)}
    ordered = sorted(problems, key=lambda p: (p.row or 0, places.get(p.column or "", -1)))
    if len(ordered) <= MOST_PROBLEMS:
        return ordered
    more = len(ordered) - MOST_PROBLEMS
    expected = "the problems above mended first; all rows with problems are held"
    return [*ordered[:MOST_PROBLEMS], Problem(file, None, None, f"and {more:,} more problems", expected)]

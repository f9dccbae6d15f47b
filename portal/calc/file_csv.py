"""Rows of a delimited text file."""

import csv
import io
from collections.abc import Iterator
from itertools import islice

from portal.calc.file_content import decode
from portal.calc.file_table import Grid, ReadLimits, find_header, refuse

SEPARATORS = (",", ";", "\t", "|")
SEPARATOR_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
SAMPLE_LINES = 60


def read_csv(data: bytes, file: str, expected: frozenset[str], limits: ReadLimits) -> Grid:
    """Rows of a CSV file with their record numbers (blank lines count, as they do in a spreadsheet).

    The separator is the one under which a row among the first matches most expected names. Raises
    UnreadableFile for what is no text, for an unclosed quotation mark and for too large tables.
    """
    text, notes = decode(data, file)
    text = _without_separator_line(text)
    separator = _separator(text, expected, limits)
    try:
        rows = _rows(text, separator, file, limits, strict=True)
    except csv.Error:
        rows = _rows_with_loose_quotes(text, separator, file, limits)
    return Grid(rows=list(rows), numbers=list(range(1, len(rows) + 1)), surplus_is_wrong=True, notes=notes)


def _without_separator_line(text: str) -> str:
    """Spreadsheet programs take a first line like "sep=;" as an instruction and do not count it as a row."""
    first, _, rest = text.partition("\n")
    hint = first.strip().casefold()
    return rest if len(hint) <= 5 and hint.startswith("sep=") else text


def _separator(text: str, expected: frozenset[str], limits: ReadLimits) -> str:
    first_lines = islice(io.StringIO(text, newline=""), SAMPLE_LINES)
    sample = [line[: limits.max_line_characters] for line in first_lines]
    best, most = SEPARATORS[0], (-1, -1)
    for separator in SEPARATORS:
        rows: list[list[str]] = []
        try:
            rows.extend(csv.reader(sample, delimiter=separator))
        except csv.Error:
            continue
        index, count = find_header(rows, expected)
        width = len(rows[index]) if index >= 0 else max((len(row) for row in rows), default=0)
        if (count, width) > most:
            best, most = separator, (count, width)
    return best


def _lines(text: str, limits: ReadLimits) -> Iterator[str]:
    for line in io.StringIO(text, newline=""):
        if len(line) > limits.max_line_characters:
            raise csv.Error("line too long")
        yield line


def _rows(text: str, separator: str, file: str, limits: ReadLimits, *, strict: bool) -> list[list[str]]:
    rows: list[list[str]] = []
    cells = 0
    for row in csv.reader(_lines(text, limits), delimiter=separator, strict=strict):
        rows.append(row)
        cells += len(row)
        if len(rows) > limits.max_rows or cells > limits.max_cells:
            found = f"more than {limits.max_rows:,} rows or {limits.max_cells:,} cells"
            refuse(file, found, "a smaller table; split the file")
    return rows


def _rows_with_loose_quotes(text: str, separator: str, file: str, limits: ReadLimits) -> list[list[str]]:
    """Second reading for quotation marks around part of a cell; refuses where they swallow line ends."""
    try:
        rows = _rows(text, separator, file, limits, strict=False)
    except csv.Error:
        rows = []
    swallowed = next((i for i, row in enumerate(rows, 1) if any("\n" in c or "\r" in c for c in row)), None)
    if not rows or swallowed is not None:
        refuse(
            file,
            "a quotation mark that is never closed, or a line too long to be a row of a table",
            "quotation marks in pairs around a cell, one table row per line",
            swallowed,
        )
    return rows

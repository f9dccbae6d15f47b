"""Rows of an XLSX workbook: the right sheet, its values, and what they hide (formulas, merged cells)."""

import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from itertools import islice
from typing import Any

import openpyxl
from defusedxml.common import DefusedXmlException
from openpyxl.utils.cell import range_boundaries

from portal.calc.file_content import SAVE_AS
from portal.calc.file_table import (
    HEADER_SEARCH_ROWS,
    CellRange,
    Grid,
    ReadLimits,
    Row,
    UnreadableFile,
    find_header,
    is_blank,
    matches,
    refuse,
)

CHUNK = 1 << 20
MERGE = re.compile(rb"<(?:\w+:)?mergeCell\s[^>]*?ref=[\"']([A-Z]{1,3}\d{1,7}:[A-Z]{1,3}\d{1,7})[\"']")
FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")
MOST_MERGES = 10_000
ENCRYPTED = 0x1
LAST_ROW = 1_048_576
"""The last row a sheet can have; what claims to lie below it is not read."""
SMALL_ENTRY = 1 << 20
"""Entries below this size may be packed at any ratio: they cannot hurt."""


def read_xlsx(
    data: bytes, file: str, expected: frozenset[str], required: frozenset[str], limits: ReadLimits
) -> Grid:
    """Rows of the workbook's sheet whose header fits, with the row numbers of the sheet.

    `expected` and `required` are header keys. Raises UnreadableFile for archives that are no workbook, unpack
    to too much or need a password, and where several sheets fit.
    """
    _check_archive(data, file, limits)
    try:
        # openpyxl warns about parts of a workbook that do not concern its cells (styles, drawings).
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _read_workbook(data, file, expected, required, limits)
    except UnreadableFile:
        raise
    except Exception as error:
        # A damaged workbook makes openpyxl raise almost anything; to a person all of it means the same.
        if _forbidden(error):
            refuse(file, "XML entities or a document type inside the workbook", SAVE_AS)
        refuse(file, f"a damaged workbook ({type(error).__name__})", SAVE_AS)


def _forbidden(error: BaseException | None) -> bool:
    """Whether defusedxml, which openpyxl parses with, stands somewhere behind an error."""
    while error is not None and not isinstance(error, DefusedXmlException):
        error = error.__cause__ or error.__context__
    return error is not None


def _check_archive(data: bytes, file: str, limits: ReadLimits) -> None:
    """Refuse before unpacking anything: not a workbook, a password, or more content than is sensible."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
    except Exception as error:
        refuse(file, f"a damaged ZIP container ({type(error).__name__})", SAVE_AS)
    total = sum(entry.file_size for entry in entries)
    steep = any(
        entry.file_size > SMALL_ENTRY
        and entry.file_size > limits.max_unpacking_ratio * max(entry.compress_size, 1)
        for entry in entries
    )
    if len(entries) > limits.max_zip_entries or total > limits.max_unpacked_bytes or steep:
        found = f"an archive that unpacks to {total / 1e6:,.0f} MB in {len(entries):,} parts"
        refuse(file, found, "a plain workbook: copy the table into a new one, or save it as CSV")
    if any(entry.flag_bits & ENCRYPTED for entry in entries):
        refuse(file, "a password-protected archive", "a file without password: remove it and save again")
    _check_is_workbook({entry.filename for entry in entries}, file)


def _check_is_workbook(names: set[str], file: str) -> None:
    if "xl/workbook.bin" in names:
        refuse(file, "a binary workbook (.xlsb)", SAVE_AS)
    if "[Content_Types].xml" in names and any(name.endswith("workbook.xml") for name in names):
        return
    if "mimetype" in names:
        refuse(file, "an OpenDocument file", SAVE_AS)
    if any(name.startswith(("word/", "ppt/")) for name in names):
        refuse(file, "an Office document without a table sheet", SAVE_AS)
    refuse(file, "a ZIP archive that is no workbook", "the CSV or XLSX files themselves, unpacked")


def _read_workbook(
    data: bytes, file: str, expected: frozenset[str], required: frozenset[str], limits: ReadLimits
) -> Grid:
    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
    try:
        title, notes = _choose_sheet(book, file, expected, required, limits)
        sheet = next(s for s in book.worksheets if s.title == title)
        merges, has_formulas = _scan(data, _part_of(sheet), limits)
        rows: dict[int, Row] = {}
        cells = 0
        for number, row in _filled_rows(sheet, limits):
            rows[number] = row
            cells += len(row)
            if len(rows) > limits.max_rows or cells > limits.max_cells:
                found = f"more than {limits.max_rows:,} rows or {limits.max_cells:,} cells"
                refuse(file, found, "a smaller table; split the file")
    finally:
        book.close()
    formulas = _formula_cells(data, title, limits) if has_formulas else []
    empty = {(r, c) for r, c in formulas if c >= len(rows.get(r, ())) or rows[r][c] is None}
    return Grid(
        rows=list(rows.values()),
        numbers=list(rows),
        surplus_is_wrong=False,
        notes=notes,
        merges=merges,
        computed=frozenset(set(formulas) - empty),
        uncomputed=frozenset(empty),
    )


def _part_of(sheet: Any) -> str:
    """Path of the sheet inside the archive; openpyxl has no public name for it."""
    return str(sheet._worksheet_path)


def _choose_sheet(
    book: Any, file: str, expected: frozenset[str], required: frozenset[str], limits: ReadLimits
) -> tuple[str, tuple[str, ...]]:
    """Title of the only sheet that holds the table, with a note when there were others."""
    scores: dict[str, tuple[bool, int]] = {}
    visible = [s for s in book.worksheets if s.sheet_state == "visible"] or list(book.worksheets)
    for sheet in visible:
        first = _first_rows(sheet, limits)
        if first:
            index, count = find_header(first, expected)
            full = index >= 0 and bool(required) and matches(first[index], required) == len(required)
            scores[sheet.title] = (full, count)
    if not scores:
        refuse(file, "a workbook without any filled cell", "a table with a header row")
    best = max(scores.values())
    fitting = [t for t, score in scores.items() if score == best or (best[0] and score[0])]
    if len(fitting) > 1 and best[1] > 0:
        names = ", ".join(f"“{title}”" for title in fitting[:6])
        refuse(file, f"several sheets with such a table: {names}", "one of them; remove or empty the others")
    notes = (f"sheet “{fitting[0]}” read; the other sheets were not",) if len(scores) > 1 else ()
    return fitting[0], notes


def _first_rows(sheet: Any, limits: ReadLimits) -> list[Row]:
    return [row for _, row in islice(_filled_rows(sheet, limits), HEADER_SEARCH_ROWS)]


def _filled_rows(sheet: Any, limits: ReadLimits) -> Iterator[tuple[int, Row]]:
    """Number and values of each row with any, cut behind its last filled cell.

    The dimension a file declares is not believed; a stray cell far below costs no memory.
    """
    sheet.reset_dimensions()
    empty = (None,) * limits.max_columns
    for number, row in enumerate(sheet.iter_rows(max_col=limits.max_columns, values_only=True), 1):
        if number > LAST_ROW:
            break
        if not row or row == empty:
            continue
        width = len(row)
        while row[width - 1] is None:
            width -= 1
        # Truth values as the text a person sees: to a table they would equal the numbers 1 and 0.
        cells = [str(c).upper() if isinstance(c, bool) else c for c in row[:width]]
        if not all(map(is_blank, cells)):
            yield number, cells


def _scan(data: bytes, part: str, limits: ReadLimits) -> tuple[tuple[CellRange, ...], bool]:
    """Merged ranges of a sheet and whether it holds formulas, from its XML; openpyxl keeps neither."""
    names: list[bytes] = []
    has_formula = False
    taken = 0
    with zipfile.ZipFile(io.BytesIO(data)) as archive, archive.open(part) as stream:
        carry = b""
        while (chunk := stream.read(CHUNK)) and taken <= limits.max_unpacked_bytes:
            taken += len(chunk)
            block = carry + chunk
            names += MERGE.findall(block) if len(names) < MOST_MERGES else []
            has_formula = has_formula or FORMULA.search(block) is not None
            cut = block.rfind(b"<")
            carry = block[cut:] if cut >= 0 and len(block) - cut < 1000 else b""
    merges = []
    for name in dict.fromkeys(names):
        left, top, right, bottom = (int(bound) for bound in range_boundaries(name.decode()))
        merges.append(CellRange(top, left, bottom, right, name.decode()))
    return tuple(merges), has_formula


def _formula_cells(data: bytes, title: str, limits: ReadLimits) -> list[tuple[int, int]]:
    """(row number, column index from 0) of every formula cell, in a second reading that keeps formulas."""
    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_links=False)
    try:
        sheet = next(s for s in book.worksheets if s.title == title)
        sheet.reset_dimensions()
        found = []
        for number, row in enumerate(sheet.iter_rows(max_col=limits.max_columns), 1):
            if number > LAST_ROW:
                break
            found += [(number, index) for index, cell in enumerate(row) if cell.data_type == "f"]
        return found
    finally:
        book.close()

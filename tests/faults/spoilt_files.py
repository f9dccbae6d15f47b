"""Files as they should never arrive, and do: each kind of spoilt tally with what a person must be told.

All of them are board tallies for the logs in LOGS. The builders make bytes in memory (or a sparse file on
disk), so that the same files can be given to the reader, the headless import and the upload page.
"""

from __future__ import annotations

import datetime as dt
import io
import os
import struct
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import openpyxl

LOGS = ("LK-01-1", "LK-01-2", "LK-02-1", "0042")
LOG_VOLUME_M3 = 0.2
HEADER = "board,log,thickness_mm,width_mm,length_m"
GOOD_ROWS = ("K1,LK-01-1,28,152,4.1", "K2,LK-01-2,28.5,110,3.95", "K3,LK-02-1,40,100,2.5")
MB = 1024 * 1024


@dataclass(frozen=True)
class Spoilt:
    """A spoilt file: how to make it, and what must be said about it.

    `told`: a part of what was found or is expected. `row`, `column`: where, when a cell is to blame.
    `whole`: the file as a whole is refused; otherwise only its bad rows are held and `good` rows are taken.
    """

    name: str
    filename: str
    build: Callable[[], bytes]
    told: str
    row: int | None = None
    column: str | None = None
    whole: bool = False
    good: int = 3


def csv_file(*rows: str, header: str = HEADER) -> bytes:
    """A UTF-8 CSV file of a header and these rows."""
    return "\n".join((header, *rows, "")).encode()


def tally(*bad: str) -> bytes:
    """The good rows (2 to 4) and behind them these bad ones (5 and on)."""
    return csv_file(*GOOD_ROWS, *bad)


def cells(text: str) -> list[object]:
    """A CSV line as the cells of a sheet, numbers as numbers."""
    return [float(cell) if cell.replace(".", "").isdigit() else cell for cell in text.split(",")]


def workbook(*sheets: list[list[object]], change: Callable[[openpyxl.Workbook], None] | None = None) -> bytes:
    """An XLSX file with these sheets."""
    book = openpyxl.Workbook()
    for number, rows in enumerate(sheets):
        sheet = book.active if number == 0 else book.create_sheet()
        for row in rows:
            sheet.append(row)
    if change:
        change(book)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def good_sheet(*more: list[object]) -> list[list[object]]:
    """The good tally as rows of a sheet, with more rows behind it."""
    return [list(HEADER.split(",")), *(cells(row) for row in GOOD_ROWS), *more]


def with_part(data: bytes, part: str, change: Callable[[bytes], bytes]) -> bytes:
    """The workbook with one of its XML parts changed."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = old.read(name)
            new.writestr(name, change(content) if name == part else content)
    return stream.getvalue()


def archive(entries: dict[str, bytes]) -> bytes:
    """A ZIP archive of these entries."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        for name, content in entries.items():
            new.writestr(name, content)
    return stream.getvalue()


def png_image() -> bytes:
    """A real PNG image of one pixel."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", 1, 1, 8, 2, 0, 0, 0)
    pixel = zlib.compress(b"\x00\xff\x00\x00")
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", pixel) + chunk(b"IEND", b"")


def zip_bomb() -> bytes:
    """A workbook whose sheet unpacks to a thousand times its size."""
    return with_part(workbook(good_sheet()), "xl/worksheets/sheet1.xml", lambda xml: xml + b" " * (40 * MB))


def lying_bomb() -> bytes:
    """A workbook whose sheet unpacks to far more than its directory declares."""
    data = zip_bomb()
    with zipfile.ZipFile(io.BytesIO(data)) as old:
        true_size = old.getinfo("xl/worksheets/sheet1.xml").file_size
    return data.replace(struct.pack("<I", true_size), struct.pack("<I", 500))


def crowded_archive() -> bytes:
    """A workbook with thousands of parts."""
    with zipfile.ZipFile(io.BytesIO(workbook(good_sheet()))) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    return archive({**parts, **{f"xl/media/{number}.txt": b"" for number in range(3_000)}})


def entity_bomb() -> bytes:
    """A workbook whose sheet defines entities that multiply when they are resolved."""
    entities = b"".join(b'<!ENTITY e%d "%s">' % (n, b"&e%d;" % (n - 1) * 10) for n in range(1, 10))
    start = b'<?xml version="1.0"?><!DOCTYPE worksheet [<!ENTITY e0 "ha">' + entities + b"]>"

    def spoil(xml: bytes) -> bytes:
        body = xml[xml.index(b"<worksheet") :]
        return start + body.replace(b"<v>28</v>", b"<v>&e9;</v>", 1)

    return with_part(workbook(good_sheet()), "xl/worksheets/sheet1.xml", spoil)


def external_entity() -> bytes:
    """A workbook that asks the reader to fetch a file of the server."""
    start = b'<?xml version="1.0"?><!DOCTYPE worksheet [<!ENTITY file SYSTEM "file:///etc/passwd">]>'

    def spoil(xml: bytes) -> bytes:
        return start + xml[xml.index(b"<worksheet") :].replace(b"<v>28</v>", b"<v>&file;</v>", 1)

    return with_part(workbook(good_sheet()), "xl/worksheets/sheet1.xml", spoil)


def old_container(*names: str) -> bytes:
    """The beginning of an old binary Office file with these names in its directory."""
    directory = b"".join(name.encode("utf-16-le").ljust(64, b"\0") for name in names)
    return (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 504 + directory).ljust(4096, b"\0")


def formula_without_value() -> bytes:
    """A sheet with a formula nobody has computed yet."""
    return workbook(good_sheet(["K4", "LK-01-1", 28, "=100+52", 4.1]))


def date_for_code() -> bytes:
    """A sheet where a code like 2-1 became a date."""
    return workbook(good_sheet([dt.date(2025, 2, 1), "LK-01-1", 28, 152, 4.1]))


def thousands_or_decimals() -> bytes:
    """A comma before three digits, and no number in the file that shows what commas mean in it."""
    return csv_file("K1,LK-01-1,28,152,4", "K2,LK-01-2,28,110,4", 'K3,LK-01-1,28,"1,152",4')


def merged(where: str) -> Callable[[], bytes]:
    """A workbook with the cells of this range merged."""
    return lambda: workbook(good_sheet(), change=lambda book: book.active.merge_cells(where))


def write_sparse(path: Path, size: int = 200 * MB) -> Path:
    """A file of this size that takes no room on the disk; its head is a good tally."""
    path.write_bytes(tally())
    os.truncate(path, size)
    return path


def _row(name: str, row: str, told: str, column: str | None, number: int = 5) -> Spoilt:
    return Spoilt(name, "tally.csv", lambda: tally(row), told, number, column)


def _whole(name: str, build: Callable[[], bytes], told: str, filename: str = "tally.csv") -> Spoilt:
    return Spoilt(name, filename, build, told, whole=True, good=0)


UMLAUT_HEADER = "board,log,thickness_mm,width_mm,length_m,Bemerkung für Säge\n"

SPOILT: tuple[Spoilt, ...] = (
    # the file as a whole
    _whole("empty", lambda: b"", "0 bytes"),
    _whole("only_blank_lines", lambda: b"\n \n;;;\n", "only blank cells"),
    _whole(
        "random_bytes",
        lambda: bytes((n * 197 + n // 7) % 255 + 1 for n in range(3000)),
        "no text in a known encoding",
    ),
    _whole("zero_bytes", lambda: tally() + b"\0" * 50, "zero bytes"),
    _whole(
        "utf16_without_mark", lambda: tally().decode().encode("utf-16-le"), "UTF-16 without a byte-order mark"
    ),
    _whole(
        "two_encodings",
        lambda: (UMLAUT_HEADER + "K1,LK-01-1,28,152,4.1,").encode() + "schräg\n".encode("cp1252"),
        "two text encodings mixed",
    ),
    _whole(
        "broken_utf16",
        lambda: b"\xff\xfe" + tally().decode().encode("utf-16-le") + b"\x00",
        "bytes that are not UTF-16",
    ),
    _whole("image_named_csv", png_image, "a PNG image"),
    _whole("jpeg_named_xlsx", lambda: b"\xff\xd8\xff\xe0" + b"\x10JFIF" * 90, "a JPEG image", "tally.xlsx"),
    _whole("pdf", lambda: b"%PDF-1.7\n" + b"1 0 obj\n" * 80, "a PDF document"),
    _whole("gzip", lambda: b"\x1f\x8b\x08" + tally(), "a gzip archive", "tally.csv.gz"),
    _whole(
        "web_page",
        lambda: b"<!DOCTYPE html><html><table><tr><td>board</td></tr></table></html>",
        "a web page",
    ),
    _whole("old_xls", lambda: old_container("Workbook"), "an old binary Office file", "tally.xls"),
    _whole(
        "password",
        lambda: old_container("EncryptionInfo", "EncryptedPackage"),
        "password-protected",
        "tally.xlsx",
    ),
    _whole(
        "zip_of_csv",
        lambda: archive({"tally.csv": tally()}),
        "a ZIP archive that is no workbook",
        "tally.zip",
    ),
    _whole(
        "text_document",
        lambda: archive({"[Content_Types].xml": b"", "word/document.xml": b""}),
        "an Office document",
    ),
    _whole(
        "open_document",
        lambda: archive({"mimetype": b"x", "content.xml": b""}),
        "an OpenDocument file",
        "tally.ods",
    ),
    _whole("zip_bomb", zip_bomb, "an archive that unpacks to", "tally.xlsx"),
    _whole("lying_zip_bomb", lying_bomb, "a damaged workbook", "tally.xlsx"),
    _whole("crowded_zip", crowded_archive, "parts", "tally.xlsx"),
    _whole("entity_bomb", entity_bomb, "XML entities", "tally.xlsx"),
    _whole("external_entity", external_entity, "XML entities", "tally.xlsx"),
    _whole(
        "cut_off_workbook", lambda: workbook(good_sheet())[:2500], "a damaged ZIP container", "tally.xlsx"
    ),
    _whole(
        "damaged_sheet",
        lambda: with_part(workbook(good_sheet()), "xl/worksheets/sheet1.xml", lambda xml: xml[:200]),
        "a damaged workbook",
        "tally.xlsx",
    ),
    _whole("empty_workbook", lambda: workbook([]), "without any filled cell", "tally.xlsx"),
    _whole("merged_header", merged("C1:D1"), "merged cells C1:D1 in the header", "tally.xlsx"),
    _whole("two_sheets", lambda: workbook(good_sheet(), good_sheet()), "several sheets", "tally.xlsx"),
    _whole("no_header", lambda: "\n".join(GOOD_ROWS).encode(), "no header row"),
    _whole("only_header", lambda: csv_file(), "no rows below it"),
    _whole(
        "missing_column",
        lambda: csv_file("K1,LK-01-1,28,4.1", header="board,log,thickness_mm,length_m"),
        "a column named width_mm",
    ),
    _whole(
        "column_twice",
        lambda: csv_file("K1,LK-01-1,28,152,4.1,150", header=HEADER + ",Width mm"),
        "two columns named “width_mm” and “Width mm”",
    ),
    _whole(
        "open_quote",
        lambda: csv_file(*GOOD_ROWS, '"K4,LK-01-1,28,152,4.1', "K5,LK-01-1,28,99,4.1"),
        "quotation mark",
    ),
    # single rows
    _row("board_twice", "K1,LK-01-1,28,100,4", "the first stands in row 2", "board"),
    _row("unknown_log", "K4,LK-01-7,28,100,4", "close: LK-01-", "log"),
    _row("negative", "K4,LK-01-1,28,-152,4.1", "at least 5 mm", "width_mm"),
    _row("zero_size", "K4,LK-01-1,0,152,4.1", "at least 1 mm", "thickness_mm"),
    _row("beyond_limit", "K4,LK-01-1,28,152,41", "at most 13 m", "length_m"),
    _row("text_in_number", "K4,LK-01-1,ca. 28,152,4.1", "a number in mm, for example", "thickness_mm"),
    _row("other_unit", "K4,LK-01-1,2.8 cm,152,4.1", "a number in mm; convert it", "thickness_mm"),
    _row("infinite", "K4,LK-01-1,inf,152,4.1", "a number in mm", "thickness_mm"),
    _row("not_a_number", "K4,LK-01-1,28,nan,4.1", "a number in mm", "width_mm"),
    _row("hexadecimal", "K4,LK-01-1,0x1C,152,4.1", "a number in mm", "thickness_mm"),
    _row("overflow", "K4,LK-01-1,1e999,152,4.1", "a number in mm", "thickness_mm"),
    _row("empty_cell", "K4,LK-01-1,28,,4.1", "an empty cell", "width_mm"),
    _row("empty_code", ",LK-01-1,28,152,4.1", "an empty cell", "board"),
    _row("decimal_comma_between_commas", "K4,LK-01-1,28,5,152,4,1", "a decimal comma between commas", None),
    _row("formula_as_code", "=1+1,LK-01-1,28,152,4.1", "not a formula", "board"),
    _row("spreadsheet_error", "#REF!,LK-01-1,28,152,4.1", "a spreadsheet error", "board"),
    _row("shortened_code", "1.23E+11,LK-01-1,28,152,4.1", "a spreadsheet has shortened this one", "board"),
    _row("long_code", f"{'K' * 65},LK-01-1,28,152,4.1", "at most 64 characters", "board"),
    _row("invisible_character", "K\u200b4,LK-01-1,28,152,4.1", "invisible character U+200B", "board"),
    _row("control_character", "K\x074,LK-01-1,28,152,4.1", "invisible character U+0007", "board"),
    _row("lost_letter", "K\ufffd4,LK-01-1,28,152,4.1", "a letter was lost", "board"),
    Spoilt(
        "thousands_or_decimals",
        "tally.csv",
        thousands_or_decimals,
        "could be 1152 or 1.152",
        4,
        "width_mm",
        good=2,
    ),
    Spoilt(
        "too_much_board",
        "tally.csv",
        lambda: tally("K4,LK-02-1,40,500,10.5"),
        "m³ of boards from log",
        5,
        "log",
        good=2,
    ),
    Spoilt(
        "formula_without_value",
        "tally.xlsx",
        formula_without_value,
        "a formula without a stored value",
        5,
        "width_mm",
    ),
    Spoilt("merged_cells", "tally.xlsx", merged("B3:B4"), "merged cells B3:B4", 3, "log", good=1),
    Spoilt("date_for_code", "tally.xlsx", date_for_code, "a spreadsheet made a date", 5, "board"),
    Spoilt(
        "truth_for_number",
        "tally.xlsx",
        lambda: workbook(good_sheet(["K4", "LK-01-1", True, 152, 4.1])),
        "a number in mm",
        5,
        "thickness_mm",
    ),
)

"""A small kind of file with a column of every sort, and ways to write it, for the tests of reading."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Sequence

import openpyxl

from portal.calc.file_spec import Column, FileKind

TODAY = dt.date(2025, 6, 30)

STEMS = FileKind(
    name="stems",
    title="Stems",
    help="One row per stem.",
    columns=(
        Column("stem", "code", required=True, help="code of the stem", example="S-01"),
        Column("tree", "code", refers_to="trees", help="tree", example="T-1"),
        Column(
            "girth_mm",
            "number",
            required=True,
            unit="mm",
            above=0,
            maximum=9_000,
            help="girth",
            example="640",
        ),
        Column("height_m", "number", unit="m", above=0, maximum=60, help="height", example="17.5"),
        Column("mass_kg", "number", unit="kg", above=0, maximum=30_000, help="mass", example="410"),
        Column("whorls", "integer", minimum=0, maximum=99, help="number of whorls", example="12"),
        Column("seen_on", "date", help="day of the visit", example="2025-03-14"),
        Column("health", "choice", choices=("sound", "top broken", "dead"), help="state", example="sound"),
        Column("remark", "text", help="anything else", example="fork at 4 m"),
    ),
    key=("stem",),
)
HEADERS = STEMS.names


def csv_bytes(rows: Sequence[Sequence[object]], separator: str = ",", end: str = "\n") -> bytes:
    """Rows as UTF-8 CSV, quoted where needed."""
    stream = io.StringIO()
    csv.writer(stream, delimiter=separator, lineterminator=end).writerows(rows)
    return stream.getvalue().encode()


def xlsx_bytes(rows: Sequence[Sequence[object]], title: str = "stems") -> bytes:
    """Rows as the only sheet of a workbook."""
    book = openpyxl.Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(list(row))
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def lines(*rows: str) -> bytes:
    """Lines of text as a file."""
    return "\n".join((*rows, "")).encode()

"""A table as a file to take away: CSV or XLSX."""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Any

from django.http import HttpResponse
from django.utils.http import content_disposition_header
from openpyxl import Workbook

TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def table_file(heads: Sequence[str], rows: Iterable[Sequence[Any]], kind: str, name: str) -> HttpResponse:
    """A response that saves as `name`.csv or `name`.xlsx.

    Raises:
        KeyError: for another kind than "csv" or "xlsx".
    """
    response = HttpResponse(content_type=TYPES[kind])
    saved_as = "".join(c for c in name if c.isalnum() or c in "-_ ")
    response["Content-Disposition"] = content_disposition_header(True, f"{saved_as}.{kind}") or "attachment"
    response.write(_csv(heads, rows) if kind == "csv" else _xlsx(heads, rows))
    return response


def harmless(value: Any) -> Any:
    """A text that a spreadsheet would run as a formula gets a leading apostrophe; all else stays as it is.

    A signed number is none: held rows must come back as they went.
    """
    if not isinstance(value, str) or value[:1] not in set("=+-@\t\r"):
        return value
    return value if re.fullmatch(r"[+-]\d+([.,]\d+)*", value) else f"'{value}"


def _csv(heads: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(heads)
    writer.writerows([harmless(v) for v in row] for row in rows)
    # The byte-order mark lets spreadsheets read the letters rightly; our own reader drops it.
    return text.getvalue().encode("utf-8-sig")


def _xlsx(heads: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    book = Workbook(write_only=True)
    sheet = book.create_sheet("rows")
    sheet.freeze_panes = "A2"
    sheet.append(list(heads))
    for row in rows:
        sheet.append([_cell(v) for v in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _cell(value: Any) -> Any:
    if hasattr(value, "item"):
        value = value.item()  # a numpy scalar
    if value is None or isinstance(value, bool | int | float | str):
        return harmless(value)
    if hasattr(value, "tzinfo") and value.tzinfo is not None:
        return value.replace(tzinfo=None)  # spreadsheets know no time zones; ours are UTC throughout
    return value if hasattr(value, "isoformat") else harmless(str(value))

"""What a column of a table is: where its values come from and how they are written."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.safestring import mark_safe

from portal.calc import shown

NUMERIC = {"number", "integer", "percent", "cubic_metres", "money"}
MISSING = mark_safe('<span class="missing"><span aria-hidden="true">—</span><i class="sr">missing</i></span>')


@dataclass(frozen=True)
class Column:
    """One column. `name` is a dict key, an attribute or a lookup path ("log__code").

    kind: text, code, number, integer, percent (of a share 0…1), cubic_metres, money, date.
    key: stays in sight on a phone. url: row -> address of the cell's link (None or "": no link).
    sort: the lookup to order by when it is not `name`; False where sorting means nothing.
    filter: "contains" or "choice" puts the column into the table's filter form.
    show: (value, row) -> what stands in the cell, where the kind's own writing will not do.
    cell_class: row -> CSS class of the cell ("wrong", "strong", …).
    """

    name: str
    label: str
    kind: str = "text"
    unit: str = ""
    digits: int | None = None
    key: bool = False
    url: Callable[[Any], str | None] | None = None
    sort: str | bool = True
    filter: str = ""
    help: str = ""
    show: Callable[[Any, Any], Any] | None = None
    cell_class: Callable[[Any], str] | None = None

    @property
    def numeric(self) -> bool:
        return self.kind in NUMERIC

    @property
    def heading(self) -> str:
        return f"{self.label}, {self.shown_unit}" if self.shown_unit else self.label

    @property
    def shown_unit(self) -> str:
        return self.unit or {"percent": "%", "cubic_metres": "m³"}.get(self.kind, "")

    def value(self, row: Any) -> Any:
        return look_up(row, self.name)

    def text(self, row: Any) -> Any:
        value = self.value(row)
        if self.show is not None:
            value = self.show(value, row)
            return MISSING if value in (None, "") else value
        writers: dict[str, Callable[[Any], str | None]] = {
            "number": lambda v: shown.number(v, self.digits),
            "integer": lambda v: shown.number(v, 0),
            "percent": lambda v: (
                None if (p := shown.percent(v, 1 if self.digits is None else self.digits)) is None else p[:-2]
            ),
            "cubic_metres": lambda v: (
                shown.cubic_metres(v, unit=False) if self.digits is None else shown.number(v, self.digits)
            ),
            "money": lambda v: shown.money(v, digits=self.digits),
        }
        if self.kind in writers:
            return writers[self.kind](value) or MISSING
        if is_missing(value):
            return MISSING
        return value.strftime("%-d %b %Y") if self.kind == "date" and hasattr(value, "strftime") else value


def look_up(row: Any, name: str) -> Any:
    """Value of a dict key, attribute or path with double underscores; None where the path breaks off."""
    if isinstance(row, Mapping) and name in row:
        return row[name]
    for part in name.split("__"):
        row = row.get(part) if isinstance(row, Mapping) else getattr(row, part, None)
        if row is None:
            return None
    return row() if callable(row) else row


def is_missing(value: Any) -> bool:
    """None, NaN, NaT and the empty string are missing; zero is a measurement."""
    if value is None or (isinstance(value, str) and not value):
        return True
    try:
        return bool(value != value)
    except (TypeError, ValueError):  # pandas' NA will not say; a list of values is there
        return not hasattr(value, "__len__")


def natural(value: Any) -> Any:
    """Sort key that puts L-2 before L-10; values of one kind only are compared with each other."""
    if isinstance(value, str):
        parts = re.split(r"(\d+)", value.lower())
        return [(1, 0, p) if i % 2 == 0 else (0, int(p), "") for i, p in enumerate(parts) if p]
    return value

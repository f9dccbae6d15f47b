"""Tables as pages show them: sorted, filtered, paged and downloaded from one description.

A view describes its columns once:

    table = Table(request, rows=boards, order="code", what="board", columns=[
        Column("code", "Board", kind="code", key=True, url=lambda b: b.get_absolute_url()),
        Column("log__code", "Log", kind="code", key=True, filter="choice"),
        Column("width_mm", "Width", unit="mm", kind="number", digits=0),
    ])
    if table.asked_for_download:
        return table.download()

and its template says {% table table %}. Rows are a queryset, a list of dicts or objects, or a DataFrame.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import F, QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.utils.html import format_html
from django.utils.safestring import SafeString

from portal.calc import shown
from portal.downloads import table_file

NUMERIC = {"number", "integer", "percent", "cubic_metres", "money"}
MISSING = format_html(
    '<span class="missing"><span aria-hidden="true">—</span><i class="sr">missing</i></span>'
)


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


@dataclass(frozen=True)
class Header:
    column: Column
    url: str  # "" where sorting means nothing
    direction: str  # "ascending", "descending", "none"


@dataclass(frozen=True)
class Cell:
    column: Column
    text: Any
    url: str
    css: str


@dataclass(frozen=True)
class Filter:
    column: Column
    field: str
    value: str
    choices: tuple[str, ...]


class Table:
    """A page's table over `rows`, read from the request's query string (parameters start with `prefix`)."""

    def __init__(
        self,
        request: HttpRequest,
        *,
        rows: Any,
        columns: Iterable[Column],
        what: str = "row",
        whats: str | None = None,
        order: str = "",
        page_size: int = 100,
        prefix: str = "",
        title: str = "",
        left_out: str = "",
        file_name: str = "",
        row_class: Callable[[Any], str] | None = None,
    ) -> None:
        if hasattr(rows, "to_dict"):
            rows = rows.to_dict("records")
        self.columns = tuple(columns)
        self.rows = rows if isinstance(rows, QuerySet) else list(rows)
        self.query, self.prefix, self.order, self.page_size = request.GET, prefix, order, page_size
        self.what, self.whats = what, whats or f"{what}s"
        self.title, self.left_out, self.row_class = title, left_out, row_class
        self.file_name = file_name or self.whats.replace(" ", "_")
        self.element_id = f"table-{prefix or 'rows'}"

    # What was asked for -------------------------------------------------------------------------

    @cached_property
    def sorted_by(self) -> str:
        asked = self.query.get(f"{self.prefix}sort", "")
        known = {c.name for c in self.columns if c.sort}
        return asked if asked.lstrip("-") in known else self.order

    @cached_property
    def filters(self) -> list[Filter]:
        return [
            Filter(c, field, self.query.get(field, "").strip(), self._choices(c))
            for c in self.columns
            if c.filter and (field := f"{self.prefix}f_{c.name}")
        ]

    def _choices(self, column: Column) -> tuple[str, ...]:
        if column.filter != "choice":
            return ()
        if isinstance(self.rows, QuerySet):
            values = self.rows.order_by().values_list(column.name, flat=True).distinct()
        else:
            values = {column.value(row) for row in self.rows}
        return tuple(sorted({str(v) for v in values if not is_missing(v)}, key=natural))

    @property
    def active_filters(self) -> list[Filter]:
        return [f for f in self.filters if f.value]

    # Rows ---------------------------------------------------------------------------------------

    @cached_property
    def total(self) -> int:
        return self.rows.count() if isinstance(self.rows, QuerySet) else len(self.rows)

    @cached_property
    def found(self) -> Any:
        """All rows that pass the filters, in order."""
        if isinstance(self.rows, QuerySet):
            return self._ordered(self._filtered_queryset())
        kept = [row for row in self.rows if all(passes(f, row) for f in self.active_filters)]
        name = self.sorted_by.lstrip("-")
        if not name:
            return kept
        known = [row for row in kept if not is_missing(look_up(row, name))]
        known.sort(key=lambda row: natural(look_up(row, name)), reverse=self.sorted_by.startswith("-"))
        return known + [row for row in kept if is_missing(look_up(row, name))]

    def _filtered_queryset(self) -> QuerySet[Any]:
        rows = self.rows
        for f in self.active_filters:
            lookup = f.column.name if f.column.filter == "choice" else f"{f.column.name}__icontains"
            rows = rows.filter(**{lookup: f.value})
        return rows

    def _ordered(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        name = self.sorted_by.lstrip("-")
        if not name:
            return rows
        column = next((c for c in self.columns if c.name == name), None)
        field = F(column.sort if column and isinstance(column.sort, str) else name)
        down = self.sorted_by.startswith("-")
        return rows.order_by(field.desc(nulls_last=True) if down else field.asc(nulls_last=True), "pk")

    @cached_property
    def page(self) -> Page:
        return Paginator(self.found, self.page_size).get_page(self.query.get(f"{self.prefix}page"))

    @property
    def page_parameter(self) -> str:
        return f"{self.prefix}page"

    def lines(self) -> Iterator[tuple[str, list[Cell]]]:
        """Rows of this page: (CSS class, cells)."""
        for row in self.page:
            yield (self.row_class(row) if self.row_class else ""), [self._cell(c, row) for c in self.columns]

    def _cell(self, column: Column, row: Any) -> Cell:
        css = [column.kind if column.kind == "code" else "", "number" if column.numeric else ""]
        css += ["" if column.key else "more", column.cell_class(row) if column.cell_class else ""]
        return Cell(
            column,
            column.text(row),
            (column.url(row) if column.url else "") or "",
            " ".join(filter(None, css)),
        )

    # Words and links ----------------------------------------------------------------------------

    def headers(self) -> list[Header]:
        asked = self.sorted_by
        heads = []
        for c in self.columns:
            here = asked.lstrip("-") == c.name
            down = here and asked.startswith("-")
            turn = c.name if down or not here else f"-{c.name}"
            url = self.link(sort=turn, page=None) if c.sort else ""
            heads.append(Header(c, url, "descending" if down else "ascending" if here else "none"))
        return heads

    def link(self, **changes: Any) -> str:
        """This page's query string with some of the table's own parameters changed (None: left out)."""
        query = self.query.copy() if isinstance(self.query, QueryDict) else QueryDict(mutable=True)
        for name, value in changes.items():
            query.pop(self.prefix + name, None)
            if value is not None:
                query[self.prefix + name] = value
        return f"?{query.urlencode()}"

    @property
    def unfiltered_link(self) -> str:
        return self.link(page=None, **{f"f_{f.column.name}": None for f in self.active_filters})

    def kept_parameters(self) -> list[tuple[str, str]]:
        """Query parameters that the filter form must carry along: all but its own and the page."""
        own = {f.field for f in self.filters} | {self.page_parameter}
        return [(name, v) for name, values in self.query.lists() if name not in own for v in values]

    @property
    def in_words(self) -> str:
        """What is shown and what is left out, e.g. "84 of 120 boards: log L-014 only"."""
        found = self.page.paginator.count
        if not self.active_filters:
            words = shown.counted(found, self.what, self.whats) or ""
        else:
            limits = ", ".join(
                f"{f.column.label.lower()} {'containing ' if f.column.filter == 'contains' else ''}“{f.value}”"
                for f in self.active_filters
            )
            words = f"{shown.number(found, 0)} of {shown.counted(self.total, self.what, self.whats)}: only {limits}"
        return f"{words}. Left out: {self.left_out}" if self.left_out else words

    # Download -----------------------------------------------------------------------------------

    @property
    def asked_for_download(self) -> bool:
        return self.query.get(f"{self.prefix}download") in {"csv", "xlsx"}

    @property
    def csv_link(self) -> str:
        return self.link(download="csv", page=None)

    @property
    def xlsx_link(self) -> str:
        return self.link(download="xlsx", page=None)

    def download(self) -> HttpResponse:
        """All rows that pass the filters (not this page alone), raw values, units in the header."""
        kind = self.query.get(f"{self.prefix}download", "csv")
        heads = [
            f"{c.label} ({c.unit or 'm³'})" if c.unit or c.kind == "cubic_metres" else c.label
            for c in self.columns
        ]
        body = ([None if is_missing(v := c.value(row)) else v for c in self.columns] for row in self.found)
        return table_file(heads, body, kind, self.file_name)


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
    return value is None or (isinstance(value, str) and not value) or bool(value != value)


def passes(f: Filter, row: Any) -> bool:
    value = f.column.value(row)
    if is_missing(value):
        return False
    text = str(value)
    return text == f.value if f.column.filter == "choice" else f.value.lower() in text.lower()


def natural(value: Any) -> Any:
    """Sort key that puts L-2 before L-10; values of one kind only are compared with each other."""
    if isinstance(value, str | SafeString):
        parts = re.split(r"(\d+)", value.lower())
        return [(1, 0, p) if i % 2 == 0 else (0, int(p), "") for i, p in enumerate(parts) if p]
    return value

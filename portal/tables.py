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

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import F, QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict

from portal.calc import shown
from portal.downloads import table_file
from portal.table_columns import MISSING, Column, is_missing, look_up, natural

__all__ = ["MISSING", "Column", "Table", "is_missing", "look_up"]


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

    @property
    def in_words(self) -> str:
        how = "containing " if self.column.filter == "contains" else ""
        return f"{self.column.label.lower()} {how}“{self.value}”"


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
            limits = ", ".join(f.in_words for f in self.active_filters)
            total = shown.counted(self.total, self.what, self.whats)
            words = f"{shown.number(found, 0)} of {total}: only {limits}"
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


def passes(f: Filter, row: Any) -> bool:
    value = f.column.value(row)
    if is_missing(value):
        return False
    text = str(value)
    return text == f.value if f.column.filter == "choice" else f.value.lower() in text.lower()

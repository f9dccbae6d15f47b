"""Parts of the templates: tables, pages, held rows. Gathered by portal.templatetags.parts."""

from typing import Any

from django import template
from django.core.paginator import Page
from django.http import QueryDict

from portal.tables import Table, is_missing

register = template.Library()


# Tables -----------------------------------------------------------------------------------------


@register.inclusion_tag("portal/parts/table.html")
def table(table: Table, download: bool = True) -> dict[str, Any]:
    """{% table table %}: a portal.tables.Table made in the view."""
    return {"table": table, "download": download}


@register.inclusion_tag("portal/parts/pagination.html", takes_context=True)
def pagination(context: template.Context, page: Page, parameter: str = "page") -> dict[str, Any]:
    """{% pagination page %}: for lists that are not a Table; keeps the rest of the query string."""
    request = context.get("request")
    query = request.GET.copy() if request is not None else QueryDict(mutable=True)
    return page_links(page, query, parameter)


@register.inclusion_tag("portal/parts/pagination.html")
def table_pagination(table: Table) -> dict[str, Any]:
    return page_links(table.page, table.query.copy(), table.page_parameter) | {"target": table.element_id}


def page_links(page: Page, query: QueryDict, parameter: str) -> dict[str, Any]:
    def url(n: int) -> str:
        query[parameter] = str(n)
        return f"?{query.urlencode()}"

    numbers = page.paginator.get_elided_page_range(page.number, on_each_side=1, on_ends=1)
    return {
        "page": page,
        "previous": url(page.previous_page_number()) if page.has_previous() else "",
        "next": url(page.next_page_number()) if page.has_next() else "",
        "numbers": [
            {"text": n, "url": url(n) if isinstance(n, int) else "", "here": n == page.number}
            for n in numbers
        ],
    }


@register.inclusion_tag("portal/parts/held_rows.html")
def held_rows(columns: Any, rows: Any, choose: bool = False) -> dict[str, Any]:
    """{% held_rows columns rows choose=True %}: a file's rows as they came, wrong cells marked, editable in place.

    columns: names. rows: id, row_number, values {column: text}, problems [{column, found, expected}].
    Inputs are named "row-<id>-<column>"; put the tag inside your own form. With `choose` every row has a tick,
    sent as "chosen".
    """
    names = list(columns)
    return {"columns": names, "rows": [_held_row(row, names) for row in rows], "choose": choose}


def _held_row(row: Any, columns: list[str]) -> dict[str, Any]:
    get = row.get if isinstance(row, dict) else lambda name: getattr(row, name, None)
    values, problems = get("values") or {}, get("problems") or []
    wrong: dict[str | None, list[str]] = {}
    for problem in problems:
        wrong.setdefault(problem.get("column"), []).append(_held_words(problem, values))
    cells = [
        {
            "column": c,
            "value": "" if is_missing(values.get(c)) else values.get(c),
            "problem": "; ".join(wrong.get(c, [])),
        }
        for c in columns
    ]
    other = [text for column, texts in wrong.items() if column not in columns for text in texts]
    return {"id": get("id"), "number": get("row_number"), "cells": cells, "other": other}


def _held_words(problem: dict[str, Any], values: dict[str, Any]) -> str:
    """What is expected; and what was found, where the cell itself does not show it."""
    found, expected = str(problem.get("found", "")), str(problem.get("expected", ""))
    in_sight = found in ("", "blank") or found == str(values.get(problem.get("column"), ""))
    return f"expected {expected}" if in_sight else f"found {found}; expected {expected}"

"""Template parts used on every page. The living page /look/ shows each with the tag that makes it."""

from typing import Any

from django import template
from django.core.paginator import Page
from django.forms import BaseForm, BaseFormSet, BoundField
from django.http import QueryDict
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from portal.calc import shown
from portal.cautions import FEWEST_TREES_FOR_RANKING, caution_text
from portal.tables import MISSING, Table, is_missing

register = template.Library()

CLONE_COLOURS = 8
GRADE_STEPS = 10
ROOMS = (
    ("Trees", "trees"),
    ("Sawing", "sawing"),
    ("Boards", "boards"),
    ("Clones", "clones"),
    ("Files", "files"),
)
SIGN_WORDS = {"note": "Note", "right": "Done", "caution": "Look at this", "wrong": "Not done"}
LEVEL_SIGNS = {"debug": "note", "info": "note", "success": "right", "warning": "caution", "error": "wrong"}


# Numbers and words ------------------------------------------------------------------------------


@register.filter
def number(value: Any, digits: int | None = None) -> str:
    """{{ v|number:2 }}: thousands parted, true minus; without digits three significant figures."""
    return shown.number(value, digits) or MISSING


@register.filter
def cubic_metres(value: Any) -> str:
    """{{ v|cubic_metres }}: a volume with its unit."""
    return shown.cubic_metres(value) or MISSING


@register.filter
def percent(value: Any, digits: int = 1) -> str:
    """{{ share|percent:1 }}: a share 0…1 as a percentage."""
    return shown.percent(value, digits) or MISSING


@register.filter
def interval_percent(value: Any, digits: int = 1) -> str:
    """{{ pair|interval_percent:1 }}: (low, high) as shares -> "48.1 to 54.0 %"."""
    low, high = _pair(value)
    return shown.interval_percent(low, high, digits) or MISSING


@register.filter
def interval(value: Any, digits: int | None = None) -> str:
    """{{ pair|interval:1 }}: (low, high) -> "306.2 to 341.0"."""
    low, high = _pair(value)
    return shown.interval(low, high, digits) or MISSING


@register.filter
def money(value: Any, currency: str = "") -> str:
    """{{ v|money:"EUR" }}: an amount after its currency code."""
    return shown.money(value, currency) or MISSING


@register.filter
def counted(value: Any, nouns: str) -> str:
    """{{ n|counted:"tree" }} or {{ n|counted:"study,studies" }}: a count with its noun."""
    one, _, many = nouns.partition(",")
    return shown.counted(value, one, many or None) or MISSING


@register.filter
def missing(value: Any) -> Any:
    """{{ v|missing }}: the value, or an em dash that screen readers call "missing"."""
    return MISSING if is_missing(value) else value


def _pair(value: Any) -> tuple[Any, Any]:
    if value is None:
        return None, None
    if hasattr(value, "low") and hasattr(value, "high"):
        return value.low, value.high
    low, high = value
    return low, high


# Colours ----------------------------------------------------------------------------------------


@register.simple_tag
def clone_colour(index: int | None) -> str:
    """Class of the clone at a place (0, 1, …) of the trial's list: "clone-3"; from the ninth on "clone-0 again"."""
    if index is None:
        return "clone-none"
    turn, place = divmod(int(index), CLONE_COLOURS)
    return f"clone-{place} again" if turn else f"clone-{place}"


@register.simple_tag
def grade_colour(place: int, count: int, reject: bool = False) -> str:
    """Class of a grade by its place (0 is best) among `count` grades: "grade-4", with "reject" added for hatching."""
    last = max(1, int(count) - 1)
    step = round((GRADE_STEPS - 1) * min(max(int(place), 0), last) / last) if count > 1 else 0
    return f"grade-{step} reject" if reject else f"grade-{step}"


@register.inclusion_tag("portal/parts/key.html")
def key(name: str, css: str) -> dict[str, Any]:
    """{% key clone.code css %}: a swatch with its word."""
    return {"name": name, "css": css}


# Page -------------------------------------------------------------------------------------------


@register.inclusion_tag("portal/parts/navigation.html", takes_context=True)
def main_navigation(context: template.Context) -> dict[str, Any]:
    """The five rooms. A context variable `navigation` (dicts label, url, here) takes their place."""
    request = context.get("request")
    path = getattr(request, "path", "")
    rooms = context.get("navigation")
    if rooms is None:
        rooms = []
        for label, name in ROOMS:
            try:
                url = reverse(name)
            except NoReverseMatch:
                continue
            rooms.append({"label": label, "url": url, "here": path.startswith(url)})
    return {"rooms": rooms}


@register.inclusion_tag("portal/parts/trail.html")
def trail(*steps: Any) -> dict[str, Any]:
    """{% trail trial.name trial_url site.code site_url tree.code %}: label and url in turn; the last is here."""
    pairs = [(steps[i], steps[i + 1] if i + 1 < len(steps) else "") for i in range(0, len(steps), 2)]
    return {"steps": [{"label": label, "url": url} for label, url in pairs if label]}


@register.inclusion_tag("portal/parts/page_head.html")
def page_head(title: Any, standing: Any = "", code: bool = False) -> dict[str, Any]:
    """{% page_head log.code standing="Sawn 3 June, 14 boards" code=True %}: the page's one h1 and where it stands."""
    return {"title": title, "standing": standing, "code": code}


@register.inclusion_tag("portal/parts/cautions.html")
def caution(*ids: str) -> dict[str, Any]:
    """{% caution "C5" "C6" %}: the cautions in full; they cannot be dismissed."""
    return {"cautions": [{"id": i, "text": caution_text(i)} for i in ids]}


@register.inclusion_tag("portal/parts/message.html")
def message(sign: str, text: Any) -> dict[str, Any]:
    """{% message "wrong" "Nothing was stored." %}: sign is note, right, caution or wrong."""
    return {"sign": sign, "word": SIGN_WORDS[sign], "text": text}


@register.inclusion_tag("portal/parts/messages.html")
def page_messages(messages: Any) -> dict[str, Any]:
    """{% page_messages messages %}: what the last request left to say (base.html does it)."""
    signs = [(LEVEL_SIGNS.get(getattr(m, "level_tag", ""), "note"), m) for m in messages or ()]
    return {"messages": [{"sign": sign, "word": SIGN_WORDS[sign], "text": str(m)} for sign, m in signs]}


@register.simple_block_tag
def empty_state(content: str, title: str) -> SafeString:
    """{% empty_state title="No logs yet" %}<p>what would stand here; the one thing to do</p>{% endempty_state %}"""
    return format_html('<div class="empty"><h2 class="empty-title">{}</h2>{}</div>', title, content)


@register.simple_block_tag
def unfold(content: str, title: str, open: bool = False) -> SafeString:
    """{% unfold title="How this is computed" %}…{% endunfold %}: text that may stay folded. Never a caution."""
    return format_html(
        '<details class="unfold"{}><summary>{}</summary><div class="unfold-body">{}</div></details>',
        mark_safe(" open") if open else "",
        title,
        content,
    )


# Figures ----------------------------------------------------------------------------------------


@register.inclusion_tag("portal/parts/figure.html")
def figure(
    label: str,
    value: Any,
    kind: str = "number",
    unit: str = "",
    digits: int | None = None,
    low: Any = None,
    high: Any = None,
    trees: int | None = None,
    boards: int | None = None,
    logs: int | None = None,
    rows: str = "",
    level: int = 95,
    note: str = "",
) -> dict[str, Any]:
    """One estimate with its sample size and interval.

    {% figure "Graded recovery" r.value kind="percent" low=r.low high=r.high trees=r.trees boards=r.boards rows=url %}
    kind: number, percent (of a share), cubic_metres, money (unit is the currency, note "per m³").
    Without an interval it says so; below five trees it carries caution C11.
    """
    text, written_unit = _figure_words(value, kind, unit, digits)
    few = trees is not None and trees < FEWEST_TREES_FOR_RANKING
    counts = [(trees, "tree"), (logs, "log"), (boards, "board")]
    return {
        "label": label,
        "value": text,
        "unit": written_unit,
        "interval": _figure_interval(
            low, high, kind, written_unit, decimals(text) if digits is None else digits
        ),
        "level": level,
        "counts": [words for n, noun in counts if (words := shown.counted(n, noun))],
        "rows": rows,
        "note": note,
        "few": {"id": "C11", "text": caution_text("C11")} if few else None,
    }


def _figure_words(value: Any, kind: str, unit: str, digits: int | None) -> tuple[Any, str]:
    if kind == "percent":
        text = shown.percent(value, 1 if digits is None else digits)
        return (text[:-2] if text else MISSING), "%"
    if kind == "cubic_metres":
        return shown.cubic_metres(value, unit=False) or MISSING, "m³"
    if kind == "money":
        return shown.money(value, digits=digits) or MISSING, unit
    return shown.number(value, digits) or MISSING, unit


def decimals(text: str) -> int | None:
    """Decimals of a written number: an interval is written as its estimate is. None for a missing one."""
    if text == MISSING:
        return None
    return len(text.partition(".")[2])


def _figure_interval(low: Any, high: Any, kind: str, unit: str, digits: int | None) -> str | None:
    if kind == "percent":
        return shown.interval_percent(low, high, 1 if digits is None else digits)
    return shown.interval(low, high, digits, unit)


@register.inclusion_tag("portal/parts/tally.html")
def tally(label: str, count: Any, url: str = "", note: str = "") -> dict[str, Any]:
    """{% tally "Boards graded" 214 url note="of 340" %}: a plain count, which needs no interval."""
    return {"label": label, "count": shown.number(count, 0) or MISSING, "url": url, "note": note}


@register.inclusion_tag("portal/parts/facts.html")
def facts(*pairs: Any) -> dict[str, Any]:
    """{% facts "Length" log.length_m "Sawn" log.sawn_on %}: label and value in turn; what is missing says so."""
    return {"pairs": [(pairs[i], missing(pairs[i + 1])) for i in range(0, len(pairs) - 1, 2)]}


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
def held_rows(columns: Any, rows: Any, check_url: str = "") -> dict[str, Any]:
    """{% held_rows columns rows %}: a file's rows as they came, wrong cells marked, editable in place.

    columns: names. rows: dicts with id, row_number, values {column: text}, problems [{column, found, expected}].
    Inputs are named "row-<id>-<column>"; put the tag inside your own form.
    """
    return {"columns": list(columns), "rows": [_held_row(row, list(columns)) for row in rows]}


def _held_row(row: Any, columns: list[str]) -> dict[str, Any]:
    get = row.get if isinstance(row, dict) else lambda name: getattr(row, name, None)
    values, problems = get("values") or {}, get("problems") or []
    wrong: dict[str | None, list[str]] = {}
    for problem in problems:
        wrong.setdefault(problem.get("column"), []).append(str(problem.get("expected", "")))
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


# Forms ------------------------------------------------------------------------------------------


@register.inclusion_tag("portal/parts/field.html")
def field(field: BoundField, unit: str = "", hint: str = "", label: str = "") -> dict[str, Any]:
    """{% field form.length_m unit="m" hint="along the axis" %}: label, input, unit, hint, error."""
    unit = unit or getattr(field.field, "unit", "")
    hint = hint or field.help_text
    ids = [
        f"{field.id_for_label or field.auto_id}-{end}"
        for end, on in (("hint", hint), ("error", field.errors))
        if on
    ]
    attrs: dict[str, Any] = {"aria-describedby": " ".join(ids)} if ids else {}
    if field.errors:
        attrs["aria-invalid"] = "true"
    kind = getattr(field.field.widget, "input_type", None) or type(field.field.widget).__name__.lower()
    choices = kind in {"radio", "checkboxselectmultiple"} or type(field.field.widget).__name__ in {
        "RadioSelect",
        "CheckboxSelectMultiple",
    }
    return {
        "field": field,
        "label": label or field.label,
        "unit": unit,
        "hint": hint,
        "input": field.as_widget(attrs=attrs),
        "layout": "choices" if choices else "tick" if kind == "checkbox" else "line",
        "id": field.id_for_label or field.auto_id,
        "optional": not field.field.required and not choices and kind != "checkbox",
    }


@register.inclusion_tag("portal/parts/form_fields.html")
def form_fields(form: BaseForm) -> dict[str, Any]:
    """{% form_fields form %}: every field of a form, one under the other (hidden ones too)."""
    return {"form": form}


@register.inclusion_tag("portal/parts/error_summary.html")
def error_summary(*forms: BaseForm | BaseFormSet) -> dict[str, Any]:
    """{% error_summary form %}: all errors on top, each a link to its field. Nothing when there are none."""
    errors: list[dict[str, Any]] = []
    for form in forms:
        members = form.forms if isinstance(form, BaseFormSet) else [form]
        if isinstance(form, BaseFormSet):
            errors += [{"label": "", "text": text, "href": ""} for text in form.non_form_errors()]
        for member in members:
            errors += _form_errors(member)
    return {"errors": errors}


def _form_errors(form: BaseForm) -> list[dict[str, Any]]:
    errors = [{"label": "", "text": text, "href": ""} for text in form.non_field_errors()]
    for bound in form:
        href = f"#{bound.id_for_label or bound.auto_id}"
        errors += [{"label": bound.label, "text": text, "href": href} for text in bound.errors]
    return errors


@register.inclusion_tag("portal/parts/drop_zone.html")
def drop_zone(
    name: str = "files",
    label: str = "Drop files here, or choose them",
    accept: str = ".csv,.xlsx",
    multiple: bool = False,
    hint: str = "",
    limit_mb: int = 50,
) -> dict[str, Any]:
    """{% drop_zone name="file" hint="…" %}: a file input that also takes dropped files. Inside a multipart form."""
    return {
        "name": name,
        "label": label,
        "accept": accept,
        "multiple": multiple,
        "hint": hint,
        "limit_mb": limit_mb,
        "id": f"id_{name}",
    }


@register.inclusion_tag("portal/parts/progress.html")
def progress(
    label: str,
    done: Any = None,
    total: Any = None,
    what: str = "row",
    remaining: str = "",
    stop_url: str = "",
) -> dict[str, Any]:
    """{% progress "Storing boards" 340 1200 what="board" remaining="about 2 minutes" stop_url=url %}

    Without a total it says that work is going on without saying how far it is.
    """
    n, of = shown.as_number(done), shown.as_number(total)
    words = f"{shown.number(n, 0)} of {shown.counted(of, what)}" if n is not None and of else ""
    return {
        "label": label,
        "done": n,
        "total": of,
        "words": words,
        "remaining": remaining,
        "stop_url": stop_url,
    }


# Pictures ---------------------------------------------------------------------------------------


@register.inclusion_tag("portal/parts/picture.html")
def picture(wide: str, narrow: str = "", note: str = "") -> dict[str, Any]:
    """{% picture wide_svg narrow_svg note="Sawn 3 June" %}: SVG made by */calc/pictures.py, one layout per width."""
    return {"wide": mark_safe(wide), "narrow": mark_safe(narrow), "note": note}


@register.simple_tag
def joined(values: Any, last: str = "and") -> SafeString:
    """{% joined codes %}: "L-1, L-2 and L-3"."""
    words = [str(v) for v in values]
    head, tail = words[:-1], words[-1:]
    glue = format_html(" {} ", last) if head and tail else ""
    return format_html(
        "{}{}{}", format_html_join(", ", "{}", ((w,) for w in head)), glue, tail[0] if tail else ""
    )

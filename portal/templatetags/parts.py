"""Template parts used on every page. The living page /look/ shows each with the tag that makes it."""

from typing import Any

from django import template
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from portal.calc import shown
from portal.cautions import FEWEST_TREES_FOR_RANKING, caution_text
from portal.tables import MISSING
from portal.templatetags import parts_forms, parts_numbers, parts_tables
from portal.templatetags.parts_numbers import missing

register = template.Library()
for part in (
    parts_numbers,
    parts_tables,
    parts_forms,
):  # one built-in library, so that no page has to load any
    register.tags.update(part.register.tags)
    register.filters.update(part.register.filters)

ROOMS = (
    ("Trees", "trees"),
    ("Sawing", "sawing"),
    ("Boards", "boards"),
    ("Clones", "clones"),
    ("Files", "files"),
)
SIGN_WORDS = {"note": "Note", "right": "Done", "caution": "Look at this", "wrong": "Not done"}
LEVEL_SIGNS = {"debug": "note", "info": "note", "success": "right", "warning": "caution", "error": "wrong"}


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
    """{% trail trial.name trial_url site.code site_url tree.code %}: label and url in turn."""
    pairs = [(steps[i], steps[i + 1] if i + 1 < len(steps) else "") for i in range(0, len(steps), 2)]
    return {"steps": [{"label": label, "url": url} for label, url in pairs if label]}


@register.inclusion_tag("portal/parts/page_head.html")
def page_head(title: Any, standing: Any = "", code: bool = False) -> dict[str, Any]:
    """{% page_head log.code standing="Sawn 3 June" code=True %}: the page's one h1 and where it stands."""
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
    """{% empty_state title="No logs yet" %}<p>what would stand here, what to do</p>{% endempty_state %}"""
    return format_html('<div class="empty"><h2 class="empty-title">{}</h2>{}</div>', title, content)


@register.simple_block_tag
def unfold(content: str, title: str, open: bool = False) -> SafeString:
    """{% unfold title="How this is computed" %}…{% endunfold %}: text that may stay folded, no caution."""
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

    {% figure "Graded recovery" value kind="percent" low=low high=high trees=24 boards=612 rows=url %}
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
    """{% facts "Length" log.length_m "Sawn" log.sawn_on %}: label and value in turn."""
    return {"pairs": [(pairs[i], missing(pairs[i + 1])) for i in range(0, len(pairs) - 1, 2)]}


# Pictures ---------------------------------------------------------------------------------------


@register.inclusion_tag("portal/parts/picture.html")
def picture(wide: str, narrow: str = "", note: str = "") -> dict[str, Any]:
    """{% picture wide narrow note="Sawn 3 June" %}: SVG made by */calc/pictures.py, one layout per width."""
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

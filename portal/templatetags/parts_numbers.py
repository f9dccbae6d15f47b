"""Parts of the templates: numbers, words and colours. Gathered by portal.templatetags.parts."""

from typing import Any

from django import template

from portal.calc import shown
from portal.tables import MISSING, is_missing

register = template.Library()

CLONE_COLOURS = 8
GRADE_STEPS = 10


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
    """Class of the clone at a place (0, 1, …) of its trial: "clone-3"; from the ninth on "clone-0 again"."""
    if index is None:
        return "clone-none"
    turn, place = divmod(int(index), CLONE_COLOURS)
    return f"clone-{place} again" if turn else f"clone-{place}"


@register.simple_tag
def grade_colour(place: int, count: int, reject: bool = False) -> str:
    """Class of a grade by its place (0 is best) among `count`: "grade-4"; "grade-9 reject" is hatched."""
    last = max(1, int(count) - 1)
    step = round((GRADE_STEPS - 1) * min(max(int(place), 0), last) / last) if count > 1 else 0
    return f"grade-{step} reject" if reject else f"grade-{step}"


@register.inclusion_tag("portal/parts/key.html")
def key(name: str, css: str) -> dict[str, Any]:
    """{% key clone.code css %}: a swatch with its word."""
    return {"name": name, "css": css}

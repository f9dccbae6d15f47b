"""How numbers are written for people. The same words on pages, in pictures and in prints.

Thousands are parted by a narrow space, units stand after a no-break space, the minus is a true minus,
and a missing value is None: the caller decides how an absence looks in its medium.
"""

import math
from typing import Any, Final

NARROW: Final = "\u202f"
HARD: Final = "\u00a0"
MINUS: Final = "\u2212"


def as_number(value: Any) -> float | None:
    """The value as a finite float, or None for what is missing (None, NaN, infinite, empty, not a number)."""
    if value is None or isinstance(value, bool):
        return None
    try:
        number_ = float(value)
    except (TypeError, ValueError):
        return None
    return number_ if math.isfinite(number_) else None


def number(value: Any, digits: int | None = None) -> str | None:
    """A number with `digits` decimals (None: as many as three significant figures need), e.g. "12 480.5"."""
    number_ = as_number(value)
    if number_ is None:
        return None
    if digits is None:
        digits = significant_decimals(number_, figures=3)
    text = f"{number_:,.{digits}f}"
    if text.startswith("-"):
        text = text[1:] if not any(c in "123456789" for c in text) else MINUS + text[1:]
    return text.replace(",", NARROW)


def significant_decimals(value: float, figures: int) -> int:
    """Decimals that show `figures` significant figures of a value: 0 for large values, at most 6."""
    if value == 0:
        return 0
    return min(6, max(0, figures - 1 - math.floor(math.log10(abs(value)))))


def cubic_metres(value: Any, unit: bool = True) -> str | None:
    """A volume in m³: three decimals below 10 (a litre matters to a log), then two, one and none."""
    number_ = as_number(value)
    if number_ is None:
        return None
    size = abs(number_)
    digits = 4 if 0 < size < 0.1 else 3 if size < 10 else 2 if size < 100 else 1 if size < 1000 else 0
    text = number(number_, digits)
    return f"{text}{HARD}m³" if unit else text


def percent(fraction: Any, digits: int = 1) -> str | None:
    """A share (0.645) as a percentage ("64.5 %")."""
    number_ = as_number(fraction)
    return None if number_ is None else f"{number(100 * number_, digits)}{HARD}%"


def interval(low: Any, high: Any, digits: int | None = None, unit: str = "") -> str | None:
    """An interval in words, "306 to 341 €/m³". None unless both ends are known."""
    lo, hi = as_number(low), as_number(high)
    if lo is None or hi is None:
        return None
    if digits is None:
        digits = significant_decimals(max(abs(lo), abs(hi)), figures=3)
    return f"{number(lo, digits)} to {number(hi, digits)}{HARD + unit if unit else ''}"


def interval_percent(low: Any, high: Any, digits: int = 1) -> str | None:
    """An interval of shares in percent, "48.1 to 54.0 %". None unless both ends are known."""
    lo, hi = as_number(low), as_number(high)
    if lo is None or hi is None:
        return None
    return interval(100 * lo, 100 * hi, digits, "%")


def money(value: Any, currency: str = "", digits: int | None = None) -> str | None:
    """An amount after its currency code, "EUR 234.50"; whole units from 1000 on unless `digits` is given."""
    number_ = as_number(value)
    if number_ is None:
        return None
    if digits is None:
        digits = 2 if abs(number_) < 1000 else 0
    text = number(number_, digits)
    return f"{currency}{HARD}{text}" if currency else text


def counted(count: Any, one: str, many: str | None = None) -> str | None:
    """A count with its noun: "1 tree", "12 trees", "3 studies" (`many` for irregular plurals)."""
    number_ = as_number(count)
    if number_ is None:
        return None
    return f"{number(number_, 0)}{HARD}{one if number_ == 1 else (many or one + 's')}"

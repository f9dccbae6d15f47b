"""Dates as people type them and as spreadsheets store them."""

import datetime as dt
import re
from collections.abc import Iterable
from typing import Literal, NamedTuple

DayOrder = Literal["day first", "month first", "unknown", "mixed"]
"""Order of day and month in dates like 03/04/2025, as the file's unmistakable dates show it."""

TIME = r"(?:[T ][0-9:.]+(?: ?[AaPp][Mm])?(?:Z|[+-][0-9:]+)?)?"
ISO = re.compile(r"(?P<y>[0-9]{4})[-/.](?P<m>[0-9]{1,2})[-/.](?P<d>[0-9]{1,2})" + TIME)
BASIC_ISO = re.compile(r"(?P<y>[12][0-9]{3})(?P<m>[0-9]{2})(?P<d>[0-9]{2})")
POINTS = re.compile(r"(?P<d>[0-9]{1,2})\. ?(?P<m>[0-9]{1,2})\. ?(?P<y>[0-9]{4})" + TIME)
DOUBTFUL = re.compile(r"(?P<a>[0-9]{1,2})[/-](?P<b>[0-9]{1,2})[/-](?P<y>[0-9]{4})" + TIME)
SERIAL = re.compile(r"[0-9]{5}(?:\.[0-9]+)?")

SPREADSHEET_DAY_ZERO = dt.date(1899, 12, 30)
FIRST_SERIAL = 10_000
"""Smaller day numbers (before 1927) are more likely years or counts than dates."""
EARLIEST = dt.date(1900, 1, 1)
EXPECTED = "a date as year-month-day, for example 2025-03-14"


class DateRead(NamedTuple):
    """A date understood, or what is expected instead. `doubtful`: read by the file's order of day, month."""

    value: dt.date | None = None
    expected: str | None = None
    doubtful: bool = False
    serial: bool = False


def day_order(texts: Iterable[str]) -> DayOrder:
    """What the dates with slashes or hyphens show that can be read in one way only."""
    seen: set[DayOrder] = set()
    for text in texts:
        match = DOUBTFUL.fullmatch(text.strip())
        if match:
            first, second = int(match["a"]), int(match["b"])
            if first > 12 >= second:
                seen.add("day first")
            elif second > 12 >= first:
                seen.add("month first")
    if len(seen) == 2:
        return "mixed"
    return seen.pop() if seen else "unknown"


def read_date(cell: object, order: DayOrder, today: dt.date) -> DateRead:
    """The date in a cell: ISO 8601, day.month.year, a spreadsheet's date or day number, slashes if clear.

    Dates before 1900 and more than a day after `today` are refused. Never raises.
    """
    if isinstance(cell, dt.datetime):
        return _checked(cell.date(), today)
    if isinstance(cell, dt.date):
        return _checked(cell, today)
    if isinstance(cell, int | float):
        return _from_serial(float(cell), today)
    if not isinstance(cell, str):
        return DateRead(expected=EXPECTED)
    text = cell.replace("\xa0", " ").strip()
    if SERIAL.fullmatch(text):
        return _from_serial(float(text), today)
    for pattern in (ISO, BASIC_ISO, POINTS):
        match = pattern.fullmatch(text)
        if match:
            return _from_parts(match["y"], match["m"], match["d"], today)
    match = DOUBTFUL.fullmatch(text)
    return _from_doubtful(match, order, today) if match else DateRead(expected=EXPECTED)


def _from_parts(year: str, month: str, day: str, today: dt.date) -> DateRead:
    try:
        return _checked(dt.date(int(year), int(month), int(day)), today)
    except ValueError:
        return DateRead(expected=f"a date of the calendar, {EXPECTED.removeprefix('a date ')}")


def _from_doubtful(match: re.Match[str], order: DayOrder, today: dt.date) -> DateRead:
    first, second, year = match["a"], match["b"], match["y"]
    if int(first) > 12 or first.zfill(2) == second.zfill(2):
        return _from_parts(year, second, first, today)
    if int(second) > 12:
        return _from_parts(year, first, second, today)
    if order == "day first":
        return _from_parts(year, second, first, today)._replace(doubtful=True)
    if order == "month first":
        return _from_parts(year, first, second, today)._replace(doubtful=True)
    one, other = f"{year}-{second.zfill(2)}-{first.zfill(2)}", f"{year}-{first.zfill(2)}-{second.zfill(2)}"
    return DateRead(expected=f"a date that can be read in one way only: {one} or {other}?")


def _from_serial(number: float, today: dt.date) -> DateRead:
    if not FIRST_SERIAL <= number < 3_000_000:
        return DateRead(expected=EXPECTED)
    return _checked(SPREADSHEET_DAY_ZERO + dt.timedelta(days=int(number)), today)._replace(serial=True)


def _checked(day: dt.date, today: dt.date) -> DateRead:
    if day < EARLIEST:
        return DateRead(expected="a date from 1900 on")
    if day > today + dt.timedelta(days=1):
        return DateRead(expected=f"a date not in the future (today is {today.isoformat()})")
    return DateRead(day)

"""Numbers as people type them: decimal points and commas, thousands separators, units behind the number.

The decimal sign is decided for the whole file, by the numbers that allow only one reading ("12,5" has a
decimal comma, "1.234,5" too, "0.5" a decimal point). What allows two readings follows the file, else the
limits of its column, else it is asked about.
"""

import math
import re
from collections.abc import Iterable
from typing import Literal, NamedTuple

from portal.calc.file_spec import Column, shown

Shape = Literal["sure", "point", "comma", "no number"]
"""How sure a text is: one reading, or exactly three digits behind a single point or comma."""

DecimalStyle = Literal["point", "comma", "none", "mixed"]
"""What the sure numbers of a file show."""


class NumberText(NamedTuple):
    """A text seen as a number. `grouped`: the reading of a doubtful sign as thousands separator."""

    shape: Shape
    value: float = math.nan
    grouped: float = math.nan
    evidence: Literal["", "point", "comma"] = ""
    unit: str = ""


class Read(NamedTuple):
    """A number understood, or what is wrong with it (`found` None means: the cell as it stands).

    `way`: how a doubtful or adorned number was read: "" plainly, "unit", "limits", or "style" of the file.
    """

    value: float = math.nan
    expected: str | None = None
    way: Literal["", "unit", "limits", "style"] = ""


LONGEST_NUMBER = 60
"""Characters; also keeps the patterns below from working long on a cell made to be slow."""
PLAIN = re.compile(r"[0-9]{1,15}(?:\.(?:[0-9]{1,2}|[0-9]{4,15}))?")
PARTS = re.compile(
    r"(?P<sign>[+-]?)(?P<body>[0-9.,' ]*[0-9][0-9.,']*)"
    r"(?:[eE](?P<power>[+-]?[0-9]{1,4}))?(?P<unit> ?(?:[%°]|[^\W\d_]+[23²³]?(?:/[^\W\d_]+[23²³]?)?))?"
)
WHOLE = re.compile(r"[0-9]+")
ONE_SIGN = re.compile(r"(?P<before>[0-9]*)(?P<sign>[.,])(?P<after>[0-9]*)")
GROUPED = re.compile(
    r"(?P<groups>[0-9]{1,3}(?:(?P<by>[.,' ])[0-9]{3})(?:(?P=by)[0-9]{3})*)"
    r"(?:(?P<sign>[.,])(?P<after>[0-9]+))?"
)
LIKE_ASCII = str.maketrans(
    {"\xa0": " ", "\u202f": " ", "\u2009": " ", "\u2007": " ", "\u2212": "-", "\u2019": "'", "\u02bc": "'"}
)
NO_NUMBER = NumberText("no number")
UNIT_SPELLINGS = str.maketrans({"³": "3", "²": "2", "µ": "u", " ": None})


def number_text(text: str) -> NumberText:
    """Every reading of a text as a number; a unit behind it is kept apart. Never raises."""
    if len(text) > LONGEST_NUMBER:
        return NO_NUMBER
    if PLAIN.fullmatch(text):
        return NumberText("sure", float(text), evidence="point" if "." in text else "")
    parts = PARTS.fullmatch(text.translate(LIKE_ASCII).strip())
    if parts is None:
        return NO_NUMBER
    unit = (parts["unit"] or "").strip()
    power = f"e{parts['power']}" if parts["power"] else ""
    sign = parts["sign"]
    body = parts["body"].strip()
    seen = _whole_or_one_sign(body, sign, power) or _grouped(body, sign, power)
    return seen._replace(unit=unit) if seen else NO_NUMBER


def _whole_or_one_sign(body: str, sign: str, power: str) -> NumberText | None:
    if WHOLE.fullmatch(body):
        return NumberText("sure", float(f"{sign}{body}{power}"))
    one = ONE_SIGN.fullmatch(body)
    if one is None:
        return None
    before, after = one["before"], one["after"]
    mark: Literal["point", "comma"] = "point" if one["sign"] == "." else "comma"
    if not before and not after:
        return None
    value = float(f"{sign}{before or 0}.{after or 0}{power}")
    if len(after) == 3 and 1 <= len(before) <= 3 and before[0] != "0" and not power:
        return NumberText(mark, value, float(f"{sign}{before}{after}"))
    return NumberText("sure", value, evidence=mark)


def _grouped(body: str, sign: str, power: str) -> NumberText | None:
    """Thousands groups by one sign, and behind them perhaps a decimal sign, which must be another."""
    match = GROUPED.fullmatch(body)
    if match is None or match["sign"] == match["by"] or power:
        return None
    digits = match["groups"].replace(match["by"], "")
    value = float(f"{sign}{digits}.{match['after'] or 0}")
    evidence: Literal["", "point", "comma"] = ""
    if match["sign"]:
        evidence = "point" if match["sign"] == "." else "comma"
    elif match["by"] in ".,":  # "1.234.567": the point groups, so the comma is the decimal sign
        evidence = "comma" if match["by"] == "." else "point"
    return NumberText("sure", value, evidence=evidence)


def decimal_style(numbers: Iterable[NumberText]) -> DecimalStyle:
    """The decimal sign the sure numbers of a file show: one of the two, none, or both ("mixed")."""
    seen = {number.evidence for number in numbers} - {""}
    if len(seen) == 2:
        return "mixed"
    return "point" if "point" in seen else "comma" if "comma" in seen else "none"


def understand(number: NumberText, column: Column, style: DecimalStyle) -> Read:
    """The number as this column takes it, or what is expected instead."""
    if number.shape == "no number":
        return Read(expected=_a_number(column))
    if number.unit and not _same_unit(number.unit, column.unit):
        unit = f"in {column.unit}" if column.unit else "without a unit"
        return Read(expected=f"a number {unit}; convert it and leave the unit out")
    read = _reading(number, column, style)
    if read.expected is not None:
        return read
    complaint = number_complaint(read.value, column)
    if complaint:
        if read.way == "style":
            complaint += f" (read as {read.value:.15g}, as the other numbers of the file are written)"
        return Read(expected=complaint)
    return read._replace(way="unit") if number.unit and not read.way else read


def _reading(number: NumberText, column: Column, style: DecimalStyle) -> Read:
    if number.shape == "sure":
        return Read(number.value)
    if number.shape == "point" and style in ("point", "none"):
        return Read(number.value)
    if number.shape == "comma" and style == "comma":
        return Read(number.value, way="style")
    if style in ("point", "comma"):  # the other sign is this file's decimal sign: here it groups thousands
        return Read(number.grouped, way="style")
    fitting = [value for value in (number.value, number.grouped) if column.within(value)]
    if len(fitting) == 1:
        return Read(fitting[0], way="limits")
    expected = (
        f"a number that can be read in one way only: could be {number.grouped:.15g} or {number.value:.15g}; "
        "write it without thousands separator and with a decimal point"
    )
    return Read(expected=expected)


def number_complaint(value: float, column: Column) -> str | None:
    """What is expected instead of a number this column does not take; None when it takes it."""
    if not math.isfinite(value):
        return _a_number(column)
    if column.within(value):
        return None
    if column.kind == "integer" and value != int(value):
        return "a whole number"
    return f"a number {column.limits_text()}"


def _a_number(column: Column) -> str:
    what = "a whole number" if column.kind == "integer" else "a number"
    unit = f" in {column.unit}" if column.unit else ""
    example = f", for example {column.example}" if column.example else ""
    advice = "" if column.required else "; leave the cell empty when it was not measured"
    return f"{what}{unit}{example}{advice}"


def _same_unit(typed: str, unit: str) -> bool:
    return (
        bool(unit) and typed.translate(UNIT_SPELLINGS).casefold() == unit.translate(UNIT_SPELLINGS).casefold()
    )


def found_text(value: object) -> str:
    """A cell in a message, with a word on what a spreadsheet made of it."""
    text = shown(value)
    is_error = text.startswith("#") and text.endswith(("!", "?", "A"))
    return f"{text} (a spreadsheet error)" if is_error else text

"""What a trait's description must be, whoever writes it."""

import math
import re
from typing import Any

KINDS = ("number", "ordinal", "yes_no", "text")
RESERVED = frozenset({"tree", "measured_on", "assessment", "status", "held_row", "problem"})
"""Other columns of a file of measurements, and those of a list of held rows."""
STATUS_WORDS = ("dead", "missing", "skipped")
CODE = re.compile(r"[a-z][a-z0-9_]{0,39}")
MOST_POINTS = 50


def trait_problems(
    *,
    code: str,
    kind: str,
    minimum: float | None,
    maximum: float | None,
    decimals: int,
    points: Any,
) -> dict[str, str]:
    """Problems by field; empty when the description is sound.

    A code is a column name: small letters, digits and underscores, with the unit at its end where there is one
    ("dbh_mm"). Points of an ordinal scale are [{"value": whole number, "text": words}], each value once.
    """
    problems: dict[str, str] = {}
    if not CODE.fullmatch(code):
        problems["code"] = (
            "Small letters, digits and underscores, a letter first, at most 40: such as dbh_mm."
        )
    elif code in RESERVED:
        problems["code"] = f"{code} is another column of the file of measurements: choose another code."
    if kind not in KINDS:
        problems["kind"] = f"One of {', '.join(KINDS)}."
    for name, limit in (("minimum", minimum), ("maximum", maximum)):
        if limit is not None and not math.isfinite(limit):
            problems[name] = "A finite number, or nothing."
    if not problems and minimum is not None and maximum is not None and maximum < minimum:
        problems["maximum"] = f"Not below the minimum, {minimum:g}."
    if not 0 <= decimals <= 6:
        problems["decimals"] = "From 0 to 6."
    if found := _points_problem(kind, points):
        problems["points"] = found
    return problems


def _points_problem(kind: str, points: Any) -> str:
    if not isinstance(points, list) or len(points) > MOST_POINTS:
        return f"A list of at most {MOST_POINTS} points."
    if kind != "ordinal":
        return "Only an ordinal scale has points." if points else ""
    if len(points) < 2:
        return "An ordinal scale has at least two points, each with a value and words."
    values = []
    for point in points:
        value = point.get("value") if isinstance(point, dict) else None
        if not isinstance(value, int) or isinstance(value, bool) or abs(value) > 1000:
            return "Each point needs a whole number as its value."
        if not isinstance(point.get("text"), str) or not point["text"].strip():
            return f"Point {value} needs words that say when it is given."
        values.append(value)
    return "" if len(set(values)) == len(values) else "Each value once."

"""Reading the rules of a rule set document, and saying all that is wrong with it, key by key."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import fields
from fractions import Fraction
from typing import Any, Final, cast

from grading.calc.feature_kinds import members_of
from grading.calc.rule_limits import (
    METRICS,
    ORIGINS,
    PLACES,
    WARP_KINDS,
    GradeRule,
    GradingRules,
    Limit,
    Metric,
    PieceSizes,
    Place,
    Price,
)

POSITIVE: Final = frozenset(
    {"length_module_mm", "cut_step_mm", "min_length_mm", "min_width_mm", "rip_step_mm"}
)
FEWEST_STEP_MM: Final = {"length_module_mm": 1.0, "cut_step_mm": 1.0, "rip_step_mm": 1.0}
LIMIT_KEYS: Final = frozenset(
    {
        "kinds",
        "place",
        "metric",
        "limit",
        "origin",
        "source",
        "clause",
        "window_mm",
        "below_mm",
        "when_margin_above",
        "over_mm",
        "per_width_mm",
    }
)
PRICE_KEYS: Final = frozenset({"grade", "price_per_m3", "min_width_mm", "max_width_mm", "min_thickness_mm"})


class RuleProblems(ValueError):
    """What is wrong with a document: `problems` are pairs of a key ("limits 3, metric") and a sentence."""

    def __init__(self, problems: Sequence[tuple[str, str]]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(f"{key}: {sentence}" for key, sentence in problems))


class _Reader:
    """Gathers problems while a document is read, so that all of them come at once."""

    def __init__(self) -> None:
        self.problems: list[tuple[str, str]] = []

    def wrong(self, key: str, sentence: str) -> None:
        self.problems.append((key, sentence))

    def number(self, key: str, value: object, *, least: float = 0.0, above: float | None = None) -> float:
        """A finite number at least (or above) something; a problem and NaN otherwise."""
        number = math.nan
        if isinstance(value, int | float) and not isinstance(value, bool):
            number = float(value)
        if not math.isfinite(number):
            self.wrong(key, f"found {value!r}; expected a number")
            return math.nan
        if above is not None and number <= above:
            self.wrong(key, f"found {number:g}; expected a number above {above:g}")
        elif above is None and number < least:
            self.wrong(key, f"found {number:g}; expected a number at least {least:g}")
        return number

    def optional(self, key: str, table: Mapping[str, Any], name: str, least: float = 0.0) -> float | None:
        value = table.get(name)
        return None if value in (None, "") else self.number(f"{key}, {name}", value, least=least)

    def tables(self, content: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
        value = content.get(name, [])
        if not isinstance(value, list) or not all(isinstance(t, Mapping) for t in value):
            self.wrong(name, "expected a list of tables")
            return []
        return value

    def unknown_keys(self, key: str, table: Mapping[str, Any], known: frozenset[str]) -> None:
        for name in sorted(set(table) - known):
            self.wrong(f"{key}, {name}", f"unknown; known are {', '.join(sorted(known))}")


def read_rules(content: Mapping[str, Any]) -> GradingRules:
    """The rules in a document that was parsed from TOML or JSON. Raises RuleProblems with all that is wrong.

    A document with grades but no limits cannot grade and is refused here; `read_rule_set` still reads its names. Limits
    that are not filled in are read, and the grade they belong to is then not `gradable`.
    """
    reader = _Reader()
    piece = _piece(reader, content.get("piece", {}))
    grades = _grades(reader, reader.tables(content, "grades"), piece.min_length_mm)
    limits = _limits(reader, reader.tables(content, "limits"), grades)
    prices = _prices(reader, reader.tables(content, "prices"), grades)
    for name in ("code", "title"):
        if not isinstance(content.get(name), str) or not content[name].strip():
            reader.wrong(name, "expected a text")
    if not limits and not any(key.startswith("limits") for key, _ in reader.problems):
        reader.wrong("limits", "expected at least one limit")
    version = content.get("version", 1)
    if not isinstance(version, int) or version < 1:
        reader.wrong("version", "expected a whole number from 1 up")
    if reader.problems:
        raise RuleProblems(reader.problems)
    texts = {n: str(content.get(n, "")) for n in ("purpose", "origin", "caution", "edition")}
    return GradingRules(content["code"], content["title"], version, grades, limits, piece, prices, **texts)


def _grades(
    reader: _Reader, tables: Sequence[Mapping[str, Any]], min_length_mm: float
) -> tuple[GradeRule, ...]:
    found: list[GradeRule] = []
    for at, table in enumerate(tables, start=1):
        code = table.get("code")
        if not isinstance(code, str) or not code.strip():
            reader.wrong(f"grades {at}, code", "expected a text")
            continue
        if code in {g.code for g in found}:
            reader.wrong(f"grades {at}, code", f"{code} stands twice")
        reject = bool(table.get("reject", False))
        if not reject and any(g.reject for g in found):
            reader.wrong(f"grades {at}, code", "grades that reject come last")
        shortest = reader.optional(f"grades {at}", table, "min_length_mm", least=1)
        title, text = str(table.get("title", code)), str(table.get("description", ""))
        found.append(GradeRule(code, title, text, reject, min_length_mm if shortest is None else shortest))
    if not any(not g.reject for g in found):
        reader.wrong("grades", "expected at least one grade that accepts something")
    return tuple(found)


def _piece(reader: _Reader, table: object) -> PieceSizes:
    if not isinstance(table, Mapping):
        reader.wrong("piece", "expected a table")
        return PieceSizes()
    reader.unknown_keys("piece", table, frozenset(f.name for f in fields(PieceSizes)))
    given: dict[str, Any] = {}
    for item in fields(PieceSizes):
        if item.name not in table:
            continue
        key, value = f"piece, {item.name}", table[item.name]
        if isinstance(item.default, bool):
            given[item.name] = value
            if not isinstance(value, bool):
                reader.wrong(key, f"found {value!r}; expected true or false")
        elif item.name == "widths_mm":
            widths = value if isinstance(value, list) else []
            given[item.name] = tuple(sorted(reader.number(key, w, above=0) for w in widths))
            if not isinstance(value, list) or any(w in widths[:n] for n, w in enumerate(widths)):
                reader.wrong(key, "expected a list of different widths")
        elif item.name in POSITIVE:
            given[item.name] = reader.number(key, value, least=FEWEST_STEP_MM.get(item.name, 1.0))
        else:
            given[item.name] = reader.number(key, value)
    if not 0 <= given.get("margin_share", 0.25) <= 0.5:
        reader.wrong("piece, margin_share", "expected a share from 0 to 0.5 of the width")
    return PieceSizes(**given)


def _limits(
    reader: _Reader, tables: Sequence[Mapping[str, Any]], grades: Sequence[GradeRule]
) -> tuple[Limit, ...]:
    found: list[Limit] = []
    for at, table in enumerate(tables, start=1):
        key = f"limits {at}"
        reader.unknown_keys(key, table, LIMIT_KEYS)
        before = len(reader.problems)
        common = _common(reader, key, table)
        values = table.get("limit")
        if not isinstance(values, Mapping):
            reader.wrong(f"{key}, limit", "expected a table with a value for each grade, or for all")
            continue
        accepting = [g.code for g in grades if not g.reject]
        for name in sorted(set(values) - {*accepting, "all"}):
            reader.wrong(f"{key}, limit", f"{name} is no grade that accepts something")
        for grade in accepting:
            if grade not in values and "all" not in values:
                reader.wrong(f"{key}, limit", f'no value for {grade}; write "any" where there is no limit')
                continue
            value = limit_value(values.get(grade, values.get("all")), common["metric"])
            if value is None:
                reader.wrong(
                    f"{key}, limit, {grade}", f"found {values.get(grade, values.get('all'))!r}; {EXPECTED}"
                )
            elif len(reader.problems) == before:
                found.append(Limit(grade=grade, limit=value, **common))
    return tuple(found)


EXPECTED: Final = (
    'expected a number from 0 up, a fraction such as "1/3", "any", "none", or "" when not filled in'
)


def limit_value(value: object, metric: str) -> float | None:
    """The value of a limit: inf for "any", NaN for "", 0 for "none"; None when it cannot be read.

    Presence takes "any", "none" and "" only.
    """
    words = {"any": math.inf, "": math.nan, "none": 0.0}
    if isinstance(value, str) and value.strip().casefold() in words:
        return words[value.strip().casefold()]
    if metric == "presence" or isinstance(value, bool):
        return None
    if isinstance(value, str) and re.fullmatch(r"\d{1,6}/\d{1,6}", value) and not re.search(r"/0+$", value):
        return float(Fraction(value))
    if isinstance(value, int | float) and math.isfinite(value) and value >= 0:
        return float(value)
    return None


def _common(reader: _Reader, key: str, table: Mapping[str, Any]) -> dict[str, Any]:
    """What a limit has in common for all grades, with a problem for each key that cannot be."""
    kinds = table.get("kinds")
    try:
        if not isinstance(kinds, list) or not kinds:
            raise ValueError("expected a list of kinds of features or their groups")
        codes = members_of(map(str, kinds))
    except ValueError as error:
        reader.wrong(f"{key}, kinds", str(error))
        codes = ()
    place, metric = table.get("place", "any"), table.get("metric")
    for name, value, known in (("place", place, PLACES), ("metric", metric, METRICS)):
        if not isinstance(value, str) or value not in known:
            reader.wrong(f"{key}, {name}", f"found {value!r}; expected one of {', '.join(known)}")
    if table.get("origin") not in ORIGINS:
        reader.wrong(f"{key}, origin", f"found {table.get('origin')!r}; expected one of {', '.join(ORIGINS)}")
    numbers = {
        n: reader.optional(key, table, n)
        for n in ("window_mm", "when_margin_above", "over_mm", "per_width_mm")
    }
    _fits(reader, key, str(metric), codes, numbers)
    return {
        "kinds": codes,
        "place": cast(Place, place),
        "metric": cast(Metric, metric),
        "origin": str(table.get("origin", "")),
        "source": str(table.get("source", "")),
        "clause": str(table.get("clause", "")),
        "below_mm": reader.optional(key, table, "below_mm") or 0.0,
        **numbers,
    }


def _fits(
    reader: _Reader, key: str, metric: str, kinds: Sequence[str], numbers: Mapping[str, float | None]
) -> None:
    """Whether metric, kinds and further numbers of a limit go together."""
    warp = [kind for kind in kinds if kind in WARP_KINDS]
    if metric == "warp_mm" and len(warp) != len(kinds):
        reader.wrong(f"{key}, kinds", f"warp_mm is for {', '.join(WARP_KINDS)} only")
    if metric not in ("warp_mm", "presence") and warp:
        reader.wrong(f"{key}, metric", "bow, spring, twist and cup take warp_mm or presence")
    if metric == "count" and numbers["window_mm"] is None:
        reader.wrong(f"{key}, window_mm", "a count needs the length in which it is counted")
    if metric in ("presence", "length_share", "warp_mm") and numbers["window_mm"] is not None:
        reader.wrong(f"{key}, window_mm", f"{metric} knows no window")
    if metric != "area_ratio" and numbers["when_margin_above"] is not None:
        reader.wrong(f"{key}, when_margin_above", "goes with area_ratio only")
    for name in ("over_mm", "per_width_mm"):
        if numbers[name] is not None and (metric != "warp_mm" or numbers[name] == 0):
            reader.wrong(f"{key}, {name}", "goes with warp_mm, and is above 0")


def _prices(
    reader: _Reader, tables: Sequence[Mapping[str, Any]], grades: Sequence[GradeRule]
) -> tuple[Price, ...]:
    found = []
    for at, table in enumerate(tables, start=1):
        key = f"prices {at}"
        reader.unknown_keys(key, table, PRICE_KEYS)
        if table.get("grade") not in [g.code for g in grades]:
            reader.wrong(f"{key}, grade", f"found {table.get('grade')!r}; expected a grade of this set")
        price = reader.number(f"{key}, price_per_m3", table.get("price_per_m3"))
        bands = {
            n: reader.optional(key, table, n) for n in ("min_width_mm", "max_width_mm", "min_thickness_mm")
        }
        found.append(
            Price(str(table.get("grade")), price, **{n: v for n, v in bands.items() if v is not None})
        )
    return tuple(found)

"""The rules of docking and edging: sizes, kerfs, docks, wane, prices; read from TOML or JSON with every fault named."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import PurePath
from typing import Any, Final, Literal

from portal.calc.file_spec import Problem, shown

KeepEnd = Literal["none", "each"]
KEEP_ENDS: Final[tuple[KeepEnd, ...]] = ("none", "each")
MOST_DOCKS: Final = 2
MOST_PARALLEL: Final = 6
LONGEST_MM: Final = 20_000.0
"""No board is longer; also what keeps a mistyped length from listing millions of lengths."""
FINEST_STEP_MM: Final = 0.5
PRICE_DECIMALS: Final = 4


@dataclass(frozen=True)
class Price:
    """Price per m3 of boards with width and length from (inclusive) to (exclusive), of one or any thickness."""

    price: float
    width_from: float = 0.0
    width_to: float = math.inf
    length_from: float = 0.0
    length_to: float = math.inf
    thickness_mm: float | None = None

    def holds(self, width_mm: float, length_mm: float, thickness_mm: float) -> bool:
        """Whether a board of this size has this price."""
        return (
            self.width_from <= width_mm < self.width_to
            and self.length_from <= length_mm < self.length_to
            and (self.thickness_mm is None or abs(self.thickness_mm - thickness_mm) < 1e-6)
        )


@dataclass(frozen=True)
class Rules:
    """How flitches may be docked and edged. Lengths in mm; slopes in mm/mm.

    Where several prices hold for a board, the highest counts; a board for which none holds is worth nothing. No
    prices at all: a board is worth its volume in m3. `width_oversize_pct` is what a green board is wider than the
    width it counts as, `edger_clearance_mm` the width that placing the piece on the edger costs. `wane_edge_share`
    is the share of the thickness, and `wane_width_share` the share of the board's width, that wane may take at each
    edge; either 0: no wane.
    """

    widths_mm: tuple[float, ...]
    thickness_mm: float | None = None
    length_module_mm: float = 100.0
    min_length_mm: float = 1000.0
    max_length_mm: float = 6000.0
    crosscut_kerf_mm: float = 4.0
    edger_kerf_mm: float = 4.0
    max_docks: int = 1
    boards_per_piece: int = 1
    skew: bool = True
    max_skew: float = 0.05
    grid_step_mm: float = 25.0
    keep_end: KeepEnd = "none"
    width_oversize_pct: float = 0.0
    edger_clearance_mm: float = 0.0
    wane_edge_share: float = 0.0
    wane_width_share: float = 0.0
    prices: tuple[Price, ...] = ()

    @property
    def slope_limit(self) -> float:
        """Largest slope of the edger's fence against the reference line."""
        return float(self.max_skew) if self.skew else 0.0

    def need_mm(self, widths_mm: Sequence[float]) -> float:
        """Width of wood that boards side by side take: their green widths, kerfs between them, clearance."""
        green = sum(widths_mm) * (1 + self.width_oversize_pct / 100)
        return green + (len(widths_mm) - 1) * self.edger_kerf_mm + self.edger_clearance_mm

    @property
    def wane_allowed(self) -> bool:
        """Whether boards may reach beyond the narrow face."""
        return self.wane_edge_share > 0 and self.wane_width_share > 0

    @property
    def lengths_mm(self) -> tuple[float, ...]:
        """Allowed board lengths, rising: multiples of the module between the limits."""
        module = self.length_module_mm
        first = max(1, math.ceil(self.min_length_mm / module - 1e-9))
        last = math.floor(self.max_length_mm / module + 1e-9)
        return tuple(count * module for count in range(first, last + 1))

    def faults(self) -> list[tuple[str, str, str]]:
        """(key, found, expected) of each value that no rule can have."""
        return [(key, _plain(found), expected) for key, found, expected, good in _limits(self) if not good]


def _limits(r: Rules) -> list[tuple[str, Any, str, bool]]:
    steps = r.length_module_mm / r.grid_step_mm if r.grid_step_mm > 0 else 0.0
    return [
        ("widths_mm", r.widths_mm, "one or more widths above 0", bool(r.widths_mm) and min(r.widths_mm) > 0),
        ("thickness_mm", r.thickness_mm, "above 0", r.thickness_mm is None or r.thickness_mm > 0),
        ("length_module_mm", r.length_module_mm, "from 1 mm up", 1 <= r.length_module_mm < math.inf),
        ("min_length_mm", r.min_length_mm, "above 0", r.min_length_mm > 0),
        (
            "max_length_mm",
            r.max_length_mm,
            f"at least min_length_mm, at most {LONGEST_MM:g}",
            r.min_length_mm <= r.max_length_mm <= LONGEST_MM,
        ),
        ("crosscut_kerf_mm", r.crosscut_kerf_mm, "at least 0", r.crosscut_kerf_mm >= 0),
        ("edger_kerf_mm", r.edger_kerf_mm, "at least 0", r.edger_kerf_mm >= 0),
        ("max_docks", r.max_docks, f"0 to {MOST_DOCKS}", 0 <= r.max_docks <= MOST_DOCKS),
        (
            "boards_per_piece",
            r.boards_per_piece,
            f"1 to {MOST_PARALLEL}",
            1 <= r.boards_per_piece <= MOST_PARALLEL,
        ),
        ("max_skew", r.max_skew, "0 to 1", 0 <= r.max_skew <= 1),
        (
            "grid_step_mm",
            r.grid_step_mm,
            f"at least {FINEST_STEP_MM} mm, and a whole number of steps in length_module_mm",
            r.grid_step_mm >= FINEST_STEP_MM and steps >= 1 and abs(steps - round(steps)) < 1e-9,
        ),
        ("keep_end", r.keep_end, " or ".join(KEEP_ENDS), r.keep_end in KEEP_ENDS),
        ("width_oversize_pct", r.width_oversize_pct, "0 to 50", 0 <= r.width_oversize_pct <= 50),
        ("edger_clearance_mm", r.edger_clearance_mm, "0 to 100", 0 <= r.edger_clearance_mm <= 100),
        ("wane.edge_share", r.wane_edge_share, "0 to 1", 0 <= r.wane_edge_share <= 1),
        ("wane.width_share", r.wane_width_share, "0 to 0.5", 0 <= r.wane_width_share <= 0.5),
        *(limit for at, price in enumerate(r.prices) for limit in _price_limits(price, at)),
    ]


def _price_limits(p: Price, at: int) -> list[tuple[str, Any, str, bool]]:
    where = f"prices[{at}]"
    whole = p.price * 10**PRICE_DECIMALS
    exact = math.isfinite(whole) and abs(whole - round(whole)) < 1e-6 * max(1.0, abs(whole) * 1e-6)
    return [
        (
            f"{where}.price",
            p.price,
            f"0 to 100,000, at most {PRICE_DECIMALS} decimals",
            0 <= p.price <= 1e5 and exact,
        ),
        (f"{where}.width_to", p.width_to, "above width_from", p.width_to > p.width_from),
        (f"{where}.length_to", p.length_to, "above length_from", p.length_to > p.length_from),
    ]


def _plain(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else shown(value)


PLAIN_KEYS: Final = tuple(
    f.name for f in fields(Rules) if f.name not in ("prices", "wane_edge_share", "wane_width_share")
)
KEYS: Final = (*PLAIN_KEYS, "wane", "prices")
WANE_KEYS: Final = ("edge_share", "width_share")
PRICE_KEYS: Final = tuple(f.name for f in fields(Price))
WHOLE: Final = ("max_docks", "boards_per_piece")


def read_rules(data: bytes, file: str) -> tuple[Rules | None, list[Problem]]:
    """Rules from the bytes of a TOML or JSON document, or what is wrong with it."""
    try:
        text = data.decode("utf-8-sig")
        is_json = PurePath(file).suffix.casefold() == ".json"
        given = json.loads(text) if is_json else tomllib.loads(text)
    except (UnicodeDecodeError, ValueError, RecursionError) as error:
        return None, [Problem(file, None, None, shown(error), "a TOML or JSON document with the rules")]
    if not isinstance(given, dict):
        return None, [Problem(file, None, None, type(given).__name__, "a table of rules")]
    return rules_of(given, file)


def rules_of(given: Mapping[str, Any], file: str) -> tuple[Rules | None, list[Problem]]:
    """Rules from a mapping with the keys of the rules file; None with any problem. Nothing is guessed."""
    problems = [
        Problem(file, None, shown(key), shown(given[key]), f"one of the rules {', '.join(KEYS)}")
        for key in given
        if key not in KEYS
    ]
    values: dict[str, Any] = {}
    for key in PLAIN_KEYS:
        if key in given:
            values[key] = _value(key, given[key], file, problems)
    if "widths_mm" not in given:
        problems.append(Problem(file, None, "widths_mm", "", "a list of board widths in mm"))
    wane = _table(given.get("wane", {}), "wane", WANE_KEYS, file, problems)
    values |= {f"wane_{key}": wane[key] for key in WANE_KEYS if key in wane}
    values["prices"] = _prices(given.get("prices", []), file, problems)
    if problems:
        return None, problems
    rules = Rules(**values)
    faults = [Problem(file, None, key, found, expected) for key, found, expected in rules.faults()]
    if not faults and not rules.lengths_mm:
        found = f"{rules.min_length_mm:g} to {rules.max_length_mm:g}"
        expected = f"limits that hold a multiple of the length module {rules.length_module_mm:g}"
        faults = [Problem(file, None, "min_length_mm", found, expected)]
    return (None if faults else rules), faults


def _value(key: str, value: Any, file: str, problems: list[Problem]) -> Any:
    """A single rule in its type; a problem and None where it is of another."""
    if key == "widths_mm":
        if isinstance(value, list) and all(_is_number(width) for width in value):
            return tuple(sorted({float(width) for width in value}))
        problems.append(Problem(file, None, key, shown(value), "a list of numbers"))
        return None
    if key == "keep_end":
        return value
    if key == "skew":
        good, expected = isinstance(value, bool), "true or false"
    elif key in WHOLE:
        good, expected = isinstance(value, int) and not isinstance(value, bool), "a whole number"
    else:
        good, expected = _is_number(value), "a number"
    if not good:
        problems.append(Problem(file, None, key, shown(value), expected))
        return None
    return value if key in WHOLE or key == "skew" else float(value)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _table(
    given: Any, where: str, keys: tuple[str, ...], file: str, problems: list[Problem]
) -> dict[str, float]:
    """A table of numbers under known keys."""
    if not isinstance(given, Mapping):
        problems.append(Problem(file, None, where, shown(given), f"a table with {', '.join(keys)}"))
        return {}
    for key, value in given.items():
        if key not in keys:
            problems.append(
                Problem(file, None, f"{where}.{key}", shown(value), f"one of {', '.join(keys)} in {where}")
            )
        elif not _is_number(value):
            problems.append(Problem(file, None, f"{where}.{key}", shown(value), "a number"))
    return {k: float(v) for k, v in given.items() if k in keys and _is_number(v)}


def _prices(given: Any, file: str, problems: list[Problem]) -> tuple[Price, ...]:
    if not isinstance(given, list):
        problems.append(Problem(file, None, "prices", shown(given), "a list of tables"))
        return ()
    prices = []
    for at, entry in enumerate(given):
        before = len(problems)
        table = _table(entry, f"prices[{at}]", PRICE_KEYS, file, problems)
        if len(problems) == before and "price" not in table:
            problems.append(Problem(file, None, f"prices[{at}].price", "", "a price per m3"))
        if "price" in table:
            prices.append(Price(**table))
    return tuple(prices)

"""Rules, strips and prices as the arrays that the compiled search reads."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from grading.calc.feature_kinds import KINDS, NUMBER_OF
from grading.calc.piece_arrays import Rules
from grading.calc.rule_limits import (
    METRICS,
    PLACES,
    WARP_KINDS,
    GradeRule,
    GradingRules,
    Limit,
    PieceSizes,
    Price,
)
from sawing.calc.frames import numbers, texts

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

NEEDED_MEASURE: Final = {
    "size_mm": "size",
    "dimension_ratio": "size",
    "thickness_ratio": "size",
    "warp_mm": "size",
    "depth_ratio": "depth",
    "area_ratio": "percent",
    "percent": "percent",
}
"""The measure of a feature without which a metric says nothing."""


@dataclass(frozen=True, eq=False)
class RuleTables:
    """Limits that can refuse something, sorted by grade; `arrays`: the same row by row, as `piece_kernel` reads them.

    filled (grades,): whether all limits of a grade have a value. needed, and for size, depth and percent `measured`
    (grades, kinds): what a grade asks to be looked for and known.
    """

    grades: tuple[GradeRule, ...]
    limits: tuple[Limit, ...]
    arrays: Rules
    filled: Bools
    needed: Bools
    measured: dict[str, Bools]


def rule_tables(rules: GradingRules, *, heartwood_only: bool = False) -> RuleTables:
    """The tables of a rule set; with `heartwood_only` every grade also refuses sapwood."""
    grades = rules.accepting
    limits = [m for m in rules.limits if m.filled_in and not m.unlimited]
    if heartwood_only:
        limits += [
            Limit(
                g.code, ("sapwood",), "any", "presence", 0.0, "own", "heartwood asked for", "heartwood only"
            )
            for g in grades
        ]
    at = {g.code: i for i, g in enumerate(grades)}
    limits.sort(key=lambda m: at[m.grade])
    arrays = _arrays(limits, grades, rules.piece)
    needed = np.zeros((len(grades), len(KINDS)), dtype=bool)
    measured = {n: np.zeros((len(grades), len(KINDS)), dtype=bool) for n in ("size", "depth", "percent")}
    for row, limit in enumerate(limits):
        needed[at[limit.grade]] |= arrays.kinds[row]
        if limit.metric in NEEDED_MEASURE:
            measured[NEEDED_MEASURE[limit.metric]][at[limit.grade]] |= arrays.kinds[row]
    filled = np.array([not rules.unfilled(g.code) for g in grades])
    return RuleTables(grades, tuple(limits), arrays, filled, needed, measured)


def _arrays(limits: Sequence[Limit], grades: Sequence[GradeRule], piece: PieceSizes) -> Rules:
    at = {g.code: i for i, g in enumerate(grades)}
    metrics, none = list(METRICS), math.nan
    kinds = np.array([[k.code in m.kinds for k in KINDS] for m in limits], dtype=bool).reshape(-1, len(KINDS))
    warp = np.full((len(limits), len(KINDS)), -1, dtype=np.int64)
    for number, name in enumerate(WARP_KINDS):
        column = NUMBER_OF[name]
        warp[kinds[:, column], column] = number
    given = [
        (m.limit, m.window_mm, m.below_mm, m.when_margin_above, m.over_mm, m.per_width_mm) for m in limits
    ]
    numbers_ = [[none if v is None else v for v in row] for row in given]
    codes = [[at[m.grade], metrics.index(m.metric), PLACES.index(m.place)] for m in limits]
    grade_of = np.array([c[0] for c in codes], dtype=np.int64)
    better = [any(m.grade == g.code and m.place == "better_face" for m in limits) for g in grades]
    sizes = (
        piece.length_module_mm,
        piece.cut_step_mm,
        piece.length_allowance_mm,
        piece.margin_share,
        piece.kerf_mm,
    )
    return Rules(
        numbers=np.array(numbers_, dtype=np.float64).reshape(-1, 6),
        codes=np.array(codes, dtype=np.int64).reshape(-1, 3),
        kinds=kinds,
        warp=warp,
        first_limit=np.searchsorted(grade_of, np.arange(len(grades) + 1)).astype(np.int64),
        min_length=np.array([g.min_length_mm for g in grades], dtype=np.float64),
        two_faces=np.array(better, dtype=bool),
        sizes=np.array(sizes, dtype=np.float64),
    )


def strips_of(piece: PieceSizes, width_mm: float, booked_width_mm: float) -> list[tuple[float, float, float]]:
    """The strips a piece may take from a board of some width: from, to (mm from edge 1), booked width; widest first.

    With `widths_mm` a piece is booked at one of them; at its full width as the board is booked; without `widths_mm`
    at its own width.
    """
    found: dict[tuple[float, float], float] = {}
    if piece.may_rip:
        for from_mm, to_mm, booked in _ripped(piece, width_mm):
            key = (round(from_mm, 6), round(to_mm, 6))
            found[key] = max(found.get(key, 0.0), booked)
    if piece.keep_full_width or not piece.may_rip:
        found[0.0, round(width_mm, 6)] = booked_width_mm
    allowed = ((y0, y1, b) for (y0, y1), b in found.items() if y1 - y0 >= piece.min_width_mm - 1e-6)
    return sorted(allowed, key=lambda s: (s[0] - s[1], s[0]))


def _ripped(piece: PieceSizes, width_mm: float) -> Iterable[tuple[float, float, float]]:
    lattice = [i * piece.rip_step_mm for i in range(int(width_mm / piece.rip_step_mm + 1e-9) + 1)]
    if not piece.widths_mm:
        ends = [*lattice, width_mm]
        yield from ((y0, y1, y1 - y0) for y0 in lattice for y1 in ends if y1 > y0 + 1e-6)
        return
    for booked in piece.widths_mm:
        taken = booked * (1 + piece.width_allowance_share) + piece.width_allowance_mm
        if taken > width_mm + 1e-6:
            continue
        yield from ((y0, y0 + taken, booked) for y0 in lattice if y0 + taken <= width_mm + 1e-6)
        yield width_mm - taken, width_mm, booked


def prices_from(frame: pd.DataFrame, rule_set: str) -> tuple[Price, ...]:
    """The prices of a rule set from a price list (columns of a prices file)."""
    mine = frame[(texts(frame, "rule_set") == rule_set).to_numpy()]

    def bound(name: str, blank: float) -> Floats:
        values = numbers(mine, name)
        return np.where(np.isnan(values), blank, values)

    columns = zip(
        texts(mine, "grade"),
        numbers(mine, "price_per_m3"),
        bound("min_width_mm", -math.inf),
        bound("max_width_mm", math.inf),
        bound("min_thickness_mm", -math.inf),
        strict=True,
    )
    return tuple(Price(str(g), float(p), float(a), float(b), float(t)) for g, p, a, b, t in columns)


def price_of(prices: Sequence[Price], grade: str, width_mm: float, thickness_mm: float) -> float:
    """Price per m3 of a piece by its booked width and thickness: of the rows that fit, the one with the largest
    thickness it reaches. Raises ValueError where the list has none."""
    fits = [
        p
        for p in prices
        if p.grade == grade
        and p.min_width_mm <= width_mm < p.max_width_mm
        and thickness_mm >= p.min_thickness_mm
    ]
    if not fits:
        raise ValueError(f"no price for {grade}, {width_mm:g} × {thickness_mm:g} mm")
    return max(fits, key=lambda p: p.min_thickness_mm).price_per_m3

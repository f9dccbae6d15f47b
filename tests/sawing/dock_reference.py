"""Slow and obvious docking, written apart from the fast one: one linear programme an interval, all combinations."""

from __future__ import annotations

from itertools import combinations, combinations_with_replacement, pairwise, product

import numpy as np
from scipy.optimize import linprog

from sawing.calc.dock_flitch import Flitch
from sawing.calc.dock_rules import Rules

Interval = tuple[float, float, float]
"""Start, end, value."""


def edges_at(flitch: Flitch, rules: Rules, narrowest: float, x: float) -> tuple[float, float]:
    left = float(np.interp(x, flitch.x_mm, flitch.left_mm))
    right = float(np.interp(x, flitch.x_mm, flitch.right_mm))
    if not (rules.wane_edge_share > 0 and rules.wane_width_share > 0):
        return left, right
    most = rules.wane_width_share * narrowest
    if flitch.left_wide_mm is not None:
        wide = float(np.interp(x, flitch.x_mm, flitch.left_wide_mm))
        left = max(left - rules.wane_edge_share * (left - wide), left - most)
    if flitch.right_wide_mm is not None:
        wide = float(np.interp(x, flitch.x_mm, flitch.right_wide_mm))
        right = min(right + rules.wane_edge_share * (wide - right), right + most)
    return left, right


def widest(
    flitch: Flitch, rules: Rules, narrowest: float, start: float, end: float, positions: list[float]
) -> float:
    """Largest w with l(x) <= c + m x and c + m x + w <= r(x) at every knot of the interval, |m| <= S."""
    places = {start, end, *(x for x in flitch.x_mm.tolist() if start < x < end)}
    places |= {p for p in positions if start < p < end}
    rows, limits = [], []
    for x in sorted(places):
        left, right = edges_at(flitch, rules, narrowest, x)
        rows += [[-1.0, -x, 0.0], [1.0, x, 1.0]]
        limits += [-left, right]
    slope = rules.max_skew if rules.skew else 0.0
    bounds = [(None, None), (-slope, slope), (None, None)]
    found = linprog([0.0, 0.0, -1.0], A_ub=rows, b_ub=limits, bounds=bounds, method="highs")
    assert found.success, found.message
    return float(found.x[2])


def price_of(rules: Rules, width: float, length: float, thickness: float) -> float:
    if not rules.prices:
        return 1.0
    held = [
        p.price
        for p in rules.prices
        if p.width_from <= width < p.width_to
        and p.length_from <= length < p.length_to
        and p.thickness_mm in (None, thickness)
    ]
    return max(held, default=0.0)


def intervals(flitch: Flitch, rules: Rules) -> list[Interval]:
    """The best value of every interval that a board may take, in currency or m3."""
    first, last = float(flitch.x_mm[0]), float(flitch.x_mm[-1])
    module = rules.length_module_mm
    lengths = [n * module for n in range(1, 1000) if rules.min_length_mm <= n * module <= rules.max_length_mm]
    if rules.keep_end == "each":
        pairs = {(first, first + n) for n in lengths} | {(last - n, last) for n in lengths}
        pairs = {(a, b) for a, b in pairs if a >= first - 1e-9 and b <= last + 1e-9}
    else:
        count = int((last - first) // rules.grid_step_mm) + 1
        starts = {first + i * rules.grid_step_mm for i in range(count)}
        starts |= {last - i * rules.grid_step_mm for i in range(count)}
        pairs = {(a, a + n) for a, n in product(starts, lengths) if first <= a and a + n <= last + 1e-9}
    positions = sorted({p for pair in pairs for p in pair})
    patterns = [
        p
        for n in range(1, rules.boards_per_piece + 1)
        for p in combinations_with_replacement(rules.widths_mm, n)
    ]
    found = []
    for start, end in sorted(pairs):
        room = {
            w: widest(flitch, rules, w, start, min(end, last), positions) for w in {min(p) for p in patterns}
        }
        best = 0.0
        for pattern in patterns:
            if sum(pattern) + (len(pattern) - 1) * rules.edger_kerf_mm <= room[min(pattern)] + 1e-6:
                length = end - start
                prices = [price_of(rules, w, round(length, 6), flitch.thickness_mm) for w in pattern]
                area = sum(w * price for w, price in zip(pattern, prices, strict=True))
                best = max(best, area * length * flitch.thickness_mm / 1e9)
        if best > 0:
            found.append((start, end, best))
    return found


def best_values(flitch: Flitch, rules: Rules) -> list[float]:
    """Best value with at most 0, 1, ... docks by trying every set of intervals."""
    found = intervals(flitch, rules)
    best = []
    for boards in range(1, rules.max_docks + 2):
        value = best[-1] if best else 0.0
        for chosen in combinations(found, boards):
            gaps = pairwise(chosen)
            if all(b[0] >= a[1] + rules.crosscut_kerf_mm - 1e-6 for a, b in gaps):
                value = max(value, sum(interval[2] for interval in chosen))
        best.append(value)
    return best

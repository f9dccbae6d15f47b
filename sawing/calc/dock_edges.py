"""The edges that a pattern may use where wane is allowed, and bounds that no plan can pass. Lengths in mm."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from sawing.calc.dock_compile import compiled
from sawing.calc.dock_flitch import Flitch
from sawing.calc.dock_rules import Rules
from sawing.calc.dock_worth import Worths

Floats = npt.NDArray[np.float64]

TOLERANCE_MM = 1e-6
"""As for boards: a gap this much too narrow still holds a pattern, so that no plan passes the bound."""


def reach(edges: Floats, rules: Rules, narrowest_mm: float) -> tuple[Floats, Floats]:
    """Left and right edge as far out as wane lets a pattern with this narrowest board go.

    edges, shape (4, places): left, right, left wide, right wide (Flitch.edges_mm). Both limits hold at once: the
    share of the thickness, between narrow and wide face, and the share of the board's width. Without wane: the
    narrow face.
    """
    left, right = edges[0], edges[1]
    if not rules.wane_allowed:
        return left, right
    by_width = rules.wane_width_share * narrowest_mm
    return (
        left - np.minimum(rules.wane_edge_share * (left - edges[2]), by_width),
        right + np.minimum(rules.wane_edge_share * (edges[3] - right), by_width),
    )


def bound_local(flitch: Flitch, rules: Rules, worths: Worths) -> float:
    """Worth that no plan passes, with any number of docks: the integral over the flitch of the best rate.

    The rate is the worth per mm of length of the best pattern no wider than the flitch there. A board that
    covers a place is no wider than the flitch there, and boards do not overlap.
    """
    x = flitch.x_mm - flitch.x_mm[0]
    if not rules.wane_allowed:
        (table,) = worths.tables
        return float(rate_integral(x, flitch.right_mm - flitch.left_mm, table.need, table.rate))
    return _bound_with_wane(flitch, rules, worths, x)


@compiled
def rate_integral(x: Floats, gap: Floats, need: Floats, rate: Floats) -> float:
    """Integral of the step function rate(gap) over a gap that is linear between stations.

    need, rate, shape (patterns,), both rising: rate[k] holds from gap need[k] on. Exact.
    """
    total = 0.0
    for at in range(x.size - 1):
        long, first, last = x[at + 1] - x[at], gap[at], gap[at + 1]
        low, high = min(first, last), max(first, last)
        before = 0.0
        for k in range(need.size):
            least = need[k] - TOLERANCE_MM
            if least > high:
                break
            if rate[k] > before:
                share = 1.0 if least <= low else (high - least) / (high - low)
                total += (rate[k] - before) * share * long
                before = rate[k]
    return total


def _bound_with_wane(flitch: Flitch, rules: Rules, worths: Worths, x: Floats) -> float:
    """The bound where each class of patterns has edges of its own: constant between all places where one begins
    or ceases to fit, so that the middle of each such piece speaks for it."""
    places = [x]
    for table in worths.tables:
        knots = _with_kinks(flitch, rules, table.narrowest_mm, x)
        gap = _gap(flitch, rules, table.narrowest_mm, x, knots)
        long, rise = np.diff(knots), np.diff(gap)
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (table.need[:, None] - TOLERANCE_MM - gap[:-1]) / rise
        inside = (share > 0) & (share < 1)
        places += [knots, np.broadcast_to(knots[:-1] + share * long, share.shape)[inside]]
    cuts = np.unique(np.concatenate(places))
    middle = (cuts[1:] + cuts[:-1]) / 2
    rate = np.zeros(middle.size)
    for table in worths.tables:
        gap = _gap(flitch, rules, table.narrowest_mm, x, middle)
        at = np.searchsorted(table.need, gap + TOLERANCE_MM, side="right") - 1
        rate = np.maximum(rate, np.where(at >= 0, table.rate[at], 0.0))
    return float((rate * np.diff(cuts)).sum())


def _with_kinks(flitch: Flitch, rules: Rules, narrowest_mm: float, x: Floats) -> Floats:
    """Stations and the places between them where the two limits of wane change over, rising."""
    left, right, left_wide, right_wide = flitch.edges_mm
    by_width = rules.wane_width_share * narrowest_mm
    found = [x]
    for by_thickness in (
        rules.wane_edge_share * (left - left_wide),
        rules.wane_edge_share * (right_wide - right),
    ):
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (by_width - by_thickness[:-1]) / np.diff(by_thickness)
        inside = (share > 0) & (share < 1)
        found.append((x[:-1] + share * np.diff(x))[inside])
    return np.unique(np.concatenate(found))


def _gap(flitch: Flitch, rules: Rules, narrowest_mm: float, x: Floats, at: Floats) -> Floats:
    """Usable width of a class at places along the flitch."""
    edges = np.array([np.interp(at, x, edge) for edge in flitch.edges_mm])
    left, right = reach(edges, rules, narrowest_mm)
    return right - left


def bound_area(flitch: Flitch, rules: Rules, worths: Worths) -> float:
    """Worth of all usable wood at the best price: usable area times thickness, as if sold by the mm."""
    x = flitch.x_mm - flitch.x_mm[0]
    knots, gap = x, flitch.right_mm - flitch.left_mm
    if rules.wane_allowed:
        widest = max(rules.widths_mm)
        knots = _with_kinks(flitch, rules, widest, x)
        gap = _gap(flitch, rules, widest, x, knots)
    return float(_positive_area(knots, gap) * flitch.thickness_mm * worths.best_price)


@compiled
def _positive_area(x: Floats, gap: Floats) -> float:
    """Area between crossing edges counted as nothing; exact for a gap linear between stations."""
    total = 0.0
    for at in range(x.size - 1):
        long, first, last = x[at + 1] - x[at], gap[at], gap[at + 1]
        if first >= 0 and last >= 0:
            total += (first + last) / 2 * long
        elif first > 0 or last > 0:
            high = max(first, last)
            total += high * high / abs(first - last) / 2 * long
    return total

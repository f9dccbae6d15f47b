"""Compiled: the widest straight strip between two edges, on every interval that a board may take.

On [a, b] the widest strip is W = max over slopes |m| <= S of min(r - m x) - max(l - m x). Without the bound on
the slope this equals the least gap between the lower convex hull of r and the upper concave hull of l (Fenchel
duality: Rockafellar, Convex Analysis, 1970, section 31), and the slopes that reach it are those common to both
hulls where the gap is least. For a start a the hulls grow knot by knot to the right (monotone chain: Andrew,
Inf. Proc. Letters 9, 1979, 216-219), and the place of the least gap walks along, so one pass answers all lengths.
Where the slopes lie outside the bound, the strip at the nearer bound is the widest, because its width is concave
in the slope. Edges are straight between stations, so stations and the interval's own ends are enough: an end
between stations joins the hulls for as long as it is the end. All lengths in mm.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from sawing.calc.dock_compile import compiled

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

TOLERANCE_MM = 1e-6
"""A strip this much narrower than a board still takes it; more is never rounded up."""

X, Y, SLOPE = 0, 1, 2
"""Columns of a hull: a corner's place, its height, and the slope from the corner before."""


@compiled
def _joins(hull: Floats, top: int, x: float, y: float, sign: float) -> tuple[int, float]:
    """Where a point right of a hull becomes its corner (sign 1: lower convex, -1: upper concave), and the slope."""
    slope = (y - hull[top, Y]) / (x - hull[top, X])
    while top > 0 and sign * hull[top, SLOPE] >= sign * slope:
        top -= 1
        slope = (y - hull[top, Y]) / (x - hull[top, X])
    return top + 1, slope


@compiled
def _set(hull: Floats, knots: Ints, at: int, knot: int, x: float, y: float, slope: float) -> None:
    knots[at] = knot
    hull[at, X], hull[at, Y], hull[at, SLOPE] = x, y, slope


@compiled
def _at_or_left(knots: Ints, top: int, i: int, q: int) -> int:
    """The last corner at or left of knot q, looked for from corner i on."""
    i = min(i, top)
    while knots[i] > q:
        i -= 1
    while i < top and knots[i + 1] <= q:
        i += 1
    return i


@compiled
def _walk(
    a: int, b: int, q: int, i: int, j: int, low: Floats, low_knots: Ints, high: Floats, high_knots: Ints
) -> tuple[int, int, int]:
    """Move the place q of the least gap to where the gap stops falling; i, j: hull corners at or left of it."""
    moved = False
    while q < b and low[i + 1, SLOPE] < high[j + 1, SLOPE]:
        next_low, next_high = low_knots[i + 1], high_knots[j + 1]
        q = min(next_low, next_high)
        if next_low == q:
            i += 1
        if next_high == q:
            j += 1
        moved = True
    while not moved and q > a:
        before_low = i - 1 if low_knots[i] == q else i
        before_high = j - 1 if high_knots[j] == q else j
        if low[before_low + 1, SLOPE] <= high[before_high + 1, SLOPE]:
            break
        i, j = before_low, before_high
        q = max(low_knots[i], high_knots[j])
    return q, i, j


@compiled
def _slopes(
    a: int, b: int, q: int, i: int, j: int, low: Floats, low_knots: Ints, high: Floats, high_knots: Ints
) -> tuple[float, float]:
    """Least and greatest slope common to both hulls at q; open at the ends of the interval."""
    least, most = -np.inf, np.inf
    if q > a:
        least = low[i, SLOPE] if low_knots[i] == q else low[i + 1, SLOPE]
        most = high[j, SLOPE] if high_knots[j] == q else high[j + 1, SLOPE]
    if q < b:
        most = min(most, low[i + 1, SLOPE])
        least = max(least, high[j + 1, SLOPE])
    return least, most


@compiled
def best_boards(
    x: Floats,
    left: Floats,
    right: Floats,
    corner: Bools,
    place: Ints,
    starts: int,
    shift: Ints,
    skew: float,
    need: Floats,
    worth: Ints,
    which: Ints,
    value: Ints,
    choice: Ints,
) -> None:
    """Raise `value[s, j]` to the best that fits between positions s and s + shift[j]; note it in `choice`.

    x, left, right, corner, shape (knots,): knots, edges there, and whether an edge may bend there. place, shape
    (positions,): knot of each position; positions 0 to starts-1 are starts. shift, shape (lengths,), rising.
    need, shape (patterns,), rising: width that each pattern takes. worth, which, shape (lengths, patterns): the
    best worth among patterns 0 to k, and the pattern that has it. value, choice, shape (starts, lengths): changed
    in place.
    """
    n = x.size
    low, low_knots = np.empty((n + 1, 3)), np.empty(n + 1, np.int64)
    high, high_knots = np.empty((n + 1, 3)), np.empty(n + 1, np.int64)
    ranks = np.full((starts, shift.size + 1), -1, np.int64)  # widest pattern that fits
    module = shift[1] - shift[0] if shift.size > 1 else starts
    for s in range(starts):
        a = place[s]
        _set(low, low_knots, 0, a, x[a], right[a], 0.0)
        _set(high, high_knots, 0, a, x[a], left[a], 0.0)
        top_low = top_high = i = j = 0
        q = knot = a
        rank = need.size - 1
        right_up, left_up = right[a] - skew * x[a], left[a] - skew * x[a]  # running extremes at slope S
        right_down, left_down = right[a] + skew * x[a], left[a] + skew * x[a]  # and at -S
        for k in range(shift.size):
            if s + shift[k] >= place.size:
                break
            b = place[s + shift[k]]
            # The interval to b from a module before holds this one, and the one before holds this start's shorter
            # one: where both take the same pattern, so does this.
            known = s >= module and ranks[s - module, k + 1] == rank
            while knot < b and not known:
                knot += 1
                at, r, l = x[knot], right[knot], left[knot]  # noqa: E741
                if corner[knot] or knot == b:
                    right_up, left_up = min(right_up, r - skew * at), max(left_up, l - skew * at)
                    right_down, left_down = min(right_down, r + skew * at), max(left_down, l + skew * at)
                if corner[knot] and skew > 0:
                    top_low, slope = _joins(low, top_low, at, r, 1.0)
                    _set(low, low_knots, top_low, knot, at, r, slope)
                    top_high, slope = _joins(high, top_high, at, l, -1.0)
                    _set(high, high_knots, top_high, knot, at, l, slope)
            width = right_up - left_up
            if skew > 0 and not known:
                end_low, end_high = top_low, top_high
                if not corner[b]:
                    end_low, slope_low = _joins(low, top_low, x[b], right[b], 1.0)
                    end_high, slope_high = _joins(high, top_high, x[b], left[b], -1.0)
                    kept = low_knots[end_low], low[end_low, X], low[end_low, Y], low[end_low, SLOPE]
                    kept_high = (
                        high_knots[end_high],
                        high[end_high, X],
                        high[end_high, Y],
                        high[end_high, SLOPE],
                    )
                    _set(low, low_knots, end_low, b, x[b], right[b], slope_low)
                    _set(high, high_knots, end_high, b, x[b], left[b], slope_high)
                i, j = _at_or_left(low_knots, end_low, i, q), _at_or_left(high_knots, end_high, j, q)
                q, i, j = _walk(a, b, q, i, j, low, low_knots, high, high_knots)
                least, most = _slopes(a, b, q, i, j, low, low_knots, high, high_knots)
                if most < -skew:
                    width = right_down - left_down
                elif least <= skew:
                    width = right[q] - left[q]
                    if low_knots[i] < q:
                        width = low[i, Y] + low[i + 1, SLOPE] * (x[q] - low[i, X]) - left[q]
                    if high_knots[j] < q:
                        width += left[q] - high[j, Y] - high[j + 1, SLOPE] * (x[q] - high[j, X])
                if not corner[b]:
                    _set(low, low_knots, end_low, kept[0], kept[1], kept[2], kept[3])
                    _set(high, high_knots, end_high, kept_high[0], kept_high[1], kept_high[2], kept_high[3])
            while rank >= 0 and not known and need[rank] > width + TOLERANCE_MM:
                rank -= 1
            if rank < 0:
                break  # longer is never wider
            ranks[s, k] = rank
            if worth[k, rank] > value[s, k]:
                value[s, k] = worth[k, rank]
                choice[s, k] = which[k, rank]


@compiled
def widest_strip(x: Floats, left: Floats, right: Floats, skew: float) -> tuple[float, float, float]:
    """Width, slope and intercept of the widest strip over all knots; of several slopes the flattest.

    The strip's left edge is slope * x + intercept. Needs at least two knots.
    """
    n = x.size
    low, low_knots = np.empty((n, 3)), np.empty(n, np.int64)
    high, high_knots = np.empty((n, 3)), np.empty(n, np.int64)
    _set(low, low_knots, 0, 0, x[0], right[0], 0.0)
    _set(high, high_knots, 0, 0, x[0], left[0], 0.0)
    top_low = top_high = 0
    for knot in range(1, n):
        top_low, slope = _joins(low, top_low, x[knot], right[knot], 1.0)
        _set(low, low_knots, top_low, knot, x[knot], right[knot], slope)
        top_high, slope = _joins(high, top_high, x[knot], left[knot], -1.0)
        _set(high, high_knots, top_high, knot, x[knot], left[knot], slope)
    q, i, j = _walk(0, n - 1, 0, 0, 0, low, low_knots, high, high_knots)
    least, most = _slopes(0, n - 1, q, i, j, low, low_knots, high, high_knots)
    slope = min(max(0.0, min(least, most)), max(least, most))
    slope = min(max(slope, -skew), skew)
    least_right, most_left = np.inf, -np.inf
    for knot in range(n):
        least_right = min(least_right, right[knot] - slope * x[knot])
        most_left = max(most_left, left[knot] - slope * x[knot])
    return least_right - most_left, slope, most_left

"""Compiled: positions of cuts and knots, and the best set of boards that do not overlap.

F_d(q), the best worth of at most d boards that end at or before position q, is the larger of F_d at the position
before and of F_{d-1}(last position at least a kerf before p) + worth of the board from p to q. Worths are
integers, so that equal plans are equal.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from sawing.calc.dock_compile import compiled

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

SAME_MM = 1e-6
"""Positions this near are one position."""


@compiled
def cut_positions(total: float, step: float) -> tuple[Floats, int]:
    """Positions every `step` from the butt end and from the top end, rising; and how many lie in one step.

    Two lattices interleave unless the length is a multiple of the step: position s + stride * n lies n steps
    after position s.
    """
    count = int(np.floor(total / step + 1e-9))
    rest = total - count * step
    if abs(rest) <= SAME_MM:
        single = np.empty(count + 1)
        for i in range(count + 1):
            single[i] = i * step
        single[count] = total
        return single, 1
    positions = np.empty(2 * (count + 1))
    for i in range(count + 1):
        positions[2 * i] = i * step
        positions[2 * i + 1] = total - (count - i) * step
    return positions, 2


@compiled
def knots_with(stations: Floats, edges: Floats, positions: Floats) -> tuple[Floats, Floats, Bools, Ints]:
    """Stations and positions as one rising row of knots.

    edges, shape (edges, stations): straight between stations. positions rise and lie on the flitch. Returns the
    knots; the edges there, shape (edges, knots); whether a knot is a station; and the knot of each position.
    """
    knots = np.empty(stations.size + positions.size)
    found = np.empty((edges.shape[0], knots.size))
    station = np.zeros(knots.size, np.bool_)
    place = np.empty(positions.size, np.int64)
    n = at = 0
    for p in range(positions.size + 1):
        until = positions[p] + SAME_MM if p < positions.size else np.inf
        while at < stations.size and stations[at] <= until:
            knots[n] = stations[at]
            station[n] = True
            for e in range(edges.shape[0]):
                found[e, n] = edges[e, at]
            n += 1
            at += 1
        if p == positions.size:
            break
        if n == 0 or knots[n - 1] < positions[p] - SAME_MM:
            knots[n] = positions[p]
            share = (positions[p] - stations[at - 1]) / (stations[at] - stations[at - 1])
            for e in range(edges.shape[0]):
                found[e, n] = edges[e, at - 1] + share * (edges[e, at] - edges[e, at - 1])
            n += 1
        place[p] = n - 1
    return knots[:n], found[:, :n], station[:n], place


@compiled
def best_plans(
    positions: Floats, shift: Ints, value: Ints, kerf: float, most: int
) -> tuple[Ints, Ints, Ints, Ints]:
    """Best worth with at most 1, 2, ... `most` boards, and the boards of the best plan.

    value, shape (starts, lengths): worth of the board from position s to s + shift[j], 0 for none. Returns the
    worths, shape (most,); then start and length index of each board of the best plan from the butt, with the
    fewest boards that reach the best worth; and their number in an array of one.
    """
    n = positions.size
    best = np.zeros((most + 1, n), np.int64)
    start = np.full((most + 1, n), -1, np.int64)
    length = np.full((most + 1, n), -1, np.int64)
    before = np.full(n, -1, np.int64)
    at = -1
    for s in range(n):
        while at + 1 < n and positions[at + 1] <= positions[s] - kerf + SAME_MM:
            at += 1
        before[s] = min(at, s)
        if s > 0:
            for d in range(1, most + 1):
                if best[d, s - 1] >= best[d, s]:
                    best[d, s] = best[d, s - 1]
                    start[d, s] = -1
        if s >= value.shape[0]:
            continue
        for j in range(shift.size):
            end = s + shift[j]
            if end >= n:
                break
            if value[s, j] <= 0:
                continue
            for d in range(1, most + 1):
                worth = value[s, j] + (best[d - 1, before[s]] if before[s] >= 0 else 0)
                if worth > best[d, end]:
                    best[d, end] = worth
                    start[d, end] = s
                    length[d, end] = j
    worths = best[1:, n - 1].copy()
    boards = 0
    for d in range(1, most + 1):
        if best[d, n - 1] > best[boards, n - 1]:
            boards = d
    starts, lengths = np.full(most, -1, np.int64), np.full(most, -1, np.int64)
    at = n - 1
    for d in range(boards, 0, -1):
        while start[d, at] < 0:
            at -= 1
        starts[d - 1], lengths[d - 1] = start[d, at], length[d, at]
        at = before[start[d, at]]
    return worths, starts, lengths, np.array([boards])


@compiled
def best_halves(positions: Floats, shift: Ints, value: Ints, kerf: float) -> int:
    """Best worth of at most one board on each side of a cut at half length; value as for best_plans."""
    middle = positions[-1] / 2
    below = above = 0
    for s in range(value.shape[0]):
        for j in range(shift.size):
            end = s + shift[j]
            if end >= positions.size:
                break
            if positions[end] <= middle - kerf / 2 + SAME_MM:
                below = max(below, value[s, j])
            elif positions[s] >= middle + kerf / 2 - SAME_MM:
                above = max(above, value[s, j])
    return below + above

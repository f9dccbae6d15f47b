"""Where to cut a stem: the logs of wanted lengths that use the most of it. Lengths in m, kerf in mm.

An unbounded knapsack over whole millimetres, exact by dynamic programming; one table serves every stem.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

LONGEST_STEM_M = 80.0
SHORTEST_LOG_M = 0.3
MOST_LENGTHS = 40
_NONE = -1


@dataclass(frozen=True)
class PlannedLog:
    """A log of a plan, numbered from the butt; both ends in m from the butt of the stem."""

    number: int
    bottom_m: float
    top_m: float
    length_m: float


@dataclass(frozen=True)
class CutPlan:
    """The logs of one stem from the butt, the length in logs, and what is left above the last cut (m)."""

    stem_m: float
    logs: tuple[PlannedLog, ...]
    used_m: float
    rest_m: float


def multiples(module_mm: float, shortest_m: float, longest_m: float) -> tuple[float, ...]:
    """The multiples of the crosscut module between two lengths, in m, longest first.

    Raises ValueError for a module that is not above 0, lengths out of order, or more than 40 multiples.
    """
    if not module_mm > 0 or not 0 < shortest_m <= longest_m:
        raise ValueError("expected a module above 0 and lengths in order")
    first = math.ceil(shortest_m * 1000 / module_mm - 1e-9)
    last = math.floor(longest_m * 1000 / module_mm + 1e-9)
    if last - first >= MOST_LENGTHS:
        raise ValueError(
            f"{last - first + 1} lengths between the two: at most {MOST_LENGTHS}; take a coarser module"
        )
    return tuple(n * module_mm / 1000 for n in range(last, first - 1, -1))


def cut_plans(stems_m: Sequence[float], lengths_m: Sequence[float], kerf_mm: float = 0.0) -> list[CutPlan]:
    """For each stem the logs of the wanted lengths that leave the least of it, longest at the butt.

    Every log costs its length and one cut above it; the last cut may fall beyond the end. Of plans that use as much,
    the one with the fewest logs. Lengths count to the millimetre (the kerf rounded up).

    :param stems_m: lengths of the stems from the butt cut to the top, above 0 and at most 80 m.
    :param lengths_m: wanted lengths of logs, allowance included, each at least 0.3 m, at most 40 of them.
    Raises ValueError for anything else.
    """
    if any(not 0 < stem <= LONGEST_STEM_M for stem in stems_m):
        raise ValueError(f"stems: expected above 0 and at most {LONGEST_STEM_M:g} m")
    if not kerf_mm >= 0:
        raise ValueError("kerf: expected 0 mm or more")
    if (
        not lengths_m
        or len(lengths_m) > MOST_LENGTHS
        or any(not length >= SHORTEST_LOG_M for length in lengths_m)
    ):
        raise ValueError(f"expected 1 to {MOST_LENGTHS} lengths of logs of at least {SHORTEST_LOG_M:g} m")
    wanted = sorted({round(1000 * length) for length in lengths_m}, reverse=True)
    kerf = math.ceil(kerf_mm - 1e-9)
    rooms = [math.floor(1000 * stem + 1e-6) + kerf for stem in stems_m]
    last = _last_logs(max(rooms, default=0), wanted, kerf)
    return [_plan(stem, room, last, kerf) for stem, room in zip(stems_m, rooms, strict=True)]


def _last_logs(room: int, wanted: Sequence[int], kerf: int) -> list[int]:
    """For each room in mm the log that ends its best set of logs; _NONE where one mm less does as well."""
    best, last = [0] * (room + 1), [_NONE] * (room + 1)
    # Length counts first, then few logs: a log's worth is its length less a thousandth.
    worth = [(length + kerf, 1000 * length - 1, length) for length in wanted if length + kerf <= room]
    for at in range(1, room + 1):
        best[at] = best[at - 1]
        for cost, value, length in worth:
            if cost <= at and best[at - cost] + value > best[at]:
                best[at], last[at] = best[at - cost] + value, length
    return last


def _plan(stem_m: float, room: int, last: Sequence[int], kerf: int) -> CutPlan:
    chosen: list[int] = []
    while room > 0:
        if last[room] == _NONE:
            room -= 1
        else:
            chosen.append(last[room])
            room -= last[room] + kerf
    logs, bottom = [], 0
    for number, length in enumerate(sorted(chosen, reverse=True), start=1):
        logs.append(PlannedLog(number, bottom / 1000, (bottom + length) / 1000, length / 1000))
        bottom += length + kerf
    return CutPlan(stem_m, tuple(logs), sum(chosen) / 1000, max(0.0, stem_m - bottom / 1000))

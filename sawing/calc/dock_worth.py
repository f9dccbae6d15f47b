"""What boards are worth, as whole numbers, and which sets of parallel boards fit a width.

A pattern is a set of boards that the edger rips side by side from one piece. The worth of a board is the nearest
whole number to its volume in mm3 times its price in ten-thousandths per m3 (10,000 where there are no prices), so
that sums are exact and ties are ties.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations_with_replacement
from math import comb
from typing import Final

import numpy as np
import numpy.typing as npt

from sawing.calc.dock_rules import PRICE_DECIMALS, Rules

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

PRICE_UNIT: Final = 10**PRICE_DECIMALS
MOST_PATTERNS: Final = 20_000
LARGEST_BOARD_MM3: Final = 2.5e8
"""So that the worth of the dearest plan (3 pieces of 6 boards, 100,000 a m3) still is an exact 64-bit number."""
WORTH_OF_ONE: Final = 10**9 * PRICE_UNIT
"""Worth of one m3 at the price 1."""


@dataclass(frozen=True, eq=False)
class WorthTable:
    """Patterns that share their edges, by the width they need.

    need, shape (patterns,): rising. worth, shape (lengths, patterns): the best among patterns up to this one;
    which, same shape: the pattern that has it, as a place in `patterns` of the whole. rate, shape (patterns,):
    best worth per mm of length among patterns up to this one.
    """

    narrowest_mm: float
    need: Floats
    worth: Ints
    which: Ints
    rate: Floats


@dataclass(frozen=True, eq=False)
class Worths:
    """All patterns of a set of rules at one thickness, and tables that share edges.

    One table without wane; with wane one for each narrowest width, because edges then depend on it.
    `best_price`: highest worth per mm3.
    """

    patterns: tuple[tuple[float, ...], ...]
    lengths_mm: Floats
    tables: tuple[WorthTable, ...]
    best_price: float
    _worth: dict[tuple[float, float], int]

    def of_board(self, width_mm: float, length_mm: float) -> int:
        """Worth of one board."""
        return self._worth[width_mm, length_mm]


def pattern_count(rules: Rules) -> int:
    """How many patterns the widths give."""
    return comb(len(rules.widths_mm) + rules.boards_per_piece, rules.boards_per_piece) - 1


@lru_cache(maxsize=64)
def worths_for(rules: Rules, thickness_mm: float) -> Worths:
    """The patterns and their worths for rules and a thickness in mm.

    Raises:
        ValueError: for more patterns than can be tried.
    """
    if pattern_count(rules) > MOST_PATTERNS:
        raise ValueError(f"{pattern_count(rules):,} patterns of widths; expected at most {MOST_PATTERNS:,}")
    lengths = np.array(rules.lengths_mm)
    if max(rules.widths_mm) * rules.lengths_mm[-1] * thickness_mm > LARGEST_BOARD_MM3:
        raise ValueError(f"a board above {LARGEST_BOARD_MM3 / 1e9:g} m³; expected smaller sizes")
    worth = {
        (w, float(length)): _worth(rules, w, float(length), thickness_mm)
        for w in rules.widths_mm
        for length in lengths
    }
    patterns = tuple(_patterns(rules))
    need = np.array([rules.need_mm(p) for p in patterns])
    value = np.array([[sum(worth[w, float(length)] for w in p) for p in patterns] for length in lengths])
    narrowest = np.array([min(p) for p in patterns])
    tables = []
    for width in rules.widths_mm if rules.wane_allowed else (None,):
        chosen = np.arange(len(patterns)) if width is None else np.flatnonzero(narrowest == width)
        tables.append(_table(chosen, need, value, lengths, 0.0 if width is None else width))
    sizes = [(w * float(length) * thickness_mm, worth[w, float(length)]) for w, length in worth]
    best_price = max((value / volume for volume, value in sizes), default=0.0)
    return Worths(patterns, lengths, tuple(tables), best_price, worth)


def _worth(rules: Rules, width_mm: float, length_mm: float, thickness_mm: float) -> int:
    price = 1.0
    if rules.prices:
        holding = (p.price for p in rules.prices if p.holds(width_mm, length_mm, thickness_mm))
        price = max(holding, default=0.0)
    return round(width_mm * length_mm * thickness_mm * round(price * PRICE_UNIT))


def _patterns(rules: Rules) -> Iterator[tuple[float, ...]]:
    for count in range(1, rules.boards_per_piece + 1):
        yield from combinations_with_replacement(rules.widths_mm, count)


def _table(chosen: Ints, need: Floats, value: Ints, lengths: Floats, narrowest_mm: float) -> WorthTable:
    """The table of some patterns: sorted by need, running best at each length."""
    order = chosen[np.argsort(need[chosen], kind="stable")]
    sorted_value = value[:, order]
    best = np.maximum.accumulate(sorted_value, axis=1)
    first = sorted_value == best
    first[:, 1:] &= best[:, 1:] > best[:, :-1]
    at = np.maximum.accumulate(np.where(first, np.arange(order.size), 0), axis=1)
    rate = np.maximum.accumulate((sorted_value / lengths[:, None]).max(axis=0, initial=0.0))
    return WorthTable(
        narrowest_mm,
        np.ascontiguousarray(need[order]),
        np.ascontiguousarray(best, dtype=np.int64),
        np.ascontiguousarray(order[at], dtype=np.int64),
        rate,
    )

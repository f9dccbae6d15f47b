"""Intervals of ratios by resampling whole trees.

Boards and logs of one tree are not independent, so the tree is what is drawn: with replacement, within one
clone, all its wood going along. Source: cluster bootstrap, percentile interval (Efron and Tibshirani 1993,
from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sawing.calc.frames import FloatArray

RESAMPLES = 2000
FEWEST_RESAMPLES = 100
SEED = 20240501
FEW_TREES = 5
Interval = tuple[float, float]


@dataclass(frozen=True)
class TreeBootstrap:
    """Intervals by name of ratio (None where none can be given), the number of trees behind them, and a
    caution."""

    intervals: Mapping[str, Interval | None]
    n_trees: int
    note: str | None
    resamples: int
    seed: int
    level: float


def tree_bootstrap(
    totals: pd.DataFrame,
    ratios: Mapping[str, tuple[str, str]],
    resamples: int = RESAMPLES,
    seed: int = SEED,
    level: float = 0.95,
) -> TreeBootstrap:
    """Percentile intervals of ratios of totals over the trees of one clone.

    `totals` has one row a tree and one column a summed quantity; `ratios` names (numerator column,
    denominator column). A fresh generator starts from `seed` at every call, so a clone's interval does not
    depend on which other clones are computed; the trees are put in the order of their index first, so neither
    does it depend on the order of the files. One tree gives no interval, fewer than five give one that is too
    narrow (its variance is short by (n - 1)/n), and both are said in `note`. A resample whose denominator is
    0 is left out. ValueError for fewer than 100 resamples or a level outside (0, 1).
    """
    if resamples < FEWEST_RESAMPLES or not 0.0 < level < 1.0:
        raise ValueError(
            f"expected at least 100 resamples and a level between 0 and 1, got {resamples} and {level}"
        )
    n_trees = len(totals)
    intervals: dict[str, Interval | None] = dict.fromkeys(ratios)
    if n_trees >= 2:
        sums = pd.DataFrame(_resampled_sums(totals, resamples, seed), columns=totals.columns)
        for name, (numerator, denominator) in ratios.items():
            intervals[name] = _percentile(
                sums[numerator].to_numpy(dtype=np.float64),
                sums[denominator].to_numpy(dtype=np.float64),
                level,
            )
    return TreeBootstrap(intervals, n_trees, few_trees_note(n_trees), resamples, seed, level)


def few_trees_note(n_trees: int) -> str | None:
    """The caution that goes with an interval from so many trees; None from five trees on."""
    if n_trees >= FEW_TREES:
        return None
    if n_trees < 2:
        return "one tree: no interval can be given"
    return f"fewer than {FEW_TREES} trees: the interval is too narrow, shown for information, not for ranking"


def _resampled_sums(totals: pd.DataFrame, resamples: int, seed: int) -> FloatArray:
    """Column sums of `resamples` draws of n trees with replacement, shape (resamples, columns)."""
    n_trees = len(totals)
    # How often each of n trees turns up in n draws is multinomial, which spares the (resamples, n, columns)
    # array.
    counts = np.random.default_rng(seed).multinomial(n_trees, np.full(n_trees, 1.0 / n_trees), size=resamples)
    result = np.zeros((resamples, totals.shape[1]))
    # Tree by tree rather than as a matrix product, whose last bits depend on where the arrays lie in memory.
    for drawn, tree in zip(counts.T, totals.sort_index().to_numpy(dtype=np.float64), strict=True):
        result += drawn[:, None] * tree
    return result


def _percentile(numerator: FloatArray, denominator: FloatArray, level: float) -> Interval | None:
    usable = denominator > 0
    if not usable.any():
        return None
    ratio = numerator[usable] / denominator[usable]
    tail = 50.0 * (1.0 - level)
    low, high = np.percentile(ratio, [tail, 100.0 - tail])
    return None if np.isnan(low) or np.isnan(high) else (float(low), float(high))

"""Means and rates of trees that stand in plots: the plot, not the tree, is what was drawn by chance.

A mean is a ratio of totals (sum of values over number of trees), a rate too (total growth over total years);
the interval takes trees of one plot together: var = m / (m - 1) * sum over plots of (sum of residuals)^2 /
(sum of the denominators)^2, the linearised variance of a ratio from m clusters (Cochran 1977, Sampling
Techniques, ch. 6 and 9A; from memory), t with m - 1 degrees of freedom. With one tree a plot it is the usual
s / sqrt(n).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from trials.calc.tree_frames import as_floats

LEVEL = 0.95


@dataclass(frozen=True)
class Rate:
    """A ratio of totals. `n` trees in `clusters` plots; low and high are NaN with fewer than two plots, the
    estimate too without a tree."""

    estimate: float
    low: float
    high: float
    n: int
    clusters: int


def clustered_rate(
    size: npt.ArrayLike, per: npt.ArrayLike, cluster: npt.ArrayLike, level: float = LEVEL
) -> Rate:
    """Total of `size` over total of `per`, with a t interval over clusters.

    Arrays of one length; rows with a missing size or per are passed over. ValueError for a per that is not above
    0, or a level outside 0 to 1.
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level {level!r}: expected above 0 and below 1, such as 0.95")
    sizes, pers = as_floats(size), as_floats(per)
    known = np.isfinite(sizes) & np.isfinite(pers)
    sizes, pers = sizes[known], pers[known]
    if (pers <= 0).any():
        raise ValueError(f"a denominator of {pers.min():g}: expected above 0")
    if not len(sizes):
        return Rate(math.nan, math.nan, math.nan, 0, 0)
    estimate = float(sizes.sum() / pers.sum())
    _, at = np.unique(np.asarray(cluster, dtype=object)[known].astype(str), return_inverse=True)
    m = int(at.max()) + 1
    if m < 2:
        return Rate(estimate, math.nan, math.nan, len(sizes), m)
    totals = np.bincount(at, weights=sizes - estimate * pers)
    error = math.sqrt(m / (m - 1) * float(totals @ totals)) / float(pers.sum())
    half = float(stats.t.ppf(0.5 + level / 2.0, m - 1)) * error
    return Rate(estimate, estimate - half, estimate + half, len(sizes), m)


def clustered_mean(values: npt.ArrayLike, cluster: npt.ArrayLike, level: float = LEVEL) -> Rate:
    """Mean of values with a t interval over clusters; missing values are passed over."""
    sizes = as_floats(values)
    return clustered_rate(sizes, np.ones(len(sizes)), cluster, level)

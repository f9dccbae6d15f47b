"""Ranks and factors of lower tolerance limits, for independent pieces of one population."""

from __future__ import annotations

import math

from scipy import stats


def _probability(value: float, name: str) -> None:
    if not 0 < value < 1:
        raise ValueError(f"{name} lies between 0 and 1, not {value}")


def limit_rank(n: int, *, confidence: float = 0.75, share: float = 0.05) -> int:
    """Rank from below of the order statistic that is a lower tolerance limit of the `share` quantile; 0: there is none.

    The largest r with P(X >= r) >= confidence, X ~ Bin(n, share); principle of ASTM D2915, computed from the
    binomial. Distribution-free. ValueError for n < 0 and probabilities outside (0, 1).
    """
    _probability(confidence, "confidence")
    _probability(share, "share")
    if n < 0:
        raise ValueError(f"a number of pieces is not negative: {n}")
    rank = 0
    while rank < n and stats.binom.sf(rank, n, share) >= confidence:
        rank += 1
    return rank


def smallest_n(rank: int, *, confidence: float = 0.75, share: float = 0.05) -> int:
    """Smallest number of pieces whose `rank`-th smallest value is a lower tolerance limit. ValueError for rank < 1."""
    _probability(confidence, "confidence")
    _probability(share, "share")
    if rank < 1:
        raise ValueError(f"ranks begin at 1, not {rank}")
    low, high = rank - 1, rank
    while stats.binom.sf(rank - 1, high, share) < confidence:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if stats.binom.sf(rank - 1, middle, share) >= confidence:
            high = middle
        else:
            low = middle
    return high


def tolerance_factor(n: int, *, confidence: float = 0.75, share: float = 0.05) -> float:
    """Exact one-sided factor k of the normal limit mean - k s, from the non-central t. ValueError for n < 2."""
    _probability(confidence, "confidence")
    _probability(share, "share")
    if n < 2:
        raise ValueError(f"a spread needs at least 2 pieces, not {n}")
    shift = -float(stats.norm.ppf(share)) * math.sqrt(n)
    return float(stats.nct.ppf(confidence, n - 1, shift)) / math.sqrt(n)


def en14358_factor(n: int) -> float:
    """(6.5 n + 6) / (3.7 n - 3), EN 14358:2016 (10) by transcription; 75 % and the 5th percentile only.

    Below n = 39 on the unsafe side of the exact factor. ValueError for n < 3.
    """
    if n < 3:
        raise ValueError(f"EN 14358 needs at least 3 pieces, not {n}")
    return (6.5 * n + 6) / (3.7 * n - 3)


def en14358_ranked_factor(n: int) -> float:
    """(0.49 n + 17) / (0.28 n + 7.1) of EN 14358's "non-parametric" value (found, a public analysis script)."""
    if n < 3:
        raise ValueError(f"EN 14358 needs at least 3 pieces, not {n}")
    return (0.49 * n + 17) / (0.28 * n + 7.1)

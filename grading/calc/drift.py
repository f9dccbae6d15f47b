"""Drift of a grader over a sitting: whether grades move against a reference as time goes on.

The reference is the caller's; the portal takes what the rules suggested. Each board counts +1 when it
was graded better than the reference, -1 worse, 0 the same. The trend is Kendall's tau-b between time and that sign,
with its p value (scipy); boards graded one after the other are taken as independent, which trees are not: a hint, not a
proof.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy import stats

FEWEST: Final = 10
"""Boards below which no trend is given (own)."""
LEVEL: Final = 0.95


@dataclass(frozen=True)
class Stretch:
    """A stretch of time: hours from the start, boards, how many were graded better, the same, worse; the share that
    differs with a Wilson interval (95 %)."""

    from_h: float
    to_h: float
    boards: int
    better: int
    same: int
    worse: int
    differs: float
    interval: tuple[float, float]


@dataclass(frozen=True)
class Drift:
    """Stretches, and the trend: tau-b (positive: towards better grades), p; None for fewer than ten boards, or where
    every board stands the same way to its reference."""

    stretches: tuple[Stretch, ...]
    boards: int
    tau: float | None
    p: float | None

    def words(self) -> str:
        """The trend in a sentence."""
        if self.tau is None or self.p is None:
            return f"No trend can be given from {self.boards} boards."
        way = "better" if self.tau > 0 else "worse"
        if self.p < 1 - LEVEL:
            return f"Grades moved towards {way} as the sitting went on (tau {self.tau:.2f}, p {self.p:.3f})."
        return f"No drift stands out (tau {self.tau:.2f}, p {self.p:.2f})."


def drift(times: Sequence[pd.Timestamp], signs: Sequence[int], hours: float = 1.0) -> Drift:
    """How grades stand to their reference over time.

    :param times: when each board was graded. :param signs: +1 better than the reference, 0 the same, -1 worse.
    :param hours: length of a stretch.
    :raises ValueError: different lengths, another sign, a stretch of no length.
    """
    if len(times) != len(signs) or not hours > 0 or set(signs) - {-1, 0, 1}:
        raise ValueError("as many times as signs, each sign -1, 0 or 1, and a stretch above 0 h")
    if not len(times):
        return Drift((), 0, None, None)
    at = pd.Series(pd.to_datetime(list(times), utc=True))
    passed = (at - at.min()).dt.total_seconds().to_numpy() / 3600
    sign = np.asarray(signs)
    number = np.floor(passed / hours).astype(int)
    stretches = tuple(_stretch(int(n), sign[number == n], hours) for n in np.unique(number))
    tau = p = None
    if len(sign) >= FEWEST and len(set(sign.tolist())) > 1 and len(set(passed.tolist())) > 1:
        found = stats.kendalltau(passed, sign)
        if math.isfinite(found.statistic):
            tau, p = float(found.statistic), float(found.pvalue)
    return Drift(stretches, len(sign), tau, p)


def _stretch(number: int, sign: np.ndarray, hours: float) -> Stretch:
    differs = int((sign != 0).sum())
    interval = stats.binomtest(differs, len(sign)).proportion_ci(LEVEL, method="wilson")
    return Stretch(
        from_h=number * hours,
        to_h=(number + 1) * hours,
        boards=len(sign),
        better=int((sign > 0).sum()),
        same=int((sign == 0).sum()),
        worse=int((sign < 0).sum()),
        differs=differs / len(sign),
        interval=(float(interval.low), float(interval.high)),
    )

"""How sure a drying curve is: an interval of the moisture content today and of the date at which a target is reached.

Boards of a stack differ and each is read many times, so whole boards are drawn with replacement, all their readings
going along (cluster bootstrap, percentile interval: Efron and Tibshirani 1993, from memory). With few boards the
residuals of the fit are drawn instead, raised by sqrt(n / (n - 2)). The weather of the coming months is taken as the
mean one: a cold wet spring is not in the interval.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from sawing.calc.drying_curve import GRID, DryingCurve, crossing_days, parts
from sawing.calc.equilibrium_moisture import EquilibriumLine
from sawing.calc.frames import FloatArray

REPLICATES: Final = 999
SEED: Final = 20240501
LEVEL: Final = 0.95
LEAST_BOARDS: Final = 6  # below this boards are too few to be drawn (own)
LEAST_FOR_RANGE: Final = 4  # readings
HORIZON_D: Final = 3 * 365.25


@dataclass(frozen=True)
class Replicates:
    """Starts (%) and rates (per day) of curves fitted to what was drawn, and what was drawn: "boards" or
    "residuals"."""

    start_pct: FloatArray
    rate_per_d: FloatArray
    drawn: str

    def at(self, day: float, line: EquilibriumLine) -> FloatArray:
        """Moisture contents (%) at a day, one a replicate."""
        fading, brought = parts(self.rate_per_d, line, np.array([day]))
        return np.asarray(self.start_pct * fading[:, 0] + brought[:, 0])


def replicate(
    curve: DryingCurve, days: npt.ArrayLike, mc_pct: npt.ArrayLike, boards: npt.ArrayLike
) -> Replicates | None:
    """Curves fitted to boards (or residuals) drawn again; None for fewer than four readings.

    `days`, `mc_pct` (%) and `boards` (any labels): arrays of one length, those the curve was fitted to.
    """
    t, y = np.asarray(days, float), np.asarray(mc_pct, float)
    labels = np.asarray(boards).astype(str)
    known = np.isfinite(t) & np.isfinite(y)
    t, y, labels = t[known], y[known], labels[known]
    if len(t) < LEAST_FOR_RANGE:
        return None
    random = np.random.default_rng(SEED)
    a, b = parts(np.exp(GRID), curve.line, t)
    names, member = np.unique(labels, return_inverse=True)
    if len(names) >= LEAST_BOARDS:
        belongs = (member[:, None] == np.arange(len(names))).astype(float)
        times = random.multinomial(len(names), np.full(len(names), 1 / len(names)), REPLICATES).astype(float)
        rest = y - b
        aa, ar, rr = (times @ (part @ belongs).T for part in (a * a, a * rest, rest * rest))
        return _fitted(aa, ar, rr, "boards")
    expected = curve.at(t)
    residuals = (y - expected) * math.sqrt(len(t) / (len(t) - 2))
    drawn = expected + random.choice(residuals - residuals.mean(), (REPLICATES, len(t)))
    aa = np.broadcast_to(np.sum(a * a, axis=1), (REPLICATES, len(GRID)))
    ab, bb = np.sum(a * b, axis=1), np.sum(b * b, axis=1)
    yy = np.sum(drawn**2, axis=1)[:, None]
    return _fitted(aa, drawn @ a.T - ab, yy - 2 * drawn @ b.T + bb, "residuals")


def _fitted(aa: FloatArray, ar: FloatArray, rr: FloatArray, drawn: str) -> Replicates:
    """Rates and starts of least squares from the sums of a a, a r and r r at each rate of the grid."""
    misfit = rr - ar * ar / aa
    best = np.clip(np.argmin(misfit, axis=1), 1, len(GRID) - 2)
    row = np.arange(len(best))
    left, middle, right = (misfit[row, best + shift] for shift in (-1, 0, 1))
    bend = left - 2 * middle + right
    shift = np.where(bend > 0, 0.5 * (left - right) / np.where(bend > 0, bend, 1.0), 0.0)
    shift = np.clip(shift, -1.0, 1.0)
    starts = ar / aa
    by = np.where(shift < 0, -1, 1)
    start = starts[row, best] + np.abs(shift) * (starts[row, best + by] - starts[row, best])
    return Replicates(start, np.exp(GRID[best] + shift * (GRID[1] - GRID[0])), drawn)


@dataclass(frozen=True)
class Estimate:
    """A moisture content in % with its interval; low and high are None where there is none."""

    value_pct: float
    low_pct: float | None
    high_pct: float | None


def estimate_at(curve: DryingCurve, replicates: Replicates | None, day: float) -> Estimate:
    """The stack's mean moisture content at a day, with its interval."""
    value = float(curve.at(day))
    if replicates is None:
        return Estimate(value, None, None)
    low, high = np.quantile(replicates.at(day, curve.line), [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    return Estimate(value, float(low), float(high))


@dataclass(frozen=True)
class TargetDates:
    """When the mean reaches a target: the date, the range around it, and a sentence that is always true.

    `best`, `earliest` and `latest` are None where undefined; `latest` is None too when more than 2.5 % of the drawn
    curves do not get there within three years.
    """

    target_pct: float
    best: dt.date | None
    earliest: dt.date | None
    latest: dt.date | None
    words: str


def target_dates(
    curve: DryingCurve, replicates: Replicates | None, target_pct: float, start: dt.date
) -> TargetDates:
    """The date at which the stack's mean reaches a target (%), and its range; `start` is the curve's day 0."""
    best = float(crossing_days(curve.start_pct, curve.rate_per_d, curve.line, target_pct, HORIZON_D))
    lowest = float(np.min(curve.line.values_pct))
    if math.isinf(best):
        if lowest >= target_pct:
            why = f"the air of the place holds wood at {lowest:.1f} % or more. A drier place or a kiln is needed."
        else:
            why = "not within three years at this pace. A drier place or a kiln is needed."
        return TargetDates(target_pct, None, None, None, f"{target_pct:g} % will not be reached: {why}")
    when = start + dt.timedelta(days=math.ceil(best))
    past = best <= curve.last_d
    if replicates is None:
        words = f"{'Reached' if past else 'Expected'} about {_said(when)}; too few readings for a range."
        return TargetDates(target_pct, when, None, None, words)
    found = crossing_days(replicates.start_pct, replicates.rate_per_d, curve.line, target_pct, HORIZON_D)
    low, high = np.quantile(found, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], method="inverted_cdf")
    earliest = start + dt.timedelta(days=math.floor(low)) if math.isfinite(low) else None
    latest = start + dt.timedelta(days=math.ceil(high)) if math.isfinite(high) else None
    if earliest is None or latest is None:
        words = f"Expected about {_said(when)}, but it may take longer than three years."
    elif past:
        words = f"Reached about {_said(when)}, between {_said(earliest)} and {_said(latest)}."
    else:
        words = f"Expected about {_said(when)}, between {_said(earliest)} and {_said(latest)}."
    return TargetDates(target_pct, when, earliest, latest, words)


def _said(date: dt.date) -> str:
    return f"{date.day} {date:%B %Y}"

"""The drying of a stack: M' = -k (M - E), first order, with E the yard's equilibrium month by month or fixed.

With E in steps the solution is exact piece by piece: M(t) = M0 a(t) + b(t), a = exp(-kt) and b what the air alone would
have brought. M0 enters linearly, so a fit is a search for k alone. Least squares on the moisture contents, not on
logarithms, which over-weight the nearly dry end (see docs/methods.md).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import optimize

from sawing.calc.equilibrium_moisture import EquilibriumLine
from sawing.calc.frames import FloatArray

SLOWEST_PER_D, FASTEST_PER_D = 1e-4, 2.0  # beyond these the readings do not show drying (own)
GRID: Final = np.linspace(math.log(SLOWEST_PER_D), math.log(FASTEST_PER_D), 500)
LEAST_DATES: Final = 3  # two unknowns and something left over
MOST_START_PCT: Final = 300.0


class CurveRefusedError(ValueError):
    """No drying curve can be fitted to these readings; the message says why."""


@dataclass(frozen=True)
class DryingCurve:
    """A fitted curve: rate k per day, moisture at day 0 in %, and what it was fitted to.

    `se_k_per_d` and `se_start_pct` are those of ordinary least squares; where boards were read again and again they
    are too small, and the interval by boards (`drying_range`) is the honest one.
    """

    rate_per_d: float
    start_pct: float
    line: EquilibriumLine
    n_readings: int
    n_dates: int
    n_boards: int
    last_d: float
    sd_pct: float
    se_rate_per_d: float
    se_start_pct: float

    @property
    def half_time_d(self) -> float:
        """Days in which the distance to a constant equilibrium halves."""
        return math.log(2.0) / self.rate_per_d

    def at(self, days: npt.ArrayLike) -> FloatArray:
        """Expected mean moisture content in % at days after the start."""
        t = np.asarray(days, float)
        fading, brought = parts(self.rate_per_d, self.line, t)
        return np.asarray(self.start_pct * fading + brought)


def parts(
    rate_per_d: npt.ArrayLike, line: EquilibriumLine, days: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """a and b of M(t) = M0 a + b (in %), each of shape rates.shape + days.shape; days from 0 up."""
    k = np.asarray(rate_per_d, float)[..., None]
    t = np.asarray(days, float)
    shape = (*k.shape[:-1], *t.shape)
    t = np.atleast_1d(t).ravel()
    if np.any(t < 0):
        raise ValueError("days count from 0")
    last = np.searchsorted(line.edges_d, t, side="right") - 1
    used = int(last.max(initial=0)) + 1
    at_edge = np.zeros((*k.shape[:-1], used))
    for j in range(1, used):
        kept = np.exp(-k[..., 0] * (line.edges_d[j] - line.edges_d[j - 1]))
        at_edge[..., j] = at_edge[..., j - 1] * kept + line.values_pct[j - 1] * (1.0 - kept)
    kept = np.exp(-k * (t - line.edges_d[last]))
    brought = at_edge[..., last] * kept + line.values_pct[last] * (1.0 - kept)
    return np.exp(-k * t).reshape(shape), brought.reshape(shape)


def fit_curve(
    days: npt.ArrayLike, mc_pct: npt.ArrayLike, line: EquilibriumLine, n_boards: int = 1
) -> DryingCurve:
    """Least squares of the curve on moisture contents (%) at days after the start, arrays of one length.

    Pairs with a missing value are passed over. Raises CurveRefusedError, in words, for fewer than three dates, readings
    that do not come nearer to the equilibrium, or a start above 300 %.
    """
    t, y = np.asarray(days, float), np.asarray(mc_pct, float)
    known = np.isfinite(t) & np.isfinite(y)
    t, y = t[known], y[known]
    dates = len(np.unique(t))
    if dates < LEAST_DATES:
        raise CurveRefusedError(
            f"A curve needs readings of at least {LEAST_DATES} dates; there are {dates} so far."
        )
    misfit = _misfits(t, y, line)
    best = int(np.argmin(misfit))
    if best in (0, len(GRID) - 1):
        raise CurveRefusedError(
            "The readings do not come nearer to the equilibrium of the place as drying wood does: look for "
            "mistaken dates, a wrong climate, or readings of the shell only."
        )
    found = optimize.minimize_scalar(
        lambda log_k: _misfit_at(math.exp(log_k), t, y, line),
        bounds=(GRID[best - 1], GRID[best + 1]),
        method="bounded",
        options={"xatol": 1e-10},
    )
    k = math.exp(float(found.x))
    start = _start_at(k, t, y, line)
    if not line.values_pct[0] * 0.5 <= start <= MOST_START_PCT:
        raise CurveRefusedError(
            f"The best curve would start at {start:.0f} %, which wood does not: readings from the first weeks "
            "are missing or mistaken."
        )
    sd, se_k, se_start = _errors(k, start, t, y, line)
    return DryingCurve(k, start, line, len(t), dates, n_boards, float(t.max()), sd, se_k, se_start)


def log_line_rate(days: npt.ArrayLike, mc_pct: npt.ArrayLike, equilibrium_pct: float) -> tuple[float, float]:
    """k per day and M0 (%) by a straight line through ln(M - E): for comparison only, see the module's words.

    Raises ValueError unless all readings are above the equilibrium.
    """
    t, y = np.asarray(days, float), np.asarray(mc_pct, float)
    if len(t) < 2 or np.any(y <= equilibrium_pct):
        raise ValueError("two readings or more, all above the equilibrium")
    slope, height = np.polyfit(t, np.log(y - equilibrium_pct), 1)
    return float(-slope), float(equilibrium_pct + np.exp(height))


def rate_from(start_pct: float, later_pct: float, days: float, equilibrium_pct: float) -> float:
    """k per day from two moisture contents (%) so many days apart, at a fixed equilibrium (%).

    Raises ValueError unless start > later > equilibrium and days > 0.
    """
    if not (start_pct > later_pct > equilibrium_pct and days > 0):
        raise ValueError("undefined unless start > later > equilibrium, some days apart")
    return math.log((start_pct - equilibrium_pct) / (later_pct - equilibrium_pct)) / days


def days_to(start_pct: float, target_pct: float, rate_per_d: float, equilibrium_pct: float) -> float:
    """Days from a moisture content (%) to a target (%) at a fixed equilibrium: ln((M0 - E)/(M - E))/k.

    0 when already there; ValueError when the target is not above the equilibrium, where the time is undefined.
    """
    if target_pct <= equilibrium_pct:
        raise ValueError("the target is not above the equilibrium: the wood never gets there in this air")
    if start_pct <= target_pct:
        return 0.0
    return math.log((start_pct - equilibrium_pct) / (target_pct - equilibrium_pct)) / rate_per_d


def crossing_days(
    start_pct: npt.ArrayLike,
    rate_per_d: npt.ArrayLike,
    line: EquilibriumLine,
    target_pct: float,
    horizon_d: float,
) -> FloatArray:
    """First day at or below a target (%), exactly within each step of the equilibrium; inf when not by the horizon.

    `start_pct` and `rate_per_d`: arrays of one shape.
    """
    m, k = np.broadcast_arrays(np.asarray(start_pct, float), np.asarray(rate_per_d, float))
    moisture = np.array(m, float)
    found = np.where(moisture <= target_pct, 0.0, np.inf)
    ends = np.append(line.edges_d[1:], np.inf)
    for begin, end, e in zip(line.edges_d, ends, line.values_pct, strict=True):
        if begin >= horizon_d:
            break
        if e < target_pct:
            with np.errstate(invalid="ignore", divide="ignore"):
                inside = np.log((moisture - e) / (target_pct - e)) / k
            reached = np.isinf(found) & (inside <= min(end, horizon_d) - begin)
            found = np.where(reached, begin + inside, found)
        if np.isinf(end):
            break
        moisture = e + (moisture - e) * np.exp(-k * (end - begin))
    return np.asarray(found)


def _misfits(t: FloatArray, y: FloatArray, line: EquilibriumLine) -> FloatArray:
    """Sum of squares at each rate of the grid, the best M0 put in."""
    a, b = parts(np.exp(GRID), line, t)
    rest = y - b
    return np.asarray(np.sum(rest**2, axis=1) - np.sum(a * rest, axis=1) ** 2 / np.sum(a * a, axis=1))


def _start_at(k: float, t: FloatArray, y: FloatArray, line: EquilibriumLine) -> float:
    a, b = parts(k, line, t)
    return float(np.sum(a * (y - b)) / np.sum(a * a))


def _misfit_at(k: float, t: FloatArray, y: FloatArray, line: EquilibriumLine) -> float:
    a, b = parts(k, line, t)
    return float(np.sum((y - _start_at(k, t, y, line) * a - b) ** 2))


def _errors(
    k: float, start: float, t: FloatArray, y: FloatArray, line: EquilibriumLine
) -> tuple[float, float, float]:
    """Residual standard deviation and standard errors of k and M0, linearised at the fit."""
    step = k * 1e-5
    a, b = parts(k, line, t)
    a_up, b_up = parts(k + step, line, t)
    a_down, b_down = parts(k - step, line, t)
    by_k = (start * a_up + b_up - start * a_down - b_down) / (2 * step)
    jacobian = np.column_stack([by_k, a])
    variance = float(np.sum((y - start * a - b) ** 2)) / (len(t) - 2)
    covariance = variance * np.linalg.pinv(jacobian.T @ jacobian)
    return math.sqrt(variance), math.sqrt(covariance[0, 0]), math.sqrt(covariance[1, 1])

"""Curves of size over age, fitted to the mean sizes of a clone at three ages or more.

Four ages or more: asymptotic regression, y = A + (R - A) exp(-k t) (Pinheiro and Bates 2000, Mixed-Effects
Models in S and S-PLUS, appendix C; found). Three ages, and where that does not settle: y = A exp(-b / t)
(Schumacher 1939, J. For. 37:819-820; from memory), which has a parameter less. Least squares on sizes, each age
with the weight of its number of trees. A curve says nothing beyond the ages it was fitted to.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize

from trials.calc.tree_frames import FloatArray, as_floats

LEAST_AGES = 3
AGES_FOR_ASYMPTOTE = 4
MOST_BEYOND = 10.0  # our own: a final size of more than ten times the largest one measured is no finding


class FormRefusedError(ValueError):
    """No curve can be fitted; the message says why."""


@dataclass(frozen=True)
class GrowthForm:
    """A fitted curve. `name`: "asymptotic" with parameters A, R in the unit of the size and ln k (k per year), or
    "Schumacher" with A and b in years. `rss` weighted, `sd` its square root per degree of freedom (NaN without
    any); `first` and `last` are the ages it was fitted to."""

    name: str
    parameters: tuple[float, ...]
    errors: tuple[float, ...]
    n_ages: int
    rss: float
    sd: float
    first: float
    last: float

    def size(self, age_years: npt.ArrayLike) -> FloatArray:
        """Size at ages; NaN beyond those the curve was fitted to."""
        age = as_floats(age_years)
        inside = (age >= self.first - 1e-9) & (age <= self.last + 1e-9)
        return np.where(inside, FORMS[self.name](age, *self.parameters), np.nan)

    @property
    def words(self) -> str:
        """The curve as it is written beside a figure."""
        if self.name == "Schumacher":
            top, b = self.parameters
            return f"Schumacher: {top:.3g} exp(−{b:.3g} / age), {self.n_ages} ages"
        top, start, log_rate = self.parameters
        rate = math.exp(log_rate)
        return f"asymptotic: towards {top:.3g} from {start:.3g} at {rate:.3g} a year, {self.n_ages} ages"


def _asymptotic(age: FloatArray, top: float, start: float, log_rate: float) -> FloatArray:
    result: FloatArray = top + (start - top) * np.exp(-np.exp(log_rate) * age)
    return result


def _schumacher(age: FloatArray, top: float, b: float) -> FloatArray:
    result: FloatArray = top * np.exp(-b / age)
    return result


FORMS: Mapping[str, Callable[..., FloatArray]] = {"asymptotic": _asymptotic, "Schumacher": _schumacher}


def fit_growth(
    age_years: npt.ArrayLike, size: npt.ArrayLike, weight: npt.ArrayLike | None = None
) -> GrowthForm:
    """A curve through mean sizes at ages above 0; rows without both are passed over.

    `weight`: number of trees behind each mean. FormRefusedError with fewer than three different ages, sizes that
    are not above 0 or do not rise, or a fit that does not settle.
    """
    age, sizes = as_floats(age_years), as_floats(size)
    weights = np.ones(len(age)) if weight is None else as_floats(weight)
    known = np.isfinite(age) & np.isfinite(sizes) & (weights > 0)
    age, sizes, weights = age[known], sizes[known], weights[known]
    n_ages = len(np.unique(age))
    if n_ages < LEAST_AGES:
        raise FormRefusedError(f"{n_ages} ages: a growth form needs at least {LEAST_AGES}")
    if (age <= 0).any() or (sizes <= 0).any():
        raise FormRefusedError("ages and sizes above 0 are needed")
    if n_ages >= AGES_FOR_ASYMPTOTE:
        try:
            return _fitted("asymptotic", age, sizes, weights, _asymptotic_start(age, sizes))
        except FormRefusedError:
            pass
    return _fitted("Schumacher", age, sizes, weights, _schumacher_start(age, sizes))


def _schumacher_start(age: FloatArray, size: FloatArray) -> list[float]:
    """From the straight line ln y = ln A - b / t."""
    slope, level = np.polyfit(1.0 / age, np.log(size), 1)
    return [float(np.exp(min(level, 50.0))), float(-slope)]


def _asymptotic_start(age: FloatArray, size: FloatArray) -> list[float]:
    """A little above the largest size, and the line ln(A - y) = ln(A - R) - k t."""
    top = float(size.max() + 0.1 * np.ptp(size))
    slope, level = np.polyfit(age, np.log(top - size), 1)
    return [top, top - float(np.exp(level)), math.log(max(-float(slope), 1e-3))]


def _fitted(
    name: str, age: FloatArray, size: FloatArray, weight: FloatArray, start: list[float]
) -> GrowthForm:
    form, root = FORMS[name], np.sqrt(weight)

    def residuals(at: FloatArray) -> FloatArray:
        with np.errstate(over="ignore", invalid="ignore"):
            off: FloatArray = np.nan_to_num(root * (form(age, *at) - size), nan=1e9, posinf=1e9, neginf=-1e9)
        return off

    found = optimize.least_squares(residuals, start, method="lm", xtol=1e-12, ftol=1e-12, gtol=1e-12)
    top, rate = float(found.x[0]), float(found.x[-1])
    sound = 0.0 < top <= MOST_BEYOND * float(size.max()) and (
        rate > 0 if name == "Schumacher" else rate < 2.0
    )
    if found.status <= 0 or not sound:
        raise FormRefusedError("sizes do not rise with age in a way that a curve could follow")
    rss = float(2.0 * found.cost)
    free = len(age) - len(start)
    return GrowthForm(
        name,
        tuple(float(x) for x in found.x),
        _errors(found.jac, rss, free),
        len(np.unique(age)),
        rss,
        math.sqrt(rss / free) if free else math.nan,
        float(age.min()),
        float(age.max()),
    )


def _errors(jacobian: FloatArray, rss: float, free: int) -> tuple[float, ...]:
    """Standard errors of the parameters; NaN without a degree of freedom."""
    if not free:
        return tuple(math.nan for _ in range(jacobian.shape[1]))
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * rss / free
    return tuple(float(e) for e in np.sqrt(np.maximum(np.diag(covariance), 0.0)))

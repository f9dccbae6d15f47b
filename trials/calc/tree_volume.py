"""Volume of a standing tree over bark from diameter and height: three ways, each named beside its figure.

Form factor, V = f g H; constant form, V = c D^2 H, the same with c = f pi/40000; allometric, V = b0 D^b1 H^b2
(Schumacher and Hall 1933). D in cm, H in m, V in m3, g in m2. A fit on logarithms predicts the median and
needs the factor exp(s^2 / 2) (Baskerville 1972) to predict the mean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import optimize

from trials.calc.tree_frames import BoolArray, FloatArray, as_floats, numbers

LEAST_SAMPLE = 10  # our own: three numbers from fewer trees say nothing about the next tree
AREA_PER_CM2 = math.pi / 40_000.0  # m2 of section per cm2 of squared diameter
USUAL_FORM_FACTORS = (0.35, 0.50)  # common practice, no published source

FitMethod = Literal["log-log", "nonlinear"]


class VolumeEquation(Protocol):
    """Anything that gives the volume of a tree and can say how."""

    @property
    def method(self) -> str:
        """What stands beside the volume."""

    def volume_m3(self, dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike) -> FloatArray:
        """Volumes in m3; NaN where diameter or height is missing or not above 0."""

    def is_outside_range(self, dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike) -> BoolArray:
        """Whether trees lie outside what the equation was fitted to."""


@dataclass(frozen=True)
class SampleRange:
    """Least and most diameter (mm) and height (m) of the trees an equation was fitted to."""

    least_dbh_mm: float
    most_dbh_mm: float
    least_height_m: float
    most_height_m: float


@dataclass(frozen=True)
class FormFactor:
    """V = f g H. From a sample: f is total volume over total g H (a ratio of totals); `mean` and `sd`
    describe the single trees' factors, `n` is their number (0: the factor was given, not fitted)."""

    factor: float
    n: int = 0
    mean: float = math.nan
    sd: float = math.nan
    range: SampleRange | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.factor <= 1.0:
            raise ValueError(f"form factor {self.factor!r}: expected above 0 and at most 1, such as 0.4")

    @property
    def method(self) -> str:
        """The method in words."""
        return f"form factor {self.factor:.3f}, {f'{self.n} trees' if self.n else 'given'}"

    def volume_m3(self, dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike) -> FloatArray:
        """f g H in m3."""
        d_cm, h_m = _sizes(dbh_mm, height_m)
        return self.factor * AREA_PER_CM2 * d_cm**2 * h_m

    def is_outside_range(self, dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike) -> BoolArray:
        """Outside the sample, if there was one."""
        return _outside(self.range, dbh_mm, height_m)


@dataclass(frozen=True)
class ConstantForm:
    """V = c D^2 H, c in m3/(cm2 m), by least squares on the volumes; rss in m6, sd in m3 (n - 1 df)."""

    c: float
    n: int
    rss_m6: float
    sd_m3: float
    range: SampleRange

    @property
    def method(self) -> str:
        """The method in words."""
        return f"constant form, {self.n} trees"

    @property
    def form_factor(self) -> float:
        """The form factor this constant stands for."""
        return self.c / AREA_PER_CM2

    def volume_m3(self, dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike) -> FloatArray:
        """c D^2 H in m3."""
        d_cm, h_m = _sizes(dbh_mm, height_m)
        return self.c * d_cm**2 * h_m

    def is_outside_range(self, dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike) -> BoolArray:
        """Outside the sample."""
        return _outside(self.range, dbh_mm, height_m)


@dataclass(frozen=True)
class Allometric:
    """V = b0 D^b1 H^b2, with standard errors of b1 and b2, n trees, n - 3 degrees of freedom.

    `rss` and `sd` are in the unit of `fit`: ln m3 of a log-log fit, m3 (and m6) of a nonlinear one.
    `bias_factor` is exp(sd^2 / 2) of a log-log fit, 1 of a nonlinear one. `r_squared` likewise is of what was
    fitted.
    """

    fit: FitMethod
    b0: float
    b1: float
    b2: float
    se_b1: float
    se_b2: float
    n: int
    rss: float
    sd: float
    r_squared: float
    bias_factor: float
    range: SampleRange

    @property
    def method(self) -> str:
        """The method in words."""
        bias = ", bias factor applied" if self.fit == "log-log" else ""
        return f"allometric (Schumacher and Hall), {self.fit} fit, {self.n} trees{bias}"

    def uncorrected_m3(self, dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike) -> FloatArray:
        """b0 D^b1 H^b2 in m3 without the bias factor: the median tree of a log-log fit."""
        d_cm, h_m = _sizes(dbh_mm, height_m)
        return self.b0 * d_cm**self.b1 * h_m**self.b2

    def volume_m3(self, dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike) -> FloatArray:
        """Volumes in m3, with the bias factor."""
        return self.bias_factor * self.uncorrected_m3(dbh_mm, height_m)

    def is_outside_range(self, dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike) -> BoolArray:
        """Outside the sample."""
        return _outside(self.range, dbh_mm, height_m)


def fit_form_factor(dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike, volume_m3: npt.ArrayLike) -> FormFactor:
    """Form factor of a measured sample: arrays of the same length. ValueError below 10 usable trees."""
    d_cm, h_m, v_m3 = _sample(dbh_mm, height_m, volume_m3)
    cylinders = AREA_PER_CM2 * d_cm**2 * h_m
    single = v_m3 / cylinders
    ratio = float(v_m3.sum() / cylinders.sum())
    return FormFactor(ratio, len(single), float(single.mean()), float(single.std(ddof=1)), _range(d_cm, h_m))


def fit_constant_form(
    dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike, volume_m3: npt.ArrayLike
) -> ConstantForm:
    """c of V = c D^2 H by least squares through the origin. ValueError below 10 usable trees."""
    d_cm, h_m, v_m3 = _sample(dbh_mm, height_m, volume_m3)
    x = d_cm**2 * h_m
    c = float(x @ v_m3 / (x @ x))
    residuals = v_m3 - c * x
    rss = float(residuals @ residuals)
    return ConstantForm(c, len(x), rss, math.sqrt(rss / (len(x) - 1)), _range(d_cm, h_m))


def fit_allometric(
    dbh_mm: npt.ArrayLike,
    height_m: npt.ArrayLike,
    volume_m3: npt.ArrayLike,
    fit: FitMethod = "nonlinear",
) -> Allometric:
    """Fit of V = b0 D^b1 H^b2 to a measured sample: arrays of the same length, rows with a value missing or
    not above 0 passed over.

    "log-log" is ordinary least squares on logarithms, "nonlinear" least squares on volumes (large trees weigh
    more). Raises ValueError below 10 usable trees, and where diameter and height go so much together, or vary
    so little, that they cannot be told apart.
    """
    d_cm, h_m, v_m3 = _sample(dbh_mm, height_m, volume_m3)
    log_v = np.log(v_m3)
    design = np.column_stack([np.ones(len(d_cm)), np.log(d_cm), np.log(h_m)])
    centred = design[:, 1:] - design[:, 1:].mean(axis=0)
    if np.linalg.matrix_rank(centred, tol=1e-6) < 2:
        raise ValueError("diameter and height of the sample cannot be told apart: use a form factor")
    coefficients = np.linalg.lstsq(design, log_v, rcond=None)[0]
    if fit == "log-log":
        return _allometric("log-log", coefficients, log_v, design @ coefficients, design, _range(d_cm, h_m))
    if fit != "nonlinear":
        raise ValueError(f"fit {fit!r}: expected 'log-log' or 'nonlinear'")
    found = optimize.least_squares(
        lambda at: np.exp(design @ at) - v_m3,
        coefficients,
        jac=lambda at: np.exp(design @ at)[:, None] * design,
        x_scale="jac",
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-14,
    )
    if found.status <= 0:
        raise ValueError("the nonlinear fit does not settle: look for wrong volumes, or use log-log")
    fitted = np.exp(design @ found.x)
    gradient = fitted[:, None] * design
    return _allometric("nonlinear", found.x, v_m3, fitted, gradient, _range(d_cm, h_m))


def tree_volumes(trees: pd.DataFrame, equation: VolumeEquation) -> pd.DataFrame:
    """The trees with volume_m3 (over bark), volume_method, and volume_extrapolated (outside the equation's
    sample); method None where there is no volume.

    `trees`: dbh_mm, height_m. With height_source "curve" the method says that the height was estimated.
    """
    dbh, height = numbers(trees, "dbh_mm"), numbers(trees, "height_m")
    volume = equation.volume_m3(dbh, height)
    known = ~np.isnan(volume)
    method = np.full(len(trees), None, dtype=object)
    method[known] = equation.method
    if "height_source" in trees.columns:
        estimated = known & (trees["height_source"].to_numpy(dtype=object) == "curve")
        method[estimated] = f"{equation.method}, height from curve"
    outside = known & equation.is_outside_range(dbh, height)
    named = pd.Series(method, index=trees.index, dtype=object)  # keeps None, which text columns do not
    return trees.assign(volume_m3=volume, volume_method=named, volume_extrapolated=outside)


def _allometric(
    fit: FitMethod,
    at: FloatArray,
    observed: FloatArray,
    fitted: FloatArray,
    gradient: FloatArray,
    sample_range: SampleRange,
) -> Allometric:
    residuals = observed - fitted
    rss = float(residuals @ residuals)
    variance = rss / (len(observed) - 3)
    errors = np.sqrt(variance * np.diag(np.linalg.inv(gradient.T @ gradient)))
    return Allometric(
        fit=fit,
        b0=math.exp(at[0]),
        b1=float(at[1]),
        b2=float(at[2]),
        se_b1=float(errors[1]),
        se_b2=float(errors[2]),
        n=len(observed),
        rss=rss,
        sd=math.sqrt(variance),
        r_squared=1.0 - rss / float(((observed - observed.mean()) ** 2).sum()),
        bias_factor=math.exp(variance / 2.0) if fit == "log-log" else 1.0,
        range=sample_range,
    )


def _sizes(dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Diameter in cm and height in m, NaN where not above 0."""
    d_cm, h_m = as_floats(dbh_mm) / 10.0, as_floats(height_m)
    return np.where(d_cm > 0, d_cm, np.nan), np.where(h_m > 0, h_m, np.nan)


def _sample(
    dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike, volume_m3: npt.ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    sizes = np.column_stack([as_floats(dbh_mm) / 10.0, as_floats(height_m), as_floats(volume_m3)])
    usable = (np.isfinite(sizes) & (sizes > 0)).all(axis=1)
    if usable.sum() < LEAST_SAMPLE:
        raise ValueError(
            f"{int(usable.sum())} trees with diameter, height and volume: expected at least {LEAST_SAMPLE}"
        )
    return sizes[usable, 0], sizes[usable, 1], sizes[usable, 2]


def _range(d_cm: FloatArray, h_m: FloatArray) -> SampleRange:
    return SampleRange(float(d_cm.min()) * 10.0, float(d_cm.max()) * 10.0, float(h_m.min()), float(h_m.max()))


def _outside(sample: SampleRange | None, dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike) -> BoolArray:
    dbh, height = as_floats(dbh_mm), as_floats(height_m)
    if sample is None:
        return np.zeros(np.broadcast(dbh, height).shape, dtype=np.bool_)
    low = (dbh < sample.least_dbh_mm) | (height < sample.least_height_m)
    result: BoolArray = low | (dbh > sample.most_dbh_mm) | (height > sample.most_height_m)
    return result

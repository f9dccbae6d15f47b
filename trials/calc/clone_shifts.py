"""One height curve for a site, and for each clone how far it lies above or below: a random shift.

H = bh + (b + a/D)^(-c) + u + e, u of a clone normal with variance t^2, e of a tree with s^2. A clone with few
heights is drawn towards the curve: its shift is t^2 / (t^2 + s^2/n) times the mean of its n residuals (Henderson
1975, Biometrics 31:423-447; Pinheiro and Bates 2000, ch. 2; both from memory). Variances by restricted maximum
likelihood; a and b by generalised least squares on the curve's tangent, until they stand still (Lindstrom and
Bates 1990, Biometrics 46:673-687, for a shift outside the curve; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import optimize

from trials.calc.height_curves import CurveRefusedError, HeightCurve, fit_height_curve
from trials.calc.tree_frames import FloatArray, as_floats

LEAST_CLONES = 3  # our own: between two clones there is hardly a variance to estimate
STEPS = 50


@dataclass(frozen=True)
class MixedFit:
    """A linear model with a random shift per group. `between` and `within` are standard deviations, `shifts` and
    `counts` by group in the order of `np.unique`."""

    coefficients: FloatArray
    covariance: FloatArray
    between: float
    within: float
    shifts: FloatArray
    counts: npt.NDArray[np.intp]


@dataclass(frozen=True)
class CloneShifts:
    """The curve of a site's average clone, and the shift of each clone in m by its code, with the number of
    heights it rests on. `between_m` and `within_m`: standard deviations of clones, and of trees of a clone."""

    curve: HeightCurve
    shifts_m: Mapping[str, float]
    counts: Mapping[str, int]
    between_m: float
    within_m: float

    def curve_of(self, clone: str) -> HeightCurve:
        """The curve for a clone, marked as borrowed and shifted; a clone without heights has no shift."""
        return replace(
            self.curve,
            group=clone,
            shift_m=self.shifts_m.get(clone, 0.0),
            shift_heights=self.counts.get(clone, 0),
        )


def fit_clone_shifts(
    dbh_mm: npt.ArrayLike,
    height_m: npt.ArrayLike,
    clone: npt.ArrayLike,
    power: float = 2.5,
    breast_height_m: float = 1.3,
    group: str = "the whole site",
) -> CloneShifts:
    """Curve and shifts from trees with a measured height; rows without diameter, height or clone are passed over.

    CurveRefusedError as `fit_height_curve`, and with heights of fewer than three clones.
    """
    plain = fit_height_curve(dbh_mm, height_m, power, breast_height_m, group)
    dbh, height = as_floats(dbh_mm), as_floats(height_m)
    names = np.array(
        [None if _is_missing(c) else str(c) for c in np.asarray(clone, dtype=object)], dtype=object
    )
    with np.errstate(invalid="ignore"):
        used = (dbh > 0) & np.isfinite(dbh) & np.isfinite(height) & (height > breast_height_m)
    used &= names != None  # noqa: E711 (element by element)
    d_cm, h_m, clones = dbh[used] / 10.0, height[used], names[used].astype(str)
    codes, at = np.unique(clones, return_inverse=True)
    if len(codes) < LEAST_CLONES:
        raise CurveRefusedError(f"heights of {len(codes)} clones: shifts need at least {LEAST_CLONES}")
    curve, fit = _settled(d_cm, h_m, at, plain)
    return CloneShifts(
        curve,
        {str(code): float(shift) for code, shift in zip(codes, fit.shifts, strict=True)},
        {str(code): int(n) for code, n in zip(codes, fit.counts, strict=True)},
        fit.between,
        fit.within,
    )


def _is_missing(value: object) -> bool:
    return value is None or (isinstance(value, float) and math.isnan(value))


def _settled(
    d_cm: FloatArray, h_m: FloatArray, at: npt.NDArray[np.intp], plain: HeightCurve
) -> tuple[HeightCurve, MixedFit]:
    """Repeat the linear fit on the tangent of the curve until a and b stand still."""
    a, b, power, bh = plain.a, plain.b, plain.power, plain.breast_height_m
    for _ in range(STEPS):
        base = b + a / d_cm
        if (base <= 0).any():
            break
        tangent = -power * base ** (-power - 1.0)
        design = np.column_stack([tangent / d_cm, tangent])
        residual = h_m - bh - base**-power
        fit = fit_random_shift(design, residual + design @ np.array([a, b]), at)
        step = fit.coefficients - np.array([a, b])
        a, b = float(fit.coefficients[0]), float(fit.coefficients[1])
        if np.abs(step).max() < 1e-7 * max(abs(a), abs(b)):
            return _with(plain, a, b, residual, fit), fit
    raise CurveRefusedError("the fit of the height curve with shifts does not settle")


def _with(plain: HeightCurve, a: float, b: float, residual: FloatArray, fit: MixedFit) -> HeightCurve:
    c = fit.covariance
    return replace(
        plain,
        a=a,
        b=b,
        rss_m2=float(residual @ residual),
        sd_m=math.hypot(fit.between, fit.within),
        covariance=(float(c[0, 0]), float(c[0, 1]), float(c[1, 1])),
    )


def fit_random_shift(design: FloatArray, response: FloatArray, at: npt.NDArray[np.intp]) -> MixedFit:
    """y = X b + shift of the group + e by restricted maximum likelihood.

    `design`: shape (rows, parameters), `at`: group of each row, 0 to groups - 1. The ratio of the two variances is
    searched on its logarithm from 1e-5 to 1e5; where no ratio does better than 0, groups do not differ.
    """
    counts: FloatArray = np.bincount(at).astype(np.float64)
    # Everything the likelihood needs, summed once by group.
    sums: FloatArray = np.column_stack([np.bincount(at, weights=x) for x in (*design.T, response)])
    whole = np.column_stack([design, response])
    products = whole.T @ whole

    def criterion(log_ratio: float) -> float:
        return _deviance(math.exp(log_ratio), products, sums, counts, len(response))[0]

    found = optimize.minimize_scalar(
        criterion, bounds=(math.log(1e-5), math.log(1e5)), method="bounded", options={"xatol": 1e-10}
    )
    ratio = math.exp(float(found.x))
    if _deviance(0.0, products, sums, counts, len(response))[0] <= float(found.fun):
        ratio = 0.0
    _, coefficients, variance, covariance = _deviance(ratio, products, sums, counts, len(response))
    residual_sums = sums[:, -1] - sums[:, :-1] @ coefficients
    shifts = ratio / (1.0 + ratio * counts) * residual_sums
    return MixedFit(
        coefficients,
        covariance,
        math.sqrt(ratio * variance),
        math.sqrt(variance),
        shifts,
        counts.astype(np.intp),
    )


def _deviance(
    ratio: float, products: FloatArray, sums: FloatArray, counts: FloatArray, n: int
) -> tuple[float, FloatArray, float, FloatArray]:
    """-2 times the restricted log-likelihood but for a constant, coefficients, variance within, covariance.

    The inverse of I + ratio J in a group of n is I - ratio / (1 + ratio n) J.
    """
    shrink = ratio / (1.0 + ratio * counts)
    weighted = products - (sums * shrink[:, None]).T @ sums
    xx, xy, yy = weighted[:-1, :-1], weighted[:-1, -1], float(weighted[-1, -1])
    inverse = np.asarray(np.linalg.inv(xx), dtype=np.float64)
    coefficients: FloatArray = inverse @ xy
    free = n - len(xy)
    variance = max((yy - float(xy @ coefficients)) / free, 1e-300)
    _, log_determinant = np.linalg.slogdet(xx)
    deviance = free * math.log(variance) + float(np.log1p(ratio * counts).sum()) + float(log_determinant)
    return deviance, coefficients, variance, np.asarray(variance * inverse, dtype=np.float64)

"""Height-diameter curves: heights of trees nobody climbed, and the band a typed height should lie in.

One family, H = bh + (b + a/D)^(-c), H and bh (breast height) in m, D in cm inside the formula. c = 2 is
Näslund's form (1936; H = bh + D^2 / (a + bD)^2), c = 2.5 and 3 carry Petterson's name; c = 5 did best for
radiata pine in Canterbury (Zhao, Mason, Brown 2006, NZ J. For. 51(1):23-27, found). Woollons 2003 (NZ J. For.
48(3):15-18, found): the power matters little.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import optimize, stats

from trials.calc.tree_frames import FloatArray, as_floats

CURVE_NAMES: Mapping[float, str] = {
    2.0: "Näslund (power 2)",
    2.5: "Petterson (power 2.5)",
    3.0: "Petterson (power 3)",
    5.0: "Petterson family (power 5)",
}
LEAST_HEIGHTS = 10  # found: school notes on height curves; 20 to 30 is normal
BAND_LEVEL = 0.99  # our own: at 95 % one sound tree in twenty would be asked about


class CurveRefusedError(ValueError):
    """No curve can be fitted to these heights; the message says why."""


@dataclass(frozen=True)
class HeightCurve:
    """A fitted curve. a in cm m^(-1/c), b in m^(-1/c), residual sd and breast height in m.

    `covariance` holds var(a), cov(a, b), var(b) as fitted. `least_dbh_mm` and `most_dbh_mm` bound the
    diameters it was fitted to; beyond them a prediction is an extrapolation. `fitted_on` names the trees it
    was fitted to, `group` those it is used for: they differ in a borrowed curve. `left_out` counts rows with
    both readings that cannot belong to a tree (not above 0, height not above breast height). `shift_m` raises or
    lowers a curve fitted to several clones for one of them, by `shift_heights` heights of its own (None: a curve
    without shifts).
    """

    a: float
    b: float
    power: float
    breast_height_m: float
    n_heights: int
    left_out: int
    rss_m2: float
    sd_m: float
    covariance: tuple[float, float, float]
    least_dbh_mm: float
    most_dbh_mm: float
    group: str
    fitted_on: str
    shift_m: float = 0.0
    shift_heights: int | None = None

    @property
    def name(self) -> str:
        """The name of the form."""
        return CURVE_NAMES[self.power]

    @property
    def is_borrowed(self) -> bool:
        """Whether the curve was fitted to other trees than those it is used for."""
        return self.group != self.fitted_on

    @property
    def method(self) -> str:
        """What stands beside an estimated height: form, number of heights, and whose they are."""
        whose = f", borrowed from {self.fitted_on}" if self.is_borrowed else ""
        shift = ""
        if self.shift_heights:
            own = f"{self.shift_heights} height{'' if self.shift_heights == 1 else 's'} of its own"
            shift = f", shifted by {self.shift_m:+.2f} m ({own})"
        return f"{self.name}, {self.n_heights} heights{whose}{shift}"

    def height_m(self, dbh_mm: npt.ArrayLike) -> FloatArray:
        """Heights in m at diameters in mm; NaN for a missing or impossible diameter, and where the curve has
        no height (b < 0, far above the fitted diameters)."""
        height = _curve(as_floats(dbh_mm) / 10.0, self.a, self.b, self.power, self.breast_height_m)
        if self.shift_m:
            height = np.maximum(height + self.shift_m, self.breast_height_m)
        return height

    def is_outside_range(self, dbh_mm: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        """Whether diameters in mm lie outside those the curve was fitted to."""
        dbh = as_floats(dbh_mm)
        return (dbh < self.least_dbh_mm) | (dbh > self.most_dbh_mm)

    def band_m(self, dbh_mm: npt.ArrayLike, level: float = BAND_LEVEL) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest plausible height in m of one more tree at each diameter in mm.

        Prediction interval of nonlinear regression, linearised at the estimates: t with n - 2 degrees of
        freedom times sqrt(sd^2 + g' C g), g the gradient of H in (a, b) (Bates and Watts 1988, ch. 2; from
        memory). Never below breast height.
        """
        d_cm = as_floats(dbh_mm) / 10.0
        height = self.height_m(dbh_mm)
        by_a, by_b = _gradient(d_cm, self.a, self.b, self.power)
        var_a, cov, var_b = self.covariance
        variance = self.sd_m**2 + by_a**2 * var_a + 2.0 * by_a * by_b * cov + by_b**2 * var_b
        half = _t_factor(level, self.n_heights) * np.sqrt(variance)
        return np.maximum(height - half, self.breast_height_m), height + half

    def numbers(self, level: float = BAND_LEVEL) -> dict[str, float]:
        """The few numbers a phone needs for `band_from_numbers`, plain floats."""
        var_a, cov, var_b = self.covariance
        return {
            "a": self.a,
            "b": self.b,
            "power": self.power,
            "breast_height_m": self.breast_height_m,
            "sd_m": self.sd_m,
            "t": _t_factor(level, self.n_heights),
            "var_a": var_a,
            "cov_ab": cov,
            "var_b": var_b,
            "least_dbh_mm": self.least_dbh_mm,
            "most_dbh_mm": self.most_dbh_mm,
        }


def band_from_numbers(curve: Mapping[str, float], dbh_mm: float) -> tuple[float, float, float] | None:
    """Lowest, expected and highest height in m at a diameter in mm, from `HeightCurve.numbers`.

    Arithmetic only, so that a phone can do the same line by line. None where the curve says nothing: no
    diameter, or one outside the fitted range by more than a quarter (our own limit).
    """
    if not 0.75 * curve["least_dbh_mm"] <= dbh_mm <= 1.25 * curve["most_dbh_mm"]:
        return None
    d_cm = dbh_mm / 10.0
    base = curve["b"] + curve["a"] / d_cm
    if base <= 0.0:
        return None
    rise = math.pow(base, -curve["power"])
    by_b = -curve["power"] * rise / base
    by_a = by_b / d_cm
    variance = curve["sd_m"] ** 2 + by_a * by_a * curve["var_a"]
    variance += 2.0 * by_a * by_b * curve["cov_ab"] + by_b * by_b * curve["var_b"]
    half = curve["t"] * math.sqrt(variance)
    height = curve["breast_height_m"] + rise
    return max(height - half, curve["breast_height_m"]), height, height + half


def fit_height_curve(
    dbh_mm: npt.ArrayLike,
    height_m: npt.ArrayLike,
    power: float = 2.5,
    breast_height_m: float = 1.3,
    group: str = "",
) -> HeightCurve:
    """Least squares on the heights themselves, from the linear start values.

    `dbh_mm` and `height_m`: arrays of the same length, diameters in mm over bark at breast height and
    measured heights in m; rows without both are passed over. Power: 2, 2.5, 3 or 5. Raises
    CurveRefusedError with fewer than 10 usable heights, diameters all alike, or heights that do not rise with
    diameter: borrow another group's curve then (`borrowed`). Raises ValueError for another power, or an
    impossible breast height.
    """
    if power not in CURVE_NAMES:
        raise ValueError(f"power {power!r} of a height curve: expected one of 2, 2.5, 3, 5")
    if not 0.0 < breast_height_m < 2.0:
        raise ValueError(f"breast height {breast_height_m!r} m: expected above 0 and below 2 m, such as 1.3")
    dbh, height = as_floats(dbh_mm), as_floats(height_m)
    both = ~np.isnan(dbh) & ~np.isnan(height)
    usable = both & (dbh > 0) & np.isfinite(dbh) & np.isfinite(height) & (height > breast_height_m)
    d_cm, h_m = dbh[usable] / 10.0, height[usable]
    where = f" of {group}" if group else ""
    if len(d_cm) < LEAST_HEIGHTS:
        raise CurveRefusedError(
            f"{len(d_cm)} measured heights{where}: a curve needs at least {LEAST_HEIGHTS}; borrow another one"
        )
    if np.ptp(d_cm) < 1e-6 * d_cm.max():
        raise CurveRefusedError(f"all diameters{where} are the same: no curve can be fitted")
    a, b = _least_squares(d_cm, h_m, power, breast_height_m)
    if a <= 0.0:
        raise CurveRefusedError(f"heights{where} do not rise with diameter: look for wrong trees or units")
    residuals = h_m - _curve(d_cm, a, b, power, breast_height_m)
    rss = float(residuals @ residuals)
    gradient = np.column_stack(_gradient(d_cm, a, b, power))
    covariance = rss / (len(d_cm) - 2) * np.linalg.inv(gradient.T @ gradient)
    return HeightCurve(
        a=a,
        b=b,
        power=float(power),
        breast_height_m=breast_height_m,
        n_heights=len(d_cm),
        left_out=int((both & ~usable).sum()),
        rss_m2=rss,
        sd_m=math.sqrt(rss / (len(d_cm) - 2)),
        covariance=(float(covariance[0, 0]), float(covariance[0, 1]), float(covariance[1, 1])),
        least_dbh_mm=float(d_cm.min()) * 10.0,
        most_dbh_mm=float(d_cm.max()) * 10.0,
        group=group,
        fitted_on=group,
    )


def linear_start(
    d_cm: FloatArray, h_m: FloatArray, power: float, breast_height_m: float
) -> tuple[float, float]:
    """a and b from the straight line D / (H - bh)^(1/c) = a + b D. Start values only: the line minimises
    another loss than heights do."""
    line = stats.linregress(d_cm, d_cm / (h_m - breast_height_m) ** (1.0 / power))
    return float(line.intercept), float(line.slope)


def borrowed(curve: HeightCurve, group: str) -> HeightCurve:
    """The same curve for trees it was not fitted to, marked as borrowed. Whether that is right is the
    caller's choice."""
    return replace(curve, group=group)


def _curve(d_cm: FloatArray, a: float, b: float, power: float, breast_height_m: float) -> FloatArray:
    with np.errstate(invalid="ignore", divide="ignore"):
        base = b + a / np.where(d_cm > 0, d_cm, np.nan)
        result: FloatArray = breast_height_m + np.where(base > 0, base, np.nan) ** -power
    return result


def _gradient(d_cm: FloatArray, a: float, b: float, power: float) -> tuple[FloatArray, FloatArray]:
    """dH/da and dH/db."""
    with np.errstate(invalid="ignore", divide="ignore"):
        base = b + a / np.where(d_cm > 0, d_cm, np.nan)
        by_b: FloatArray = -power * np.where(base > 0, base, np.nan) ** (-power - 1.0)
    return by_b / d_cm, by_b


def _t_factor(level: float, n_heights: int) -> float:
    if not 0.0 < level < 1.0:
        raise ValueError(f"level {level!r} of a band: expected above 0 and below 1, such as 0.99")
    return float(stats.t.ppf(0.5 + level / 2.0, n_heights - 2))


def _least_squares(d_cm: FloatArray, h_m: FloatArray, power: float, bh: float) -> tuple[float, float]:
    def residuals(at: FloatArray) -> FloatArray:
        # The floor keeps a step into impossible values finite, and far worse than any sound one.
        base = np.maximum(at[1] + at[0] / d_cm, 0.01)
        result: FloatArray = bh + base**-power - h_m
        return result

    def jacobian(at: FloatArray) -> FloatArray:
        base = np.maximum(at[1] + at[0] / d_cm, 0.01)
        by_b = -power * base ** (-power - 1.0)
        return np.column_stack([by_b / d_cm, by_b])

    start = linear_start(d_cm, h_m, power, bh)
    found = optimize.least_squares(
        residuals, start, jac=jacobian, method="lm", xtol=1e-14, ftol=1e-14, gtol=1e-14
    )
    a, b = float(found.x[0]), float(found.x[1])
    if found.status <= 0 or (b + a / d_cm <= 0).any():
        raise CurveRefusedError("the fit of the height curve does not settle: look for wrong heights")
    return a, b

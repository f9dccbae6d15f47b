"""Height-diameter curves against R's fits to 31 black cherry trees.

Source: R's open data set `trees` (Ryan, Joiner, Ryan 1976) in metric units, fixtures/reference/
01_trees_metric.csv; fits by R 4.2.2 nls and lm, 01_height_curves.csv (computed there). Breast height is
4.5 ft. Band: scipy.optimize.curve_fit and numerical derivatives, an independent route to the same interval.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from tests.published.reference import rows
from trials.calc.height_curves import (
    CurveRefusedError,
    HeightCurve,
    band_from_numbers,
    fit_height_curve,
    linear_start,
)

BREAST_HEIGHT_M = 4.5 * 0.3048
TABLE = rows("01_height_curves.csv")
POWERS = {"H=bh+(b+a/D)^-2": 2.0, "H=bh+(b+a/D)^-2.5": 2.5, "H=bh+(b+a/D)^-3": 3.0, "H=bh+(b+a/D)^-5": 5.0}


def cherries() -> pd.DataFrame:
    frame = pd.DataFrame(rows("01_trees_metric.csv"))[["dbh_cm", "height_m"]].astype(float)
    return frame.assign(dbh_mm=10 * frame["dbh_cm"])


def cherry_curve(power: float) -> HeightCurve:
    trees = cherries()
    return fit_height_curve(trees["dbh_mm"], trees["height_m"], power, BREAST_HEIGHT_M)


@pytest.mark.parametrize("row", [row for row in TABLE if row["model"] in POWERS], ids=lambda r: r["quantity"])
def test_fit_agrees_with_r(row: dict[str, str]) -> None:
    curve = cherry_curve(POWERS[row["model"]])
    quantity = row["quantity"]
    found = {"a": curve.a, "b": curve.b, "RSS": curve.rss_m2, "residual sd (29 df)": curve.sd_m}.get(quantity)
    if found is None:
        d_cm = float(quantity.removeprefix("H at D=").removesuffix(" cm"))
        found = float(curve.height_m(10 * d_cm))
    assert found == pytest.approx(float(row["expected"]), rel=float(row["tolerance_rel"]))


def test_linear_start_agrees_with_r() -> None:
    trees = cherries()
    d_cm, h_m = trees["dbh_cm"].to_numpy(), trees["height_m"].to_numpy()
    a, b = linear_start(d_cm, h_m, 2.0, BREAST_HEIGHT_M)
    wanted = {row["quantity"]: float(row["expected"]) for row in TABLE if "linearised" in row["model"]}
    assert a == pytest.approx(wanted["a"], rel=1e-4)
    assert b == pytest.approx(wanted["b"], rel=1e-4)
    rss = float(((h_m - BREAST_HEIGHT_M - (b + a / d_cm) ** -2.0) ** 2).sum())
    assert rss == pytest.approx(wanted["RSS in heights"], rel=1e-4)
    assert rss > cherry_curve(2.0).rss_m2


def test_naslund_in_its_own_writing() -> None:
    """H = bh + D^2 / (a + bD)^2 is the member with power 2 (found: table of forms, doi
    10.2478/fsmu-2024-0011)."""
    curve, d_cm = cherry_curve(2.0), np.array([15.0, 25.0, 40.0])
    own = BREAST_HEIGHT_M + d_cm**2 / (curve.a + curve.b * d_cm) ** 2
    assert curve.height_m(10 * d_cm) == pytest.approx(own, rel=1e-12)


@pytest.mark.parametrize("power", POWERS.values())
def test_band_agrees_with_another_route(power: float) -> None:
    trees = cherries()
    d_cm, h_m = trees["dbh_cm"].to_numpy(), trees["height_m"].to_numpy()

    def height(d: np.ndarray, a: float, b: float) -> np.ndarray:
        return BREAST_HEIGHT_M + (b + a / d) ** -power

    found, covariance = optimize.curve_fit(height, d_cm, h_m, p0=(0.7, 0.3), xtol=1e-12, ftol=1e-12)
    curve = cherry_curve(power)
    at = np.array([25.0, 35.0, 50.0])
    slopes = np.array(
        [
            [(height(at, *(found + h)) - height(at, *(found - h))) / (2 * np.abs(h).max())]
            for h in (np.array([1e-6, 0.0]), np.array([0.0, 1e-6]))
        ]
    ).squeeze(axis=1)
    sd = np.sqrt(((h_m - height(d_cm, *found)) ** 2).sum() / 29)
    half = stats.t.ppf(0.975, 29) * np.sqrt(sd**2 + np.einsum("id,ij,jd->d", slopes, covariance, slopes))
    low, high = curve.band_m(10 * at, level=0.95)
    assert low == pytest.approx(height(at, *found) - half, rel=1e-4)
    assert high == pytest.approx(height(at, *found) + half, rel=1e-4)


def test_a_phone_finds_the_same_band_from_the_few_numbers() -> None:
    curve = cherry_curve(2.5)
    numbers = curve.numbers(level=0.95)
    assert all(type(value) is float for value in numbers.values())
    for dbh_mm in (210.0, 300.0, 480.0):
        low, high = curve.band_m(dbh_mm, level=0.95)
        band = band_from_numbers(numbers, dbh_mm)
        assert band == pytest.approx((float(low), float(curve.height_m(dbh_mm)), float(high)), rel=1e-12)
    for beyond in (float("nan"), 0.0, -5.0, 100.0, 900.0):
        assert band_from_numbers(numbers, beyond) is None


def test_nine_heights_are_too_few_and_ten_are_enough() -> None:
    """At least 10 measured heights: found (notes of a forestry school), 20 to 30 being normal."""
    trees = cherries()
    with pytest.raises(CurveRefusedError, match="9 measured heights of P7: a curve needs at least 10"):
        fit_height_curve(trees["dbh_mm"].head(9), trees["height_m"].head(9), group="P7")
    assert fit_height_curve(trees["dbh_mm"].head(10), trees["height_m"].head(10)).n_heights == 10

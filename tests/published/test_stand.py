"""Stand figures against a worked plot, and growth against the pines of an open data set.

Source: fixtures/reference/01_stand.csv, computed from the definitions of Husch, Beers, Kershaw and of van Laar
and Akça; heights of R's open data set `Loblolly` (seed 301: 52.70 ft at 20 years, 60.92 ft at 25). The 100
fattest stems a hectare, read from the curve: Zhao, Mason, Brown 2006, NZ J. For. 51(1):23-27 (found).
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from tests.published.reference import Check, checks
from trials.calc.height_curves import HeightCurve
from trials.calc.increments import (
    mean_annual_increment,
    periodic_increment,
    stem_increments,
    with_mean_increments,
)
from trials.calc.stand import basal_area_m2, quadratic_mean_mm, slenderness, stand_figures, survival
from trials.calc.top_height import top_height
from trials.calc.tree_volume import FormFactor

CHECKS = checks("01_stand.csv")
FOOT_M = 0.3048


def expected(check_id: str) -> object:
    check = CHECKS[check_id]
    return pytest.approx(check.expected, rel=check.tolerance)


def plot_of(check: Check) -> pd.DataFrame:
    """The worked plot: its live stems, and the planted positions that are empty."""
    diameters = [float(text) for text in check.inputs.split()[0].removeprefix("dbh_cm=").split(";")]
    dead = int(check.given("planted")) - len(diameters)
    return pd.DataFrame(
        {
            "tree": [f"T{i}" for i in range(len(diameters) + dead)],
            "plot": "P1",
            "plot_ha": check.given("plot_ha"),
            "alive": [True] * len(diameters) + [False] * dead,
            "dbh_mm": [10 * d for d in diameters] + [np.nan] * dead,
            "height_m": np.nan,
        }
    )


def curve_of(check: Check, breast_height_m: float) -> HeightCurve:
    """The curve whose coefficients the table gives."""
    return HeightCurve(
        a=check.given("a"),
        b=check.given("b"),
        power=check.given("c"),
        breast_height_m=breast_height_m,
        n_heights=31,
        left_out=0,
        rss_m2=80.64,
        sd_m=1.67,
        covariance=(0.0, 0.0, 0.0),
        least_dbh_mm=200.0,
        most_dbh_mm=530.0,
        group="P1",
        fitted_on="P1",
    )


def test_basal_area_of_one_tree() -> None:
    assert basal_area_m2(10 * CHECKS["S1"].given("dbh_cm")) == expected("S1")


@pytest.mark.parametrize(
    ("check_id", "column", "factor"),
    [
        ("S3", "basal_area_m2_per_ha", 1.0),
        ("S4", "stems_per_ha", 1.0),
        ("S5", "mean_dbh_mm", 0.1),
        ("S6", "quadratic_mean_dbh_mm", 0.1),
        ("S7", "survival", 1.0),
        ("S8", "mean_top_dbh_mm", 0.1),
    ],
)
def test_worked_plot(check_id: str, column: str, factor: float) -> None:
    table = stand_figures(plot_of(CHECKS[check_id])).table
    assert table[column].item() * factor == expected(check_id)


def test_basal_area_of_the_plot_is_that_per_hectare_times_its_area() -> None:
    row = stand_figures(plot_of(CHECKS["S2"])).table.iloc[0]
    assert row["basal_area_m2_per_ha"] * row["plot_area_ha"] == expected("S2")
    assert basal_area_m2(plot_of(CHECKS["S2"])["dbh_mm"].dropna()).sum() == expected("S2")


@pytest.mark.parametrize(("check_id", "breast_height_m"), [("S9", 1.4), ("S10", 1.3)])
def test_top_height_is_the_curve_at_the_mean_top_diameter(check_id: str, breast_height_m: float) -> None:
    curve = curve_of(CHECKS[check_id], breast_height_m)
    assert float(curve.height_m(10 * CHECKS[check_id].given("dbh_cm"))) == expected(check_id)
    row = stand_figures(plot_of(CHECKS["S8"]), curves={"P1": curve}).table.iloc[0]
    assert row["top_height_m"] == pytest.approx(CHECKS[check_id].expected, rel=1e-6)
    assert row["top_method"] == "curve at top diameter"
    assert row["top_stems"] == 2


def test_volume_by_form_factor() -> None:
    check = CHECKS["S11"]
    volume = FormFactor(check.given("f")).volume_m3(10 * check.given("dbh_cm"), check.given("height_m"))
    assert float(volume) == expected("S11")


def test_slenderness() -> None:
    check = CHECKS["S12"]
    assert float(slenderness(check.given("height_m"), 10 * check.given("dbh_cm"))) == expected("S12")


def loblolly(age_years: float, height_ft: float) -> pd.DataFrame:
    return pd.DataFrame({"tree": ["301"], "age_years": [age_years], "height_m": [height_ft * FOOT_M]})


def test_mean_annual_increment_of_the_pine() -> None:
    assert float(mean_annual_increment(60.92 * FOOT_M, 25.0)) == expected("S13")
    figures = with_mean_increments(pd.DataFrame({"mean_height_m": [60.92 * FOOT_M]}), 25.0)
    assert figures["height_mai_m_per_year"].item() == expected("S13")


def test_periodic_annual_increment_of_the_pine() -> None:
    stems = stem_increments(loblolly(20.0, 52.70), loblolly(25.0, 60.92), "height_m")
    assert stems["height_m_per_year"].item() == expected("S14")
    assert periodic_increment(stems, "height_m")["height_m_per_year"].item() == expected("S14")


def test_a_plot_takes_round_of_100_stems_a_hectare_and_small_plots_say_dominant_height() -> None:
    """Number of top stems and the naming below 0.02 ha: common practice in small clonal plots."""
    dbh, height = np.arange(200.0, 300.0, 10.0), np.linspace(15.0, 24.0, 10)
    for area_ha, stems, method in (
        (0.04, 4, "mean of measured heights"),
        (0.02, 2, "mean of measured heights"),
        (0.016, 2, "dominant height, 2 stems (mean of measured heights)"),
        (0.009, 1, "dominant height, 1 stem (mean of measured heights)"),
        (0.0009, 1, "dominant height, 1 stem (mean of measured heights)"),
    ):
        top = top_height(dbh, height, area_ha)
        assert (top.stems, top.method) == (stems, method)
        assert top.height_m == pytest.approx(height[-stems:].mean())
    assert math.isnan(top_height(dbh, height, math.nan).height_m)


def test_survival_is_of_planted_positions() -> None:
    assert survival(10, 12) == expected("S7")
    with pytest.raises(ValueError, match="13 live of 12 planted"):
        survival(13, 12)
    assert math.isnan(survival(0, 0))
    assert quadratic_mean_mm([300.0, np.nan, 400.0]) == pytest.approx(math.sqrt(125_000.0))

"""Height curves whatever the trees: what is recovered, refused, borrowed and marked."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trials.calc.height_curves import (
    CURVE_NAMES,
    CurveRefusedError,
    band_from_numbers,
    borrowed,
    fit_height_curve,
)
from trials.calc.missing_heights import fill_heights, fit_height_curves


def heights(dbh_mm: np.ndarray, a: float = 0.8, b: float = 0.28, power: float = 2.5) -> np.ndarray:
    return 1.3 + (b + a / (dbh_mm / 10.0)) ** -power


@given(
    a=st.floats(0.3, 2.0),
    b=st.floats(0.15, 0.5),
    power=st.sampled_from(sorted(CURVE_NAMES)),
    least=st.floats(40, 150),
    n=st.integers(10, 40),
)
@settings(deadline=None)
def test_a_curve_without_noise_is_recovered(a: float, b: float, power: float, least: float, n: int) -> None:
    dbh = np.linspace(least, 3 * least, n)
    height = heights(dbh, a, b, power)
    curve = fit_height_curve(dbh, height, power)
    assert curve.height_m(dbh) == pytest.approx(height, rel=1e-6)
    assert (np.diff(curve.height_m(np.linspace(20, 800, 50))) > 0).all()


@given(seed=st.integers(0, 1000), power=st.sampled_from(sorted(CURVE_NAMES)))
@settings(deadline=None, max_examples=40)
def test_no_small_step_betters_the_fit(seed: int, power: float) -> None:
    rng = np.random.default_rng(seed)
    dbh = rng.uniform(80, 400, 25)
    height = heights(dbh) + rng.normal(0, 1.2, 25)
    curve = fit_height_curve(dbh, height, power)
    for step_a, step_b in ((1e-3, 0), (-1e-3, 0), (0, 1e-3), (0, -1e-3), (1e-3, -1e-3)):
        moved = heights(dbh, curve.a * (1 + step_a), curve.b * (1 + step_b), power)
        assert ((height - moved) ** 2).sum() >= curve.rss_m2 - 1e-9


def test_the_band_holds_the_share_it_promises() -> None:
    """99 % of further trees in the long run: within four standard errors over 200 stands of 40 trees."""
    rng = np.random.default_rng(5)
    inside = []
    for _ in range(200):
        dbh = rng.uniform(100, 400, 80)
        height = heights(dbh) + rng.normal(0, 1.0, 80)
        low, high = fit_height_curve(dbh[:40], height[:40]).band_m(dbh[40:])
        inside.append(((low <= height[40:]) & (height[40:] <= high)).mean())
    assert abs(np.mean(inside) - 0.99) < 4 * np.std(inside) / np.sqrt(200)


def test_unmeasured_and_impossible_pairs_are_passed_over() -> None:
    dbh = np.linspace(100, 300, 12)
    spoilt_dbh = np.concatenate([dbh, [200.0, np.nan, 200.0, -50.0, 150.0]])
    spoilt_height = np.concatenate([heights(dbh), [np.nan, 15.0, 1.1, 15.0, np.inf]])
    curve = fit_height_curve(spoilt_dbh, spoilt_height)
    assert (curve.n_heights, curve.left_out) == (12, 3)
    assert curve.a == pytest.approx(0.8, rel=1e-6)


def test_refusals() -> None:
    dbh = np.linspace(100, 300, 12)
    with pytest.raises(CurveRefusedError, match="do not rise with diameter"):
        fit_height_curve(dbh, heights(dbh)[::-1])
    with pytest.raises(CurveRefusedError, match="all diameters of P1 are the same"):
        fit_height_curve(np.full(12, 200.0), heights(dbh), group="P1")
    with pytest.raises(ValueError, match="power 4"):
        fit_height_curve(dbh, heights(dbh), power=4)
    with pytest.raises(ValueError, match="breast height 130"):
        fit_height_curve(dbh, heights(dbh), breast_height_m=130)
    with pytest.raises(ValueError, match=r"level 99"):
        fit_height_curve(dbh, heights(dbh)).band_m(200.0, level=99)


def two_plots() -> pd.DataFrame:
    dbh = np.linspace(100, 300, 20)
    return pd.DataFrame(
        {
            "tree": range(26),
            "plot": ["P1"] * 20 + ["P2"] * 6,
            "dbh_mm": [*dbh, 120.0, 180.0, 240.0, 500.0, np.nan, 200.0],
            "height_m": [*heights(dbh)[:15], *[np.nan] * 5, 9.0, np.nan, np.nan, np.nan, 12.0, np.nan],
        }
    )


def test_a_plot_with_too_few_heights_is_refused_unless_one_is_lent() -> None:
    trees = two_plots()
    curves, refusals = fit_height_curves(trees, ("plot",))
    assert list(curves) == ["P1"]
    assert "1 measured heights of P2: a curve needs at least 10" in refusals["P2"]
    lent, _ = fit_height_curves(trees, ("plot",), borrow=curves["P1"])
    assert not lent["P1"].is_borrowed
    assert lent["P2"].is_borrowed
    assert lent["P2"].method == "Petterson (power 2.5), 15 heights, borrowed from P1"
    assert borrowed(curves["P1"], "P1").is_borrowed is False


def test_filled_heights_are_marked_and_measured_ones_kept() -> None:
    trees = two_plots()
    curves, _ = fit_height_curves(trees, ("plot",))
    lent, _ = fit_height_curves(trees, ("plot",), borrow=curves["P1"])
    filled = fill_heights(trees, lent, ("plot",))
    measured = trees["height_m"].notna()
    assert (filled.loc[measured, "height_m"] == trees.loc[measured, "height_m"]).all()
    assert set(filled.loc[measured, "height_source"]) == {"measured"}
    estimated = filled[~measured & trees["dbh_mm"].notna()]
    assert set(estimated["height_source"]) == {"curve"}
    assert estimated["height_m"].to_numpy() == pytest.approx(
        heights(estimated["dbh_mm"].to_numpy()), rel=1e-6
    )
    assert filled["height_extrapolated"].to_numpy().nonzero()[0].tolist() == [15, 16, 17, 18, 19, 23]
    only_p1 = fill_heights(trees, curves, ("plot",))
    assert only_p1.loc[21, "height_source"] is None
    assert np.isnan(only_p1.loc[21, "height_m"])


def test_filling_twice_is_filling_once_and_estimates_never_feed_a_curve() -> None:
    trees = two_plots()
    curves, _ = fit_height_curves(trees, ("plot",))
    filled = fill_heights(trees, curves, ("plot",))
    pd.testing.assert_frame_equal(fill_heights(filled, curves, ("plot",)), filled)
    assert fit_height_curves(filled, ("plot",))[0]["P1"].n_heights == 15


def test_all_trees_as_one_group() -> None:
    curves, refusals = fit_height_curves(two_plots(), ())
    assert refusals == {}
    assert [curve.group for curve in curves.values()] == ["all trees"]


def test_a_phone_is_told_nothing_far_outside_the_fitted_diameters() -> None:
    dbh = np.linspace(100, 300, 20)
    numbers = fit_height_curve(dbh, heights(dbh)).numbers()
    assert band_from_numbers(numbers, 74.9) is None
    assert band_from_numbers(numbers, 75.1) is not None
    assert band_from_numbers(numbers, 374.9) is not None
    assert band_from_numbers(numbers, 375.1) is None

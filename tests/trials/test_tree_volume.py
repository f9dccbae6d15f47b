"""Volume of standing trees whatever the sample: what is recovered, refused and marked."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trials.calc.tree_volume import (
    FormFactor,
    fit_allometric,
    fit_constant_form,
    fit_form_factor,
    tree_volumes,
)

RNG = np.random.default_rng(4)
DBH_MM = RNG.uniform(120, 450, 30)
HEIGHT_M = 8 + DBH_MM / 25 + RNG.normal(0, 2, 30)


@given(
    b0=st.floats(1e-5, 1e-4),
    b1=st.floats(1.5, 2.2),
    b2=st.floats(0.6, 1.3),
    fit=st.sampled_from(["log-log", "nonlinear"]),
)
@settings(deadline=None)
def test_a_power_law_without_noise_is_recovered(b0: float, b1: float, b2: float, fit: str) -> None:
    volume = b0 * (DBH_MM / 10) ** b1 * HEIGHT_M**b2
    found = fit_allometric(DBH_MM, HEIGHT_M, volume, fit)  # type: ignore[arg-type]
    assert (found.b1, found.b2) == (pytest.approx(b1, abs=1e-6), pytest.approx(b2, abs=1e-6))
    assert found.volume_m3(DBH_MM, HEIGHT_M) == pytest.approx(volume, rel=1e-6)
    assert found.bias_factor == pytest.approx(1.0)


@given(seed=st.integers(0, 500))
@settings(deadline=None, max_examples=40)
def test_no_small_step_betters_the_nonlinear_fit(seed: int) -> None:
    volume = 4e-5 * (DBH_MM / 10) ** 1.9 * HEIGHT_M * np.random.default_rng(seed).lognormal(0, 0.1, 30)
    fit = fit_allometric(DBH_MM, HEIGHT_M, volume)
    for step in ((1e-4, 0, 0), (0, 1e-4, 0), (0, 0, 1e-4), (-1e-4, 0, 0), (0, -1e-4, 0), (0, 0, -1e-4)):
        moved = fit.b0 * (1 + step[0]) * (DBH_MM / 10) ** (fit.b1 + step[1]) * HEIGHT_M ** (fit.b2 + step[2])
        assert ((volume - moved) ** 2).sum() >= fit.rss - 1e-12


def test_the_bias_factor_brings_the_sum_back() -> None:
    """Log-normal errors of 0.4 in many trees: the uncorrected sum falls short by exp(0.08), about 8 %."""
    rng = np.random.default_rng(9)
    dbh, height = rng.uniform(100, 400, 20_000), rng.uniform(10, 30, 20_000)
    volume = 4e-5 * (dbh / 10) ** 1.9 * height * rng.lognormal(0, 0.4, 20_000)
    fit = fit_allometric(dbh, height, volume, "log-log")
    assert fit.uncorrected_m3(dbh, height).sum() / volume.sum() == pytest.approx(math.exp(-0.08), rel=0.01)
    assert fit.volume_m3(dbh, height).sum() / volume.sum() == pytest.approx(1.0, rel=0.01)


def test_missing_and_impossible_trees_are_passed_over_in_a_fit() -> None:
    volume = 4e-5 * (DBH_MM / 10) ** 1.9 * HEIGHT_M
    more = (
        np.append(DBH_MM, [np.nan, 200.0, -200.0]),
        np.append(HEIGHT_M, [15.0, 15.0, 15.0]),
        np.append(volume, [0.2, 0.0, 0.2]),
    )
    assert fit_allometric(*more).n == 30
    assert fit_form_factor(*more).n == 30
    assert fit_constant_form(*more).n == 30


def test_refusals() -> None:
    volume = 4e-5 * (DBH_MM / 10) ** 1.9 * HEIGHT_M
    with pytest.raises(ValueError, match="9 trees with diameter, height and volume: expected at least 10"):
        fit_allometric(DBH_MM[:9], HEIGHT_M[:9], volume[:9])
    with pytest.raises(ValueError, match="cannot be told apart"):
        fit_allometric(DBH_MM, DBH_MM / 12, volume)
    with pytest.raises(ValueError, match="expected 'log-log' or 'nonlinear'"):
        fit_allometric(DBH_MM, HEIGHT_M, volume, "linear")  # type: ignore[arg-type]
    for factor in (0.0, 1.2, math.nan):
        with pytest.raises(ValueError, match="form factor"):
            FormFactor(factor)


def test_volumes_are_marked_with_their_method() -> None:
    equation = fit_constant_form(DBH_MM, HEIGHT_M, 3e-5 * (DBH_MM / 10) ** 2 * HEIGHT_M)
    trees = pd.DataFrame(
        {
            "dbh_mm": [200.0, 200.0, np.nan, 900.0, 0.0],
            "height_m": [16.0, 16.0, 16.0, 16.0, 16.0],
            "height_source": ["measured", "curve", "measured", "measured", "measured"],
        }
    )
    found = tree_volumes(trees, equation)
    assert found["volume_m3"].to_list()[:2] == pytest.approx([3e-5 * 400 * 16] * 2)
    assert found["volume_method"].to_list() == [
        "constant form, 30 trees",
        "constant form, 30 trees, height from curve",
        None,
        "constant form, 30 trees",
        None,
    ]
    assert found["volume_m3"].isna().to_list() == [False, False, True, False, True]
    assert found["volume_extrapolated"].to_list() == [False, False, False, True, False]


def test_a_given_form_factor_has_no_range() -> None:
    trees = pd.DataFrame({"dbh_mm": [5.0, 5000.0], "height_m": [2.0, 90.0]})
    found = tree_volumes(trees, FormFactor(0.42))
    assert not found["volume_extrapolated"].any()
    assert found["volume_method"].to_list() == ["form factor 0.420, given"] * 2

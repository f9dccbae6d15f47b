"""Repeatability against the paper that proposed its measures.

Source: Bland and Altman 1986, Lancet 327:307-310: 17 people, peak flow in l/min, two readings with each of two
meters (fixtures/reference/01_repeat_readings.csv, found in an open R package; the paper's figures below found
in the tests of another one). The paper rounds the mean to -2.1 and the standard deviation to 38.8 before it
goes on, and takes twice the standard deviation.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from tests.published.reference import rows
from trials.calc.repeatability import repeatability, repeatability_by_crew

READINGS = pd.DataFrame(rows("01_repeat_readings.csv")).drop(columns=["origin", "source"]).astype(float)


def test_agreement_of_two_meters_as_printed() -> None:
    found = repeatability(READINGS["mini_first"], READINGS["large_first"], multiple=2.0)
    assert found.n_pairs == 17
    assert found.mean_difference == pytest.approx(-2.1, abs=0.05)
    assert found.sd_difference == pytest.approx(38.8, abs=0.05)
    assert (found.low, found.high) == (pytest.approx(-79.7, abs=0.1), pytest.approx(75.5, abs=0.1))
    assert (found.mean_low, found.mean_high) == (
        pytest.approx(-22.0, abs=0.1),
        pytest.approx(17.8, abs=0.1),
    )
    assert not found.is_biased


def test_repeatability_of_each_meter_as_printed() -> None:
    """Within-subject standard deviation 15.3 and 19.9 l/min, coefficient of repeatability (twice sqrt(2) of
    it) 43.2 and 56.4: values from memory of the paper and its successor of 1999, check against them."""
    for meter, single, coefficient in (("large", 15.3, 43.2), ("mini", 19.9, 56.4)):
        found = repeatability(READINGS[f"{meter}_first"], READINGS[f"{meter}_second"])
        assert found.sd_single_with_bias == pytest.approx(single, abs=0.05)
        assert 2 * math.sqrt(2) * found.sd_single_with_bias == pytest.approx(coefficient, abs=0.15)


def test_single_measurement_is_recovered_from_noise_of_known_size() -> None:
    """Two readings with a standard deviation of 2 mm each, the second 1 mm higher: exact in the long run."""
    rng = np.random.default_rng(11)
    true = rng.uniform(100, 300, 20_000)
    found = repeatability(true + rng.normal(0, 2, 20_000), true + 1 + rng.normal(0, 2, 20_000))
    assert found.sd_single == pytest.approx(2.0, rel=0.02)
    assert found.mean_difference == pytest.approx(1.0, abs=0.06)
    assert found.is_biased
    assert found.sd_single_with_bias == pytest.approx(math.sqrt(4 + 0.5), rel=0.02)
    assert found.low == pytest.approx(1 - 1.96 * math.sqrt(8), rel=0.03)


def test_by_crew_and_all_together() -> None:
    pairs = pd.DataFrame(
        {
            "crew": ["A"] * 4 + ["B"] * 4 + [None],
            "dbh_mm": [100.0, 120, 140, 160, 100, 120, 140, np.nan, 90],
            "again_dbh_mm": [101.0, 119, 141, 159, 105, 125, 145, 170, 92],
        }
    )
    table = repeatability_by_crew(pairs, "dbh_mm", "again_dbh_mm").set_index("crew")
    assert list(table["n_pairs"]) == [4, 3, 1, 8]
    assert table.loc["A", "mean_difference"] == pytest.approx(0.0)
    assert table.loc["A", "sd_single"] == pytest.approx(math.sqrt(4 / 3) / math.sqrt(2))
    assert table.loc["B", "mean_difference"] == pytest.approx(5.0)
    assert table.loc["B", "sd_single"] == pytest.approx(0.0)
    assert table.loc["all crews", "mean_difference"] == pytest.approx(17 / 8)
    assert table["note"].str.contains("too few").all()


def test_too_few_pairs_are_nan_not_zero() -> None:
    one = repeatability([100.0], [102.0])
    assert one.mean_difference == pytest.approx(2.0)
    assert all(math.isnan(v) for v in (one.sd_difference, one.sd_single, one.low, one.high, one.mean_low))
    none = repeatability([np.nan], [102.0])
    assert none.n_pairs == 0
    assert math.isnan(none.mean_difference)
    assert math.isnan(none.sd_single_with_bias)
    assert not none.is_biased

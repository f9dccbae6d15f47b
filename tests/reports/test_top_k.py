"""Chance of being in the top k: against exact answers for two clones, and what must hold for any number."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from reports.calc.top_k import chance_of_top


@settings(max_examples=20, deadline=None)
@given(st.floats(-2, 2), st.floats(0.2, 2), st.floats(0.2, 2), st.floats(-0.9, 0.9))
def test_two_clones_have_an_exact_answer(gap: float, one: float, other: float, correlation: float) -> None:
    """P(A > B) = Φ(gap / sd of the difference), with the covariance in it."""
    shared = correlation * one * other
    covariance = np.array([[one**2, shared], [shared, other**2]])
    exact = stats.norm.cdf(gap / math.sqrt(one**2 + other**2 - 2 * shared))
    found = chance_of_top(np.array([gap, 0.0]), covariance, [1], draws=40_000)[1]
    assert found[0] == pytest.approx(exact, abs=0.015)


def test_a_shift_that_all_share_cancels() -> None:
    blup, own = np.array([0.0, 0.5, 1.0]), np.diag([0.3, 0.4, 0.5])
    alone = chance_of_top(blup, own, [1, 2], draws=100_000)
    shared = chance_of_top(blup + 7, own + 25.0, [1, 2], draws=100_000)
    for k in (1, 2):
        np.testing.assert_allclose(alone[k], shared[k], atol=0.008)
        assert alone[k].sum() == pytest.approx(k)


def test_without_any_variance_all_have_the_same_chance() -> None:
    np.testing.assert_allclose(chance_of_top(np.zeros(4), np.zeros((4, 4)), [1, 3])[3], 0.75)


def test_lowest_first_is_the_mirror() -> None:
    blup, covariance = np.array([0.0, 1.0, 2.0]), np.eye(3)
    low = chance_of_top(blup, covariance, [1], highest_is_best=False)[1]
    np.testing.assert_allclose(low, chance_of_top(-blup, covariance, [1])[1], atol=0.015)


@pytest.mark.parametrize(
    ("blup", "covariance", "ks", "draws", "message"),
    [
        (np.zeros(2), np.eye(3), [1], 2000, "2 × 2"),
        (np.array([0, np.nan]), np.eye(2), [1], 2000, "finite"),
        (np.zeros(2), np.eye(2), [3], 2000, "between 1 and the number"),
        (np.zeros(2), np.eye(2), [1], 10, "at least 1000"),
        (np.zeros(2), -np.eye(2), [1], 2000, "negative variances"),
    ],
)
def test_what_cannot_be_simulated(blup, covariance, ks, draws, message) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=message):
        chance_of_top(blup, covariance, ks, draws=draws)

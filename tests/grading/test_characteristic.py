"""Characteristic values and lives of stakes: refusals, properties, slow and obvious versions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grading.follow_on.calc import characteristic as ch
from grading.follow_on.calc import durability as du
from grading.follow_on.calc import tolerance


def test_too_few_pieces_have_no_ranked_limit() -> None:
    answer = ch.ranked(ch.sample_of(range(1, 28)), 0.75)
    assert answer.limit is None
    assert answer.words == "too few: 27 pieces, at least 28 are needed"
    assert ch.ranked(ch.sample_of(range(1, 29)), 0.75).limit == 1


def test_values_at_or_below_nought_have_no_lognormal_limit() -> None:
    sample = ch.sample_of([0.0, 1.0, 2.0])
    assert ch.lognormal(sample, 0.75).limit is None
    assert ch.weibull(sample, 0.75).point is None


@pytest.mark.parametrize("values", [[1.0, 2.0], [1.0, 2.0, np.nan], [1.0, 2.0, np.inf, 3.0]])
def test_bad_samples_are_refused(values: list[float]) -> None:
    with pytest.raises(ValueError, match="expected"):
        ch.sample_of(values)


def test_the_normal_limit_covers_as_often_as_it_says() -> None:
    draws = np.random.default_rng(7).normal(size=(20_000, 10))
    limits = draws.mean(axis=1) - tolerance.tolerance_factor(10) * draws.std(axis=1, ddof=1)
    assert (limits <= -1.6448536269514722).mean() == pytest.approx(0.75, abs=0.012)


@given(st.lists(st.floats(1, 100), min_size=3, max_size=60), st.floats(0.1, 10))
def test_limits_scale_with_the_unit(values: list[float], scale: float) -> None:
    one, other = ch.sample_of(values), ch.sample_of(np.array(values) * scale)
    for method in (ch.ranked, ch.normal, ch.lognormal, ch.en14358_normal):
        a, b = method(one, 0.75).limit, method(other, 0.75).limit
        assert (a is None) == (b is None)
        if a is not None and b is not None:
            assert b == pytest.approx(a * scale, rel=1e-6, abs=1e-6 * scale * 100)


@given(st.lists(st.integers(0, 30), min_size=1, max_size=40))
def test_without_censoring_the_share_surviving_is_a_plain_count(times: list[int]) -> None:
    answer = du.kaplan_meier(times, [True] * len(times))
    for time in range(32):
        assert answer.at(time) == pytest.approx(sum(t > time for t in times) / len(times))


def test_a_median_that_is_not_reached_says_so() -> None:
    answer = du.kaplan_meier([3, 8, 8, 8], [True, False, False, False])
    assert answer.median is None
    assert answer.words == "median not reached (> 8)"
    assert answer.at(9) is None


@pytest.mark.parametrize("times", [[], [-1.0], [float("nan")]])
def test_impossible_lives_are_refused(times: list[float]) -> None:
    with pytest.raises(ValueError, match="expected"):
        du.kaplan_meier(times, [True] * len(times))


def test_sapwood_negative_losses_and_missing_references() -> None:
    assert du.durability_class("en350_2016", 2.0, sapwood=True) == 5
    assert float(du.mass_loss_pct(10.0, 10.1)) == pytest.approx(-1.0)
    assert du.x_value(5.0, None) is None
    assert du.worst_median({"a": [1, 2, 3], "b": [4, 5, np.nan], "c": [np.nan]}) == ("b", 4.5)

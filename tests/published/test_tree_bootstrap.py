"""The tree bootstrap against scipy.stats.bootstrap on tree totals, and what it is for: boards of a tree go
together.

Source: scipy.stats.bootstrap (percentile method, paired samples), an independent implementation. Tolerances
follow from the Monte Carlo error of a percentile: sqrt(p (1 - p) / B) / density there.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sawing.calc.resampling import few_trees_note, tree_bootstrap

RATIO = {"recovery": ("boards", "logs")}


def tree_totals(n_trees: int, seed: int) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    logs = rng.uniform(0.3, 1.1, n_trees)
    return pd.DataFrame(
        {"boards": logs * rng.normal(0.58, 0.05, n_trees), "logs": logs}, index=list(range(n_trees))
    )


def percentile_error(draws: np.ndarray, share: float, resamples: int) -> float:
    density = float(stats.gaussian_kde(draws)(np.quantile(draws, share))[0])
    return float(np.sqrt(share * (1 - share) / resamples) / density)


@pytest.mark.parametrize("n_trees", [5, 6, 16, 60])
def test_interval_agrees_with_scipy(n_trees: int) -> None:
    totals = tree_totals(n_trees, seed=n_trees)
    theirs = stats.bootstrap(
        (totals["boards"].to_numpy(), totals["logs"].to_numpy()),
        lambda boards, logs, axis=-1: boards.sum(axis=axis) / logs.sum(axis=axis),
        paired=True,
        vectorized=True,
        n_resamples=40_000,
        method="percentile",
        rng=np.random.default_rng(7),
    )
    mine = tree_bootstrap(totals, RATIO).intervals["recovery"]
    assert mine is not None
    for found, expected, share in zip(mine, theirs.confidence_interval, (0.025, 0.975), strict=True):
        error = percentile_error(theirs.bootstrap_distribution, share, 2000)
        assert abs(found - expected) < 4 * error


def test_every_draw_is_a_draw_of_scipys_kind() -> None:
    """With two trees there are three possible resamples, with chances 1/4, 1/2, 1/4: the ends are the
    trees' own ratios."""
    totals = pd.DataFrame({"boards": [0.2, 0.9], "logs": [1.0, 1.5]}, index=["a", "b"])
    assert tree_bootstrap(totals, RATIO).intervals["recovery"] == pytest.approx((0.2, 0.6), rel=1e-12)


def test_same_input_same_interval_whatever_the_order_of_trees() -> None:
    totals = tree_totals(9, seed=1)
    first = tree_bootstrap(totals, RATIO)
    assert tree_bootstrap(totals.iloc[::-1], RATIO) == first
    assert tree_bootstrap(totals, RATIO, seed=2).intervals != first.intervals


def test_few_trees_are_said() -> None:
    one = tree_bootstrap(tree_totals(1, seed=1), RATIO)
    assert one.intervals == {"recovery": None}
    assert one.note == "one tree: no interval can be given"
    four = tree_bootstrap(tree_totals(4, seed=1), RATIO)
    assert four.intervals["recovery"] is not None
    assert four.note is not None
    assert four.note.startswith("fewer than 5 trees: the interval is too narrow")
    assert few_trees_note(5) is None
    assert tree_bootstrap(tree_totals(0, seed=1), RATIO).intervals == {"recovery": None}


def test_variance_is_short_by_one_part_in_n() -> None:
    """Known property of the bootstrap of a mean: its variance is (n - 1)/n of the unbiased one, hence the
    caution."""
    values = tree_totals(5, seed=3)["boards"].to_numpy()
    totals = pd.DataFrame({"boards": values, "logs": 1.0})
    low, high = tree_bootstrap(totals, RATIO, resamples=200_000, level=0.5).intervals["recovery"] or (
        0.0,
        0.0,
    )
    exact = np.array([values[list(draw)].mean() for draw in np.ndindex(5, 5, 5, 5, 5)])
    assert exact.var() == pytest.approx(values.var(ddof=1) / 5 * 4 / 5, rel=1e-9)
    assert (low, high) == pytest.approx(tuple(np.quantile(exact, [0.25, 0.75])), abs=2e-3)


def test_resampling_boards_instead_would_be_far_too_sure() -> None:
    """Coverage with clustered boards (10 boards a tree, correlation 0.8 within the tree): trees 12 a sample.

    Known equivalence: resampling boards ignores the design effect 1 + (m - 1) rho = 8.2 and makes intervals
    about sqrt(8.2) = 2.9 times too narrow. 300 simulated samples; the Monte Carlo error of a coverage near
    0.9 is 0.017.
    """
    rng = np.random.default_rng(11)
    covered_by_trees, covered_by_boards = 0, 0
    for _ in range(300):
        trees = rng.normal(0, np.sqrt(0.8), (12, 1))
        boards = 10 + trees + rng.normal(0, np.sqrt(0.2), (12, 10))
        by_tree = pd.DataFrame({"boards": boards.sum(axis=1), "logs": 10.0})
        by_board = pd.DataFrame({"boards": boards.ravel(), "logs": 1.0})
        low, high = tree_bootstrap(by_tree, RATIO, resamples=400).intervals["recovery"] or (0.0, 0.0)
        covered_by_trees += low <= 10 <= high
        low, high = tree_bootstrap(by_board, RATIO, resamples=400).intervals["recovery"] or (0.0, 0.0)
        covered_by_boards += low <= 10 <= high
    assert covered_by_trees / 300 > 0.85
    assert covered_by_boards / 300 < 0.65


def test_nonsense_settings_are_refused() -> None:
    with pytest.raises(ValueError, match="at least 100 resamples"):
        tree_bootstrap(tree_totals(5, seed=1), RATIO, resamples=10)
    with pytest.raises(ValueError, match="level"):
        tree_bootstrap(tree_totals(5, seed=1), RATIO, level=1.5)

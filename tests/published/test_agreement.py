"""Agreement of graders against Cohen (1960, 1968): fixtures/reference/10_selection_agreement.csv.

Table and weights of Cohen 1968 were found in secondary sources; the values of the other tables follow from the formula
(computed). Kappa is also held against another formula of it, by observed and expected agreement.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grading.calc.agreement import agreement, kappa, mean_kappa
from tests.published.reference import rows

EXPECTED = {
    r["check_id"]: float(r["expected"]) for r in rows("10_selection_agreement.csv") if r["check_id"][0] == "Q"
}
COHEN = [[0.44, 0.07, 0.09], [0.05, 0.20, 0.05], [0.01, 0.03, 0.06]]
FOUR = [[44, 5, 1, 0], [7, 38, 6, 0], [0, 8, 30, 4], [0, 1, 3, 13]]
GRADES = ("Clear", "A", "B", "Box")


def lists(table: npt.ArrayLike) -> tuple[list[str], list[str]]:
    """Two lists of grades that give a table."""
    pairs = [(GRADES[i], GRADES[j]) for (i, j), n in np.ndenumerate(np.asarray(table)) for _ in range(int(n))]
    return [p[0] for p in pairs], [p[1] for p in pairs]


def test_kappa_of_cohens_table() -> None:
    """Cohen 1968, table and weights found: 0.4915 and, with weights 0 1 3 / 1 0 6 / 3 6 0, 0.3478."""
    assert kappa(COHEN) == pytest.approx(EXPECTED["Q1"], rel=1e-6)
    weights = [[0, 1, 3], [1, 0, 6], [3, 6, 0]]
    assert kappa(COHEN, weights) == pytest.approx(EXPECTED["Q2"], rel=1e-6)


def test_kappa_of_two_grades_and_of_four() -> None:
    assert kappa([[20, 5], [10, 15]]) == pytest.approx(EXPECTED["Q3"], rel=1e-6)
    found = agreement(*lists(FOUR), GRADES, resamples=200)
    assert found.kappa == pytest.approx(EXPECTED["Q4"], rel=1e-6)
    assert found.linear == pytest.approx(EXPECTED["Q5"], rel=1e-6)
    assert found.quadratic == pytest.approx(EXPECTED["Q6"], rel=1e-6)
    assert (found.boards, found.raw) == (160, pytest.approx(125 / 160))
    assert found.table.tolist() == FOUR


def test_one_grade_only_leaves_it_undefined() -> None:
    found = agreement(["A"] * 9, ["A"] * 9, GRADES)
    assert (found.raw, found.kappa, found.linear, found.quadratic) == (1.0, None, None, None)
    assert set(found.interval95.values()) == {None}
    assert agreement([], [], GRADES).raw is None


@settings(max_examples=100, deadline=None)
@given(cells=st.lists(st.integers(0, 30), min_size=9, max_size=9).filter(lambda c: sum(c) > 0))
def test_kappa_is_observed_over_chance_agreement_and_at_most_one(cells: list[int]) -> None:
    """Equivalent form (p_o - p_e) / (1 - p_e); the graders may change places."""
    table = np.array(cells, dtype=float).reshape(3, 3)
    share = table / table.sum()
    chance = float(share.sum(axis=1) @ share.sum(axis=0))
    found = kappa(table)
    if found is None:
        assert chance == pytest.approx(1)
        return
    assert found == pytest.approx((np.trace(share) - chance) / (1 - chance), abs=1e-9)
    assert found <= 1 + 1e-12
    assert kappa(table.T, "linear") == pytest.approx(kappa(table, "linear"))


def test_the_interval_agrees_with_the_large_sample_error() -> None:
    """Standard error of kappa for large samples: sqrt(p_o (1 - p_o) / n) / (1 - p_e) (Cohen 1960, from memory)."""
    found = agreement(*lists(FOUR), GRADES)
    share = np.array(FOUR) / 160
    chance = float(share.sum(axis=1) @ share.sum(axis=0))
    error = np.sqrt(125 / 160 * 35 / 160 / 160) / (1 - chance)
    interval = found.interval95["none"]
    assert interval is not None
    assert interval[1] - interval[0] == pytest.approx(2 * 1.96 * error, rel=0.1)
    assert interval[0] < EXPECTED["Q4"] < interval[1]


def test_boards_of_one_tree_are_drawn_together() -> None:
    """Ten copies of each board as one tree: the interval is that of the trees, not of ten times as many boards."""
    first, second = lists(np.array(FOUR) // 4)
    alone = agreement(first, second, GRADES).interval95["none"]
    owners = [tree for tree in range(len(first)) for _ in range(10)]
    tens = agreement(
        [g for g in first for _ in range(10)], [g for g in second for _ in range(10)], GRADES, owners
    )
    assert tens.clusters == len(first)
    assert tens.interval95["none"] == pytest.approx(alone, abs=1e-9)


def test_a_fixed_seed_gives_the_same_interval() -> None:
    assert agreement(*lists(FOUR), GRADES).interval95 == agreement(*lists(FOUR), GRADES).interval95


def test_three_graders_by_pairs() -> None:
    first, second = lists([[20, 5], [10, 15]])
    assert mean_kappa([first, second], GRADES) == pytest.approx(EXPECTED["Q3"], rel=1e-6)
    # The third grades as the first: pairs 0.4, 1 and 0.4.
    assert mean_kappa([first, second, first], GRADES) == pytest.approx((2 * EXPECTED["Q3"] + 1) / 3, rel=1e-6)


def test_what_does_not_fit_is_refused() -> None:
    for first, second, grades in ((["A"], [], GRADES), (["Z"], ["A"], GRADES), (["A"], ["A"], ("A", "A"))):
        with pytest.raises(ValueError, match=r"grade"):
            agreement(first, second, grades)
    for table, weights in (
        ([[1, 2]], "none"),
        ([[1, -1], [0, 1]], "none"),
        ([[1, 0], [0, 1]], [[1, 1], [1, 0]]),
    ):
        with pytest.raises(ValueError, match=r"table|weights"):
            kappa(table, weights)

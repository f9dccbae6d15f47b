"""Where stems are cut: worked by hand, and against a whole-number programme (scipy.optimize.milp)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from sawing.calc.crosscut import cut_plans, multiples


def lengths(stem_m: float, wanted: list[float], kerf_mm: float = 0.0) -> list[float]:
    return [log.length_m for log in cut_plans([stem_m], wanted, kerf_mm)[0].logs]


def test_a_stem_worked_by_hand() -> None:
    """12.0 m, wanted 4.1 and 3.1 m, 10 mm a cut: 4.1 + 4.1 + 3.1 = 11.3 m and three cuts of 10 mm; 0.67 m left.
    Greedy would find the same; three times 4.1 would need 12.3 m."""
    plan = cut_plans([12.0], [3.1, 4.1], 10)[0]
    assert [log.length_m for log in plan.logs] == [4.1, 4.1, 3.1]
    assert [log.bottom_m for log in plan.logs] == pytest.approx([0, 4.11, 8.22])
    assert [log.top_m for log in plan.logs] == pytest.approx([4.1, 8.21, 11.32])
    assert (plan.used_m, plan.rest_m) == pytest.approx((11.3, 0.67))


def test_the_longest_first_is_not_always_best() -> None:
    """7.2 m, wanted 5 and 3.6 m: one of 5 leaves 2.2 m unused, two of 3.6 m leave nothing."""
    assert lengths(7.2, [5.0, 3.6]) == [3.6, 3.6]
    assert lengths(7.2, [5.0, 3.6], 10) == [5.0]  # the cut between two of 3.6 m needs its kerf


def test_the_last_cut_may_fall_beyond_the_end() -> None:
    """Two logs of 3 m and one cut of 10 mm between them fill 6.01 m; 6.009 m is too short."""
    assert lengths(6.01, [3.0], 10) == [3.0, 3.0]
    assert lengths(6.009, [3.0], 10) == [3.0]


def test_of_equal_plans_the_one_with_fewer_logs() -> None:
    assert lengths(6.0, [2.0, 3.0, 6.0]) == [6.0]


def test_a_stem_shorter_than_every_length_gives_none() -> None:
    plan = cut_plans([2.0], [3.0], 10)[0]
    assert (plan.logs, plan.used_m, plan.rest_m) == ((), 0.0, 2.0)


def test_one_table_serves_every_stem() -> None:
    stems = [12.0, 7.2, 3.0, 18.43]
    together = cut_plans(stems, [4.1, 3.1, 2.5], 8)
    assert together == [cut_plans([stem], [4.1, 3.1, 2.5], 8)[0] for stem in stems]


@settings(max_examples=60, deadline=None)
@given(
    st.integers(1000, 15_000),
    st.lists(st.integers(500, 6000), min_size=1, max_size=4, unique=True),
    st.integers(0, 12),
)
def test_as_much_as_a_whole_number_programme(stem_mm: int, wanted_mm: list[int], kerf_mm: int) -> None:
    """max Σ n L subject to Σ n (L + kerf) ≤ stem + kerf, n whole (scipy.optimize.milp, HiGHS)."""
    plan = cut_plans([stem_mm / 1000], [mm / 1000 for mm in wanted_mm], kerf_mm)[0]
    sizes = np.array(wanted_mm, dtype=float)
    best = milp(
        -sizes,
        integrality=np.ones(len(sizes)),
        bounds=Bounds(0, 40),
        constraints=LinearConstraint(sizes + kerf_mm, -np.inf, stem_mm + kerf_mm),
        options={"mip_rel_gap": 0.0},
    )
    assert 1000 * plan.used_m == pytest.approx(-best.fun, abs=0.5)
    ends = [log.top_m for log in plan.logs]
    assert all(top <= stem_mm / 1000 + 1e-9 for top in ends)
    assert [log.length_m for log in plan.logs] == sorted((log.length_m for log in plan.logs), reverse=True)
    gaps = [b.bottom_m - a.top_m for a, b in zip(plan.logs, plan.logs[1:], strict=False)]
    assert gaps == pytest.approx([kerf_mm / 1000] * len(gaps))


def test_multiples_of_a_module() -> None:
    assert multiples(600, 2.4, 4.8) == (4.8, 4.2, 3.6, 3.0, 2.4)
    assert multiples(300, 2.5, 2.6) == ()
    for wrong in ((0, 1, 2), (100, 3, 2), (10, 1, 5)):
        with pytest.raises(ValueError, match=r"expected|lengths"):
            multiples(*wrong)


@pytest.mark.parametrize(
    ("stems", "wanted", "kerf"),
    [([0.0], [3.0], 0), ([81.0], [3.0], 0), ([10.0], [], 0), ([10.0], [0.2], 0), ([10.0], [3.0], -1)],
)
def test_refused(stems: list[float], wanted: list[float], kerf: float) -> None:
    with pytest.raises(ValueError, match="expected"):
        cut_plans(stems, wanted, kerf)

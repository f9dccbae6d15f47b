"""Docking: equal to the slow version, and what must hold for every flitch and every rule."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sawing.calc.dock_flitch import Flitch
from sawing.calc.dock_optimum import bound_for_any_cut, dock
from sawing.calc.dock_results import Docked
from sawing.calc.dock_rules import Price, Rules
from tests.sawing.dock_reference import best_values, edges_at

ROOT = Path(__file__).resolve().parents[2]
WIDTHS = (75.0, 100.0, 125.0, 150.0, 200.0)
RULES = Rules(widths_mm=WIDTHS, grid_step_mm=50.0, min_length_mm=600.0)


def random_flitch(seed: int, *, wide: bool = False, length: float | None = None) -> Flitch:
    """A bent, tapered, rough flitch; sometimes with a notch or crossing edges."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 14))
    long = float(length or rng.choice([1300, 1777, 2010, 2400, 2450.5]))
    x = np.sort(rng.uniform(0, long, n - 2)) if n > 2 else np.array([])
    x = np.concatenate([[0.0], x[np.diff(x, prepend=0.0) > 1.0], [long]])
    x = x[np.concatenate([[True], np.diff(x) > 1.0])]
    bow = rng.uniform(-40, 40) * 4 * (x / long) * (1 - x / long) + rng.uniform(-0.03, 0.03) * x
    width = rng.uniform(90, 240) - rng.uniform(0, 30) * x / 1000 + rng.normal(0, 8, x.size)
    if rng.random() < 0.2:
        width[rng.integers(x.size)] -= rng.uniform(50, 300)
    left = bow + rng.normal(0, 4, x.size)
    right = left + width
    more = (left - rng.uniform(0, 25, x.size), right + rng.uniform(0, 25, x.size)) if wide else (None, None)
    return Flitch(
        f"F{seed}", float(rng.choice([22.5, 25.0, 38.0])), x + rng.uniform(-50, 50), left, right, *more
    )


def check_plan(flitch: Flitch, rules: Rules, docked: Docked) -> None:
    """The boards lie inside the edges, apart by the kerf, on the module, and are worth what the plan says."""
    for before, after in zip(docked.boards, docked.boards[1:], strict=False):
        assert after.start_mm >= before.end_mm + rules.crosscut_kerf_mm - 1e-6
    for board in docked.boards:
        assert board.start_mm >= flitch.x_mm[0] - 1e-6
        assert board.end_mm <= flitch.x_mm[-1] + 1e-6
        assert board.end_mm - board.start_mm == pytest.approx(board.length_mm, abs=1e-6)
        assert any(board.length_mm == pytest.approx(allowed, abs=1e-9) for allowed in rules.lengths_mm)
        assert abs(board.slope) <= rules.slope_limit + 1e-12
        need = sum(board.widths_mm) + (len(board.widths_mm) - 1) * rules.edger_kerf_mm
        assert need <= board.available_mm + 1e-6
        assert 1 <= len(board.widths_mm) <= rules.boards_per_piece
        for x in np.union1d(np.linspace(board.start_mm, board.end_mm, 50), flitch.x_mm):
            if board.start_mm <= x <= board.end_mm:
                left, right = edges_at(flitch, rules, min(board.widths_mm), float(x))
                edge = board.slope * x + board.intercept_mm
                assert edge >= left - 1e-6
                assert edge + need <= right + 2e-6
        if rules.keep_end == "each":
            ends = (board.start_mm - flitch.x_mm[0], board.end_mm - flitch.x_mm[-1])
            assert min(map(abs, ends)) < 1e-6
    assert len(docked.boards) <= rules.max_docks + 1
    assert docked.worth == sum(board.worth for board in docked.boards)
    if not rules.prices:
        assert docked.value == pytest.approx(docked.volume_m3, rel=1e-9)
    assert list(docked.worth_by_docks) == sorted(docked.worth_by_docks)


CASES: dict[str, dict[str, Any]] = {
    "one dock": {},
    "no skew": {"skew": False},
    "little skew": {"max_skew": 0.006},
    "two docks": {"max_docks": 2},
    "parallel": {"boards_per_piece": 2, "widths_mm": (50.0, 75.0, 110.0)},
    "keep ends": {"keep_end": "each", "max_docks": 1},
    "wane": {"wane_edge_share": 0.4, "wane_width_share": 0.06},
    "prices": {
        "prices": (Price(2.5, width_from=150), Price(1.0), Price(1.75, length_from=1500, width_to=130))
    },
    "not all priced": {"prices": (Price(310.5, width_to=110), Price(420.25, width_from=150, length_to=1000))},
}


@pytest.mark.parametrize("case", CASES)
def test_equal_to_one_programme_an_interval_and_all_combinations(case: str) -> None:
    """scipy.optimize.linprog (HiGHS) for each interval, every set of boards tried."""
    for seed, length in enumerate((1510.0, 1830.5)):
        flitch = random_flitch(1000 * list(CASES).index(case) + seed, wide=case == "wane", length=length)
        rules = replace(RULES, grid_step_mm=100.0, min_length_mm=400.0, **CASES[case])
        docked = dock(flitch, rules)
        slow = best_values(flitch, rules)
        assert list(docked.value_by_docks.values()) == pytest.approx(slow, rel=1e-9, abs=1e-15)
        check_plan(flitch, rules, docked)


def test_finer_grid_against_the_slow_version() -> None:
    flitch = random_flitch(78, length=1010.0)
    rules = replace(RULES, grid_step_mm=25.0, length_module_mm=50.0, min_length_mm=400.0)
    found = dock(flitch, rules)
    assert len(found.boards) == 2
    assert list(found.value_by_docks.values()) == pytest.approx(best_values(flitch, rules), rel=1e-9)


seeds = st.integers(0, 10**6)
many = settings(max_examples=40, deadline=None)


@given(seeds, st.booleans())
@many
def test_more_freedom_never_lowers_the_worth(seed: int, keep: bool) -> None:
    flitch = random_flitch(seed, wide=True)
    tight = replace(
        RULES, max_docks=0, widths_mm=(100.0, 150.0), min_length_mm=900.0, max_skew=0.01, crosscut_kerf_mm=6.0
    )
    tight = replace(tight, keep_end="each" if keep else "none")
    worth = dock(flitch, tight).worth
    for freer in (
        {"max_docks": 1},
        {"max_docks": 2},
        {"widths_mm": (75.0, 100.0, 150.0, 175.0)},
        {"min_length_mm": 600.0},
        {"max_skew": 0.02},
        {"boards_per_piece": 2},
        {"grid_step_mm": 25.0},
        {"crosscut_kerf_mm": 3.0},
        {"wane_edge_share": 0.3, "wane_width_share": 0.05},
        {"keep_end": "none", "grid_step_mm": 50.0},
    ):
        assert dock(flitch, replace(tight, **freer)).worth >= worth, freer


@given(seeds, st.sampled_from(list(CASES)))
@many
def test_a_mirrored_flitch_is_worth_the_same(seed: int, case: str) -> None:
    flitch = random_flitch(seed, wide=True)
    rules = replace(RULES, **CASES[case])
    there = dock(flitch, rules)
    back = dock(flitch.mirrored_along(), rules)
    assert flitch.left_wide_mm is not None
    assert flitch.right_wide_mm is not None
    across = replace(
        flitch,
        left_mm=-flitch.right_mm,
        right_mm=-flitch.left_mm,
        left_wide_mm=-flitch.right_wide_mm,
        right_wide_mm=-flitch.left_wide_mm,
    )
    assert back.worth_by_docks == there.worth_by_docks
    assert dock(across, rules).worth_by_docks == there.worth_by_docks


@given(seeds, st.sampled_from(list(CASES)))
@many
def test_never_above_the_bounds(seed: int, case: str) -> None:
    flitch = random_flitch(seed, wide=True)
    rules = replace(RULES, max_docks=2, **{k: v for k, v in CASES[case].items() if k != "max_docks"})
    docked = dock(flitch, rules)
    assert docked.worth <= docked.bound_local_worth * (1 + 1e-9)
    assert docked.bound_local_worth <= docked.bound_area_worth * (1 + 1e-6) + 1
    assert docked.worth_at_middle is not None
    assert docked.worth_at_middle <= docked.worth_by_docks[1]
    any_cut = bound_for_any_cut(flitch, rules)
    assert any_cut is not None
    assert docked.worth <= any_cut
    fine = dock(flitch, replace(rules, grid_step_mm=5.0))
    assert docked.worth <= fine.worth <= any_cut
    check_plan(flitch, rules, docked)


@given(seeds)
@settings(max_examples=8, deadline=None)
def test_local_bound_counts_each_place_once(seed: int) -> None:
    """The same integral with edges of their own for each class, wane none: a finely sampled sum."""
    flitch = random_flitch(seed, wide=True)
    for rules in (RULES, replace(RULES, wane_edge_share=0.4, wane_width_share=0.05)):
        x = np.linspace(flitch.x_mm[0], flitch.x_mm[-1], 2001)
        middle = (x[1:] + x[:-1]) / 2
        total = 0.0
        for place in middle:
            fitting = [w for w in WIDTHS if w <= np.subtract(*edges_at(flitch, rules, w, float(place))[::-1])]
            total += max(fitting, default=0.0)
        sampled = total * (x[1] - x[0]) * flitch.thickness_mm / 1e9
        # A step of the sum may be off by one sample at each change of class.
        slack = 40 * (x[1] - x[0]) * max(WIDTHS) * flitch.thickness_mm / 1e9
        assert dock(flitch, rules).bound_local == pytest.approx(sampled, abs=slack)


def test_more_cases_than_can_be_tried_are_refused() -> None:
    long = Flitch("F", 25.0, np.array([0.0, 20_000.0]), np.zeros(2), np.full(2, 200.0))
    with pytest.raises(ValueError, match="grid_step_mm"):
        dock(long, replace(RULES, length_module_mm=1.0, grid_step_mm=0.5, max_length_mm=20_000.0))
    with pytest.raises(ValueError, match="patterns"):
        dock(long, replace(RULES, widths_mm=tuple(map(float, range(50, 300, 5))), boards_per_piece=6))


@pytest.mark.parametrize(
    "spoilt",
    [
        {"x_mm": np.array([0.0, 0.0])},
        {"x_mm": np.array([1000.0, 0.0])},
        {"left_mm": np.array([0.0, np.nan])},
        {"right_mm": np.array([np.inf, 200.0])},
        {"x_mm": np.array([0.0])},
        {"thickness_mm": 0.0},
        {"left_wide_mm": np.array([1.0, 1.0])},
    ],
)
def test_what_is_no_flitch_is_refused(spoilt: dict[str, Any]) -> None:
    good = {"x_mm": np.array([0.0, 2000.0]), "left_mm": np.zeros(2), "right_mm": np.full(2, 200.0)}
    with pytest.raises(ValueError, match="flitch F"):
        Flitch(**{"flitch": "F", "thickness_mm": 25.0, **good, **spoilt})


READ_ONLY = """
import numba.core.caching as caching
def cannot(*a, **k): raise OSError(30, "Read-only file system")
{spoil}
import numpy as np
from sawing.calc.dock_flitch import Flitch
from sawing.calc.dock_optimum import dock
from sawing.calc.dock_rules import Rules
flitch = Flitch("F", 25.0, np.array([0.0, 4000.0]), np.zeros(2), np.array([200.0, 150.0]))
print(dock(flitch, Rules(widths_mm=(150.0, 175.0), grid_step_mm=100.0)).value)
"""


@pytest.mark.parametrize(
    "spoil",
    [
        "caching._CacheLocator.ensure_cache_path = cannot",
        "caching.IndexDataCacheFile.save = cannot",
    ],
    ids=["no folder can be written", "the folder fills up"],
)
def test_without_a_place_for_compiled_code_only_time_is_lost(spoil: str, tmp_path: Path) -> None:
    code = READ_ONLY.format(spoil=spoil)
    environment = {"PATH": "/usr/bin:/bin", "PYTHONPATH": str(ROOT), "NUMBA_CACHE_DIR": str(tmp_path)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment)
    assert done.returncode == 0, done.stderr
    assert float(done.stdout) == pytest.approx((175 * 2000 + 150 * 1900) * 25 / 1e9, rel=1e-12)
    assert not list(tmp_path.rglob("*.nbc"))


@pytest.mark.parametrize(("name", "value"), [("max_length_mm", 1e12), ("length_module_mm", 1e-3)])
def test_lengths_nobody_saws_are_a_fault_and_not_a_long_list(name: str, value: float) -> None:
    faults = Rules(widths_mm=(100.0,), **{name: value}).faults()  # type: ignore[arg-type]
    assert name in [key for key, _, _ in faults]

"""Recovery of a log whose sawing is known exactly, board feet, and the ratio of sums.

Source: exact geometry of a cylinder live-sawn into nine flitches, computed independently of this code
(fixtures/reference/03_recovery.csv, R1-R12); board foot: exact by the definition of the inch (R13, R14).
The bands of usual recovery are common practice, no published source.
"""

from __future__ import annotations

import math

import pandas as pd
import pytest

from reports.calc.recovery import RecoveryOptions, RecoveryResult, compute_recovery
from sawing.calc.balance import log_balance
from sawing.calc.board_volume import board_volumes
from sawing.calc.log_volume import log_volumes
from sawing.calc.units import board_feet_to_m3, m3_to_board_feet
from tests.published.reference import checks

CHECKS = checks("03_recovery.csv")
NOMINAL_WIDTHS_MM = (75, 175, 250, 275, 275, 275, 250, 175, 75)
TREES = pd.DataFrame({"tree": ["T1"], "clone": ["C1"]})
LOGS = pd.DataFrame(
    {"log": ["T1-1"], "tree": ["T1"], "length_m": [3.0], "sed1_mm": [300.0], "led1_mm": [300.0]}
)
BOARDS = pd.DataFrame(
    [
        {
            "board": f"B{number}",
            "log": "T1-1",
            "flitch": str(number),
            "thickness_mm": 28,
            "width_mm": width + 6,
            "length_m": 3.0,
            "nominal_thickness_mm": 25,
            "nominal_width_mm": width,
            "dry_thickness_mm": 20,
            "dry_width_mm": width - 6,
        }
        for number, width in enumerate(NOMINAL_WIDTHS_MM, start=1)
    ]
)


def expected(check_id: str) -> object:
    return pytest.approx(CHECKS[check_id].expected, rel=CHECKS[check_id].tolerance)


def recovery(**options: object) -> RecoveryResult:
    return compute_recovery(TREES, LOGS, BOARDS, options=RecoveryOptions(**options))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "formula", ["smalian", "cone_frustum", "mean_diameter", "small_end_cylinder", "sections"]
)
def test_log_volume_of_the_cylinder(formula: str) -> None:
    assert log_volumes(LOGS, formula).volume_m3.iloc[0] == expected("R1")


def test_one_log_has_three_recoveries_by_size_basis() -> None:
    assert recovery(size_basis="nominal").total.green_recovery == expected("R9")
    assert recovery(size_basis="actual_green").total.green_recovery == expected("R10")
    assert recovery(size_basis="dry").total.green_recovery == expected("R11")
    assert recovery().total.green_recovery == expected("R5")


def test_docking_takes_its_tenth() -> None:
    grades = pd.DataFrame(
        {"board": BOARDS["board"], "rule_set": "any", "grade": "sound", "graded_length_m": 2.7}
    )
    graded = compute_recovery(TREES, LOGS, BOARDS, grades).total.graded["any"]
    assert graded.graded_recovery == expected("R12")
    assert graded.value is None


def test_balance_closes_and_its_kerf_estimate_is_near_and_below_the_exact_kerf() -> None:
    """The boards are narrower than the flitches the saw went through, so the estimate must be low, but not
    by a tenth."""
    sizes = board_volumes(BOARDS)
    volume = log_volumes(LOGS).volume_m3
    parts = log_balance(LOGS["log"], volume, BOARDS, sizes.volume_m3, kerf_mm=4.0).parts.loc["T1-1"]
    assert parts["boards_m3"] / parts["log_volume_m3"] == expected("R5")
    kerf_share = parts["kerf_m3"] / parts["log_volume_m3"]
    exact = CHECKS["R3"].expected
    assert 0.9 * exact < kerf_share < exact
    # Slabs, edger kerf and edgings, and the part of the kerf that lies in the edgings.
    exact_rest = CHECKS["R4"].expected + CHECKS["R6"].expected + CHECKS["R7"].expected
    assert parts["rest_m3"] / parts["log_volume_m3"] == pytest.approx(
        exact_rest + exact - kerf_share, rel=1e-5
    )


def test_sawing_geometry_of_the_example_is_the_one_of_the_table() -> None:
    """The shares of flitches, kerf and slabs that the table gives follow from a centred cylinder: 0, 1 sum
    to one."""
    assert sum(CHECKS[name].expected for name in ("R3", "R4", "R5", "R6", "R7")) == expected("R8")
    assert CHECKS["R2"].expected + CHECKS["R3"].expected + CHECKS["R4"].expected == pytest.approx(
        1.0, rel=1e-6
    )


def test_board_foot() -> None:
    """12 in x 12 in x 1 in with an inch of exactly 25.4 mm; the table prints eight and six digits of it."""
    assert board_feet_to_m3(1.0) == pytest.approx(0.002359737216, rel=1e-12)
    assert board_feet_to_m3(1.0) == pytest.approx(CHECKS["R13"].expected, rel=1e-8)
    assert m3_to_board_feet(1.0) == pytest.approx(CHECKS["R14"].expected, rel=1e-8)
    assert m3_to_board_feet(board_feet_to_m3(137.0)) == pytest.approx(137.0, rel=1e-12)


@pytest.mark.parametrize(("check_id", "basis"), [("R15", "nominal"), ("R16", "actual_green"), ("R17", "dry")])
def test_three_sizes_of_one_board(check_id: str, basis: str) -> None:
    board = pd.DataFrame(
        [
            {
                "board": "B",
                "thickness_mm": 28,
                "width_mm": 106,
                "length_m": 2.7,
                "nominal_thickness_mm": 25,
                "nominal_width_mm": 100,
                "dry_thickness_mm": 20,
                "dry_width_mm": 94,
            }
        ]
    )
    assert board_volumes(board, basis).volume_m3.iloc[0] == expected(check_id)  # type: ignore[arg-type]


def test_value_per_m3_is_the_ratio_of_sums() -> None:
    """Three trees of 0.31, 0.42, 0.55 m3 worth 82, 120, 190: 306.25 (R18), not the mean of ratios 298.56
    (R19)."""
    names = ["a", "b", "c"]
    diameters = [1000 * math.sqrt(4 * volume / (math.pi * 10)) for volume in (0.31, 0.42, 0.55)]
    trees = pd.DataFrame({"tree": names, "clone": "C"})
    logs = pd.DataFrame(
        {"log": names, "tree": names, "length_m": 10.0, "sed1_mm": diameters, "led1_mm": diameters}
    )
    boards = pd.DataFrame(
        {"board": names, "log": names, "thickness_mm": 50, "width_mm": 200, "length_m": 10.0}
    )
    grades = pd.DataFrame({"board": names, "rule_set": "trial", "grade": names})
    prices = pd.DataFrame({"rule_set": "trial", "grade": names, "price_per_m3": [820.0, 1200.0, 1900.0]})
    result = compute_recovery(trees, logs, boards, grades, prices)
    assert result.by_clone["C"].graded["trial"].value_per_m3_log == expected("R18")
    assert result.total.best_use.value_per_m3_log == expected("R18")
    by_tree = [figures.best_use.value_per_m3_log or math.nan for figures in result.by_tree.values()]
    assert sum(by_tree) / 3 == expected("R19")


def test_recoveries_far_from_common_practice_are_warned_about() -> None:
    """Common practice, no published source: live-sawn young conifers near 58 % green; warned outside 35-75
    %."""
    assert not any("green recovery" in warning.found for warning in recovery().warnings)
    few = compute_recovery(TREES, LOGS, BOARDS.head(2))
    assert [w.found for w in few.warnings if "green recovery" in w.found] == [
        "green recovery 10.4% (actual green size)"
    ]

"""The graded piece: its size where the grader gave one, else the board's own; never larger than the board."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grading.calc.graded_piece import graded_pieces, larger_than_board
from sawing.calc.board_volume import board_volumes

BOARDS = pd.DataFrame(
    {
        "board": ["B1", "B2"],
        "thickness_mm": [28.0, 40.0],
        "width_mm": [106.0, 150.0],
        "length_m": [3.0, 4.0],
        "nominal_thickness_mm": [25.0, 38.0],
        "nominal_width_mm": [100.0, 140.0],
    }
)


def grades(**graded: object) -> pd.DataFrame:
    return pd.DataFrame({"board": ["B1"], "rule_set": "trial", "grade": "sound", **graded})


def volume(rows: pd.DataFrame, basis: str = "actual_green") -> float:
    sizes = board_volumes(BOARDS, basis)  # type: ignore[arg-type]
    return float(graded_pieces(rows, BOARDS, sizes).volume_m3.iloc[0])


def test_without_graded_sizes_the_piece_is_the_board() -> None:
    assert volume(grades()) == pytest.approx(28 * 106 * 3 / 1e6)


def test_each_size_falls_back_by_itself() -> None:
    assert volume(grades(graded_length_m=2.7)) == pytest.approx(28 * 106 * 2.7 / 1e6)
    assert volume(grades(graded_width_mm=70.0)) == pytest.approx(28 * 70 * 3 / 1e6)
    assert volume(grades(graded_thickness_mm=20.0, graded_width_mm=np.nan)) == pytest.approx(
        20 * 106 * 3 / 1e6
    )


def test_the_fallback_is_in_the_chosen_size_basis() -> None:
    assert volume(grades(graded_length_m=2.7), "nominal") == pytest.approx(25 * 100 * 2.7 / 1e6)


def test_a_length_of_nothing_is_nothing_not_missing() -> None:
    assert volume(grades(graded_length_m=0.0)) == 0.0


def test_an_unknown_board_has_no_volume() -> None:
    sizes = board_volumes(BOARDS)
    full = grades(graded_length_m=1.0, graded_width_mm=1.0, graded_thickness_mm=1.0)
    assert np.isnan(graded_pieces(full.assign(board="B9"), BOARDS, sizes).volume_m3.iloc[0])
    assert larger_than_board(full.assign(board="B9"), BOARDS) == []


@pytest.mark.parametrize(
    ("column", "size"), [("graded_thickness_mm", 28.0), ("graded_width_mm", 106.0), ("graded_length_m", 3.0)]
)
def test_larger_than_the_board_is_a_problem_and_its_own_size_is_not(column: str, size: float) -> None:
    assert larger_than_board(grades(**{column: size}), BOARDS) == []
    assert larger_than_board(grades(**{column: size * (1 + 1e-10)}), BOARDS) == []
    problems = larger_than_board(grades(**{column: size * 1.001}), BOARDS)
    assert [problem.column for problem in problems] == [column]
    assert problems[0].expected == f"at most the board's own {size:g}"


def test_negative_graded_size_is_a_problem() -> None:
    assert [p.expected for p in larger_than_board(grades(graded_length_m=-1.0), BOARDS)] == [
        "0 or more, or blank"
    ]


@given(shares=st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1)), max_size=6))
@settings(deadline=None)
def test_a_piece_within_its_board_has_no_more_volume(shares: list[tuple[float, float, float]]) -> None:
    part = np.array(shares, dtype=float).reshape(-1, 3)
    rows = pd.DataFrame(
        {
            "board": ["B2"] * len(part),
            "graded_thickness_mm": part[:, 0] * 40,
            "graded_width_mm": part[:, 1] * 150,
            "graded_length_m": part[:, 2] * 4,
        }
    )
    found = graded_pieces(rows, BOARDS, board_volumes(BOARDS)).volume_m3
    assert larger_than_board(rows, BOARDS) == []
    np.testing.assert_allclose(found, part.prod(axis=1) * 0.024, rtol=1e-12, atol=1e-15)

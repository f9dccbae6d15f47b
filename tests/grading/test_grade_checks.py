"""What no single cell of a list of grades shows."""

from __future__ import annotations

import pandas as pd
import pytest

from grading.columns import GRADES
from portal.calc.file_checks import Checked, check_file

BOARDS = pd.DataFrame({"board": ["K1", "K2"], "thickness_mm": 28.0, "width_mm": 152.0, "length_m": 4.1})
RULE_SETS = pd.DataFrame({"rule_set": ["look", "look", "frame"], "grade": ["A", "B", "F1"]})
HEADER = "board,rule_set,grade,graded_length_m,graded_width_mm,graded_thickness_mm\n"


def grades(*rows: str, **known: pd.DataFrame) -> Checked:
    return check_file((HEADER + "\n".join(rows)).encode(), "grades.csv", GRADES, known)


def places(result: Checked) -> list[tuple[int | None, str | None]]:
    return [(problem.row, problem.column) for problem in result.problems]


def test_sound_grades_are_taken_whole():
    rows = ("K1,look,A,4.1,152,28", "K1,Frame,F1,,,", "K2,look,B,3.6,150,25")
    result = grades(*rows, boards=BOARDS, rule_sets=RULE_SETS)
    assert result.problems == []
    assert result.accepted["rule_set"].tolist() == ["look", "frame", "look"]


def test_two_grades_of_one_board_in_one_rule_set_are_a_problem_of_the_later():
    result = grades("K1,look,A,,,", "K1,frame,F1,,,", "k1,look,B,,,", boards=BOARDS)
    assert places(result) == [(4, "board")]
    assert result.problems[0].found == "K1, look"
    assert "row 2" in result.problems[0].expected


@pytest.mark.parametrize(
    ("row", "column", "own"),
    [
        ("K1,look,A,4.2,,", "graded_length_m", "4.1"),
        ("K1,look,A,,153,", "graded_width_mm", "152"),
        ("K1,look,A,,,28.5", "graded_thickness_mm", "28"),
    ],
)
def test_a_graded_piece_larger_than_its_board_is_a_problem_in_any_direction(row: str, column: str, own: str):
    result = grades(row, boards=BOARDS)
    assert places(result) == [(2, column)]
    assert result.problems[0].expected == f"at most the board's own {own}"


def test_a_grade_its_rule_set_does_not_have_is_a_problem_naming_those_it_has():
    result = grades("K1,look,F1,,,", "K2,looks,A,,,", rule_sets=RULE_SETS)
    assert places(result) == [(2, "grade"), (3, "rule_set")]
    assert result.problems[0].expected == "a grade of rule set look: A, B"


def test_rule_sets_and_boards_are_not_checked_when_they_are_not_known():
    assert grades("K9,any,thing,9,900,90").problems == []

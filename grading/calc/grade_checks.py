"""What no single cell of a list of grades shows: unknown grades, pieces larger than their boards."""

from __future__ import annotations

import pandas as pd

from grading.calc.graded_piece import larger_than_board
from portal.calc.file_spec import Known, Problem, shown
from sawing.calc.tally_checks import as_problems

BOARD_SIZES = frozenset({"board", "thickness_mm", "width_mm", "length_m"})


def check_grades(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    """Grades unknown to their rule set, and graded pieces larger than their board in any direction.

    `known["rule_sets"]` (rule_set, grade) and `known["boards"]` with actual green sizes, each when given.
    """
    problems = unknown_grades(rows, known, file)
    boards = known.get("boards")
    if boards is not None and set(boards.columns) >= BOARD_SIZES:
        problems += as_problems(larger_than_board(rows, boards), rows, file)
    return problems


def unknown_grades(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    """A problem for each row whose grade its rule set does not have; the known grades are named."""
    rule_sets = known.get("rule_sets")
    if rule_sets is None:
        return []
    grades: dict[str, list[str]] = {}
    for rule_set, grade in zip(rule_sets["rule_set"], rule_sets["grade"], strict=True):
        grades.setdefault(rule_set, []).append(str(grade))
    problems = []
    for rule_set, grade, row in zip(rows["rule_set"], rows["grade"], rows["_row"], strict=True):
        if grade not in grades.get(rule_set, []):
            names = ", ".join(map(shown, grades.get(rule_set, [])))
            expected = f"a grade of rule set {shown(rule_set)}: {names}"
            problems.append(Problem(file, int(row), "grade", shown(grade), expected))
    return problems

"""What no single cell of a price list shows: bands that overlap or run backwards, currencies that differ."""

from __future__ import annotations

import pandas as pd

from grading.calc.grade_checks import unknown_grades
from portal.calc.file_spec import Known, Problem
from reports.calc.prices import price_list_problems
from sawing.calc.tally_checks import as_problems


def check_prices(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    """Grades unknown to their rule set, overlapping or empty bands of widths, more than one currency."""
    return [*unknown_grades(rows, known, file), *as_problems(price_list_problems(rows), rows, file)]

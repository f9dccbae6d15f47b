"""Prices of graded pieces for grading by value: what a list needs to hold, and what makes it unusable.

The columns are those of a prices file. The room of reports keeps price lists; this one only reads what grading needs.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from grading.calc.grade_checks import unknown_grades
from portal.calc.file_spec import Column, FileKind, Known, Problem, shown
from sawing.calc.frames import numbers, texts


def check_bands(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    """Grades unknown to their rule set, bands without any width, and two rows for one piece."""
    problems = unknown_grades(rows, known, file)
    low = np.nan_to_num(numbers(rows, "min_width_mm"), nan=-np.inf)
    high = np.nan_to_num(numbers(rows, "max_width_mm"), nan=np.inf)
    thick = np.nan_to_num(numbers(rows, "min_thickness_mm"), nan=-np.inf)
    key = list(zip(texts(rows, "rule_set"), texts(rows, "grade"), thick, strict=True))
    for at in range(len(rows)):
        row = int(rows["_row"].iloc[at])
        if low[at] >= high[at]:
            problems.append(
                Problem(
                    file, row, "max_width_mm", shown(f"{high[at]:g}"), f"more than {low[at]:g}, min_width_mm"
                )
            )
        for before in range(at):
            if key[at] == key[before] and low[at] < high[before] and low[before] < high[at]:
                first = int(rows["_row"].iloc[before])
                expected = f"no overlap with the band of row {first}"
                problems.append(Problem(file, row, "min_width_mm", shown(f"{key[at][1]}"), expected))
                break
    return problems


def _size(name: str, maximum: float) -> Column:
    return Column(name, "number", unit="mm", minimum=0, maximum=maximum)


PRICES_BY_GRADE: Final = FileKind(
    name="prices",
    title="Prices",
    help="One row per rule set, grade and band of widths.",
    columns=(
        Column("rule_set", "code", required=True),
        Column("grade", "code", required=True),
        Column("price_per_m3", "number", required=True, unit="per m³", minimum=0, maximum=1_000_000),
        _size("min_width_mm", 2_000),
        _size("max_width_mm", 2_000),
        _size("min_thickness_mm", 400),
        Column("currency", "text", maximum=3),
    ),
    key=("rule_set", "grade", "min_width_mm", "max_width_mm", "min_thickness_mm"),
    check=check_bands,
)

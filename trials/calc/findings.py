"""What a check of measurements says, and what the checks know about a trait.

A finding asks; it never refuses or changes a value. The limits here are our own unless a source is named.

Rows are one visit to one site, one row a tree: tree, the trait's column (dbh_mm), the value of the visit
before under last_ and the same name (last_dbh_mm), years since then.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from trials.calc.tree_frames import FloatArray, numbers, shown

Severity = Literal["high", "middle", "low"]
SEVERITIES: tuple[Severity, ...] = ("high", "middle", "low")

LEAST_FOR_GROWTH = 8
LEAST_FOR_LINE = 15
SPREAD_UNKNOWN = 0.10
LEAST_SPREAD = 0.02
MOST_READABLE = 1e9  # beyond it a reading is noise: outside any limits, and of no use in arithmetic
TO_SD = 1.4826  # median absolute deviation to standard deviation, normal distribution


@dataclass(frozen=True)
class Finding:
    """A doubt about measurements: which check, which column, index labels of the rows, why in words.

    Severity: "high" cannot be true as it stands, "middle" is doubtful, "low" is worth a look. `suggestion` is
    the value that was probably meant, in the unit of the column, or None.
    """

    check: str
    column: str
    rows: tuple[Hashable, ...]
    severity: Severity
    text: str
    suggestion: float | None = None


@dataclass(frozen=True)
class TraitRule:
    """What the checks know about a trait; limits in its unit, None where there is none.

    `most_loss`: what it may shrink by between visits before it is asked about; `step`: the finest reading
    (1 mm, 0.1 m), which says what the last digit is; `is_girth_prone`: whether a tape can read its
    circumference.
    """

    column: str
    name: str
    unit: str
    step: float
    least: float | None = None
    most: float | None = None
    most_loss: float | None = None
    most_gain_per_year: float | None = None
    is_girth_prone: bool = False

    @property
    def last(self) -> str:
        """The column of the value at the visit before."""
        return f"last_{self.column}"

    def said(self, value: float) -> str:
        """The value with its unit."""
        return f"{shown(round(value, 6) if abs(value) < MOST_READABLE else value)} {self.unit}".strip()

    def rounded(self, value: float) -> float:
        """The value to the step of the trait."""
        return round(round(float(value) / self.step) * self.step, 9)


DBH = TraitRule("dbh_mm", "diameter", "mm", 1.0, 1.0, 1500.0, 2.0, 40.0, is_girth_prone=True)
HEIGHT = TraitRule("height_m", "height", "m", 0.1, 0.1, 60.0, 0.5, 3.0)


@dataclass(frozen=True)
class Expectation:
    """What each value should be about, from the last one; NaN without a last value.

    `spread` is one robust standard deviation of values about it, in the unit of the trait; `growth` the
    median ratio of values to last values.
    """

    value: FloatArray
    spread: FloatArray
    growth: float


def expectation(rows: pd.DataFrame, rule: TraitRule, by_line: bool = True) -> Expectation:
    """Expected value of each row: from 15 trees seen twice on by a resistant line of values on last values
    (small trees grow more for their size), from 8 on, and without `by_line`, by the median ratio; with fewer,
    growth is taken as none and the spread as 10 %."""
    now, last = readings(rows, rule.column), readings(rows, rule.last)
    now, last = np.where(now > 0, now, np.nan), np.where(last > 0, last, np.nan)
    both = np.isfinite(now) & np.isfinite(last)
    x, y = last[both], now[both]
    if len(x) < LEAST_FOR_GROWTH:
        return Expectation(last, np.maximum(SPREAD_UNKNOWN * last, rule.step), 1.0)
    growth = float(np.median(y / x))
    slope, level = resistant_line(x, y) if by_line and len(x) >= LEAST_FOR_LINE else (growth, 0.0)
    value = np.maximum(slope * last + level, 0.5 * last)
    deviation = TO_SD * float(np.median(np.abs(y - value[both])))
    return Expectation(value, np.maximum(deviation, np.maximum(LEAST_SPREAD * value, rule.step)), growth)


def resistant_line(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Slope and level of a line through the medians of the outer thirds (Tukey 1977, Exploratory Data
    Analysis, without its polishing); a third of wrong values does not move it. Level alone where x hardly
    varies."""
    low, high = np.quantile(x, [1.0 / 3.0, 2.0 / 3.0])
    left, right = x <= low, x >= high
    run = float(np.median(x[right]) - np.median(x[left]))
    slope = float(np.median(y[right]) - np.median(y[left])) / run if run > 0 else 1.0
    return slope, float(np.median(y - slope * x))


def readings(rows: pd.DataFrame, column: str) -> FloatArray:
    """Values of a trait that arithmetic can use: NaN where missing, infinite or absurd (beyond 1e9, or so near
    0 that a ratio to it is)."""
    values = numbers(rows, column)
    size = np.abs(values)
    usable = (size < MOST_READABLE) & ((size > 1.0 / MOST_READABLE) | (size == 0))
    return np.where(usable, values, np.nan)


def label_at(rows: pd.DataFrame, position: int) -> Hashable:
    """The index label of a row."""
    label: Hashable = rows.index[position]
    return label


def in_order(findings: list[Finding]) -> list[Finding]:
    """Findings with the gravest first, otherwise as they came."""
    return sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity))

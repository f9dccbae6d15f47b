"""Doubts that only many measurements together show: a row of trees gone out of step, favourite digits of a
crew (and entry_outliers: values apart from the others); and all checks of a visit in one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from trials.calc.entry_checks import check_rows
from trials.calc.entry_outliers import outliers_from_curve, outliers_in_plot
from trials.calc.findings import (
    DBH,
    HEIGHT,
    Finding,
    Severity,
    TraitRule,
    expectation,
    in_order,
    label_at,
    readings,
)
from trials.calc.height_curves import HeightCurve
from trials.calc.tree_frames import (
    FloatArray,
    group_positions,
    joined_label,
    label_of,
    numbers,
    positions_where,
    require,
    shown,
)

LEAST_RUN = 6  # trees out of step before it is more than chance
LEAST_CORRELATION, LEAST_BETTER, SURE_CORRELATION = 0.7, 0.3, 0.9
MOST_LEFT = 0.25  # of the squared deviations must the shift leave at most
CLIP = 6.0  # robust standard deviations; one typing error must not make a run
DIGIT_LEVEL = 0.001
LEAST_EFFECT = 0.1  # square root of chi-square over n: with many readings any trifle is significant
LEAST_FOR_DIGITS = 50  # five expected of each digit, the usual rule for chi-square
OF_CHANGE = ("shrank", "grew", "transposed")


def sequence_shifts(
    rows: pd.DataFrame, rule: TraitRule = DBH, along: Sequence[str] = ("row",), order: str = "col"
) -> list[Finding]:
    """Runs along a row of trees whose values fit the neighbour's last value better than their own.

    A tree skipped or entered twice puts all that follow on the wrong tree. Trees with a last value, in the
    order of the column `order` within each group of `along`, are compared with the next and with the previous
    one; the run with the greatest gain is named if it holds at least 6 trees, the correlation with the
    neighbours' last values is at least 0.7 and at least 0.3 above that with their own, and the shift leaves
    at most a quarter of the squared deviations (limits: our own).
    """
    require(rows, (rule.column, rule.last, *along, order))
    # A line would lie flat where most trees of the visit are out of step.
    now, expected = readings(rows, rule.column), expectation(rows, rule, by_line=False)
    place = numbers(rows, order)
    found = []
    for at in group_positions(rows, along)[1]:
        line = at[~np.isnan(expected.value[at])]
        line = line[np.argsort(place[line], kind="stable")]
        values, own, spread = now[line], expected.value[line], expected.spread[line]
        runs = [_best_run(values, own, spread, step) for step in (1, -1)]
        known = [run for run in runs if run is not None]
        if known:
            run = max(known, key=lambda candidate: candidate.gain)
            found.append(_shift_finding(rows, line[run.first : run.last + 1], run, rule, order))
    return found


@dataclass(frozen=True)
class _Run:
    first: int
    last: int
    step: int
    gain: float
    own: float
    shifted: float


def _best_run(values: FloatArray, own: FloatArray, spread: FloatArray, step: int) -> _Run | None:
    """The run of greatest total gain in squared deviation (Kadane's maximum sum), if it is convincing."""
    neighbour = np.full(len(own), np.nan)
    if step > 0:
        neighbour[:-1] = own[1:]
    else:
        neighbour[1:] = own[:-1]
    before = np.clip((values - own) / spread, -CLIP, CLIP) ** 2
    after = np.clip((values - neighbour) / spread, -CLIP, CLIP) ** 2
    gain = np.nan_to_num(before - after)
    best, total, start, span = 0.0, 0.0, 0, (0, -1)
    for i, value in enumerate(gain):
        if total <= 0:
            total, start = 0.0, i
        total += value
        if total > best:
            best, span = total, (start, i)
    part = slice(span[0], span[1] + 1)
    pairs = ~np.isnan(values[part]) & ~np.isnan(neighbour[part])
    if pairs.sum() < LEAST_RUN:
        return None
    seen, mine, theirs = values[part][pairs], own[part][pairs], neighbour[part][pairs]
    if min(np.ptp(seen), np.ptp(mine), np.ptp(theirs)) == 0:
        return None
    r_own, r_shifted = float(np.corrcoef(seen, mine)[0, 1]), float(np.corrcoef(seen, theirs)[0, 1])
    convincing = r_shifted >= LEAST_CORRELATION and r_shifted - r_own >= LEAST_BETTER
    if not convincing or np.nansum(after[part]) > MOST_LEFT * np.nansum(before[part]):
        return None
    return _Run(span[0], span[1], step, best, r_own, r_shifted)


def _shift_finding(
    rows: pd.DataFrame, line: npt.NDArray[np.intp], run: _Run, rule: TraitRule, order: str
) -> Finding:
    place = numbers(rows, order)
    neighbour = "next" if run.step > 0 else "previous"
    text = (
        f"from {order} {shown(place[line[0]])} to {shown(place[line[-1]])} the {rule.name} fits the "
        f"{neighbour} tree better than its own (correlation with last time {run.shifted:.2f} against "
        f"{run.own:.2f}): was a tree skipped or entered twice?"
    )
    severity: Severity = "high" if run.shifted >= SURE_CORRELATION else "middle"
    return Finding("sequence", rule.column, tuple(label_at(rows, int(at)) for at in line), severity, text)


@dataclass(frozen=True)
class DigitUse:
    """How often a crew's last digits were 0 to 9: n readings, chi-square against equal use (9 df), its
    p-value."""

    crew: str
    n: int
    counts: tuple[int, ...]
    chi_square: float
    p_value: float


def last_digits(rows: pd.DataFrame, rule: TraitRule = DBH, crew: str = "crew") -> list[DigitUse]:
    """Use of last digits by each crew (column `crew`), in steps of the trait.

    Last digits are even only where readings spread over several tens of steps: crews with fewer than 50
    readings, or a standard deviation below 5 steps, are passed over.
    """
    require(rows, (rule.column, crew))
    values = readings(rows, rule.column)
    labels, positions = group_positions(rows, (crew,))
    uses = []
    for row, at in enumerate(positions):
        known = values[at][np.isfinite(values[at]) & (values[at] > 0)]
        if len(known) < LEAST_FOR_DIGITS or np.std(known, ddof=1) < 5 * rule.step:
            continue
        counts = np.bincount(np.rint(known / rule.step).astype(np.int64) % 10, minlength=10)
        chi_square = float(((counts - len(known) / 10.0) ** 2).sum() / (len(known) / 10.0))
        p_value = float(stats.chi2.sf(chi_square, 9))
        name = joined_label(label_of(labels, row))
        uses.append(DigitUse(name, len(known), tuple(int(n) for n in counts), chi_square, p_value))
    return uses


def digit_preference(rows: pd.DataFrame, rule: TraitRule = DBH, crew: str = "crew") -> list[Finding]:
    """Crews that favour last digits, at p below 0.001 and with an effect that matters; the rows are
    theirs that end in a favoured digit."""
    require(rows, (rule.column, crew))
    values = readings(rows, rule.column)
    # Rows without a value get a digit nobody asks for.
    digits = np.rint(np.where(np.isfinite(values), values / rule.step, -1.0)).astype(np.int64) % 10
    crews = np.array([joined_label(name) for name in rows[crew]], dtype=object)
    found = []
    for use in last_digits(rows, rule, crew):
        if use.p_value >= DIGIT_LEVEL or use.chi_square < LEAST_EFFECT**2 * use.n:
            continue
        favoured = [digit for digit in range(10) if use.counts[digit] > 1.5 * use.n / 10.0]
        favoured = favoured or [int(np.argmax(use.counts))]
        share = sum(use.counts[digit] for digit in favoured) / use.n
        text = (
            f"crew {use.crew}: {share:.0%} of {use.n} {rule.name} readings end in "
            f"{' or '.join(str(digit) for digit in favoured)}, {len(favoured) / 10:.0%} would be even "
            f"(chi-square {use.chi_square:.1f})"
        )
        mask = (crews == use.crew) & np.isin(digits, favoured) & (values > 0)
        labels = tuple(label_at(rows, at) for at in positions_where(mask))
        found.append(Finding("digits", rule.column, labels, "low", text))
    return found


def check_patterns(
    rows: pd.DataFrame, rules: Sequence[TraitRule] = (DBH, HEIGHT), plot_by: Sequence[str] = ("plot",)
) -> list[Finding]:
    """Every check of this module for which the rows carry the columns, traits in the order given."""
    found: list[Finding] = []
    for rule in (rule for rule in rules if rule.column in rows.columns):
        if {rule.last, "row", "col"} <= set(rows.columns):
            along = [column for column in ("site", "row") if column in rows.columns]
            found += sequence_shifts(rows, rule, along)
        if "crew" in rows.columns:
            found += digit_preference(rows, rule)
        if set(plot_by) <= set(rows.columns):
            found += outliers_in_plot(rows, rule, plot_by)
    if {DBH.column, HEIGHT.column} <= set(rows.columns):
        found += outliers_from_curve(rows)
    return found


def check_visit(
    rows: pd.DataFrame,
    rules: Sequence[TraitRule] = (DBH, HEIGHT),
    curve: HeightCurve | None = None,
    plot_by: Sequence[str] = ("plot",),
) -> list[Finding]:
    """Every check of single values and of patterns on one visit, gravest first.

    In a run out of step the single values' changes are explained by the run, and not asked about again.
    """
    patterns = check_patterns(rows, rules, plot_by)
    runs = {(f.column, row) for f in patterns if f.check == "sequence" for row in f.rows}
    single = [
        finding
        for finding in check_rows(rows, rules, curve)
        if finding.check not in OF_CHANGE or (finding.column, finding.rows[0]) not in runs
    ]
    return in_order([*patterns, *single])

"""Doubts about single measurements, tree by tree: limits, impossible change, slips of hand and unit.

Every check asks and none refuses. Limits are our own (see findings.TraitRule); the circumference ratio and
the factor 10 are arithmetic.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from trials.calc.findings import (
    DBH,
    HEIGHT,
    MOST_READABLE,
    Finding,
    TraitRule,
    expectation,
    in_order,
    label_at,
    readings,
)
from trials.calc.height_curves import HeightCurve, band_from_numbers
from trials.calc.stand import slenderness
from trials.calc.tree_frames import BoolArray, FloatArray, numbers, positions_where, require, shown, truths

LEAST_SLENDERNESS, MOST_SLENDERNESS = 20.0, 200.0
# Most tolerances of a ratio, as logarithms; less where the visit's growth is even (see _tolerance).
GIRTH_TOLERANCE = 0.15  # 2.7 to 3.65
TEN_TOLERANCE = 0.30  # 7.4 to 13.5
FAR_OFF, NEARBY = 5.0, 3.0  # robust standard deviations from the expected value


def check_rows(
    rows: pd.DataFrame, rules: Sequence[TraitRule] = (DBH, HEIGHT), curve: HeightCurve | None = None
) -> list[Finding]:
    """Every check of this module on one visit's rows, gravest first.

    A value explained by a slip (unit, circumference, digits) is not asked about again for its change since
    the last visit.
    """
    findings: list[Finding] = duplicates(rows) + status_conflicts(rows, rules)
    for rule in rules:
        if rule.column not in rows.columns:
            continue
        slips = circumference_as_diameter(rows, rule) + unit_slips(rows, rule)
        explained = {row for finding in slips for row in finding.rows}
        slips += [f for f in transposed_digits(rows, rule) if f.rows[0] not in explained]
        explained = {row for finding in slips for row in finding.rows}
        change = [f for f in impossible_change(rows, rule) if f.rows[0] not in explained]
        findings += slips + change + outside_limits(rows, rule)
    if {"dbh_mm", "height_m"} <= set(rows.columns):
        findings += height_against_diameter(rows, curve)
    return in_order(findings)


def outside_limits(rows: pd.DataFrame, rule: TraitRule) -> list[Finding]:
    """Values below the least or above the most of the trait; also infinite ones."""
    values = numbers(rows, rule.column)
    low = np.zeros(len(rows), dtype=np.bool_) if rule.least is None else values < rule.least
    high = np.abs(values) > MOST_READABLE if rule.most is None else values > rule.most
    found = []
    for at in positions_where(low | high):
        limit = rule.least if low[at] else rule.most
        side = "below" if low[at] else "above"
        bound = f"{side} {rule.said(limit)}" if limit is not None else "no number a tree can have"
        text = f"{rule.name} {rule.said(values[at])} is {bound}"
        found.append(Finding("limits", rule.column, (label_at(rows, at),), "high", text))
    return found


def impossible_change(rows: pd.DataFrame, rule: TraitRule) -> list[Finding]:
    """Values that shrank by more than the trait's most_loss, or grew by more than its most_gain_per_year.

    Growth is judged only where the column years (since the last visit) is above 0.
    """
    now, last = readings(rows, rule.column), readings(rows, rule.last)
    change, years = now - last, readings(rows, "years")
    found = []
    # A hair of slack: 20.0 - 20.5 is a loss of 0.5, not of 0.5000000001.
    if rule.most_loss is not None:
        for at in positions_where(change < -rule.most_loss - 1e-9):
            text = (
                f"{rule.name} was {rule.said(last[at])} last time and is {rule.said(now[at])} now: it shrank"
            )
            found.append(Finding("shrank", rule.column, (label_at(rows, at),), "high", text))
    if rule.most_gain_per_year is not None:
        for at in positions_where((years > 0) & (change > rule.most_gain_per_year * years + 1e-9)):
            text = (
                f"{rule.name} grew from {rule.said(last[at])} to {rule.said(now[at])} in {shown(years[at])} "
                f"years: more than {rule.said(rule.most_gain_per_year)} a year"
            )
            found.append(Finding("grew", rule.column, (label_at(rows, at),), "middle", text))
    return found


def circumference_as_diameter(rows: pd.DataFrame, rule: TraitRule = DBH) -> list[Finding]:
    """Diameters about pi times what the last visit lets expect (a circumference was typed), or about 1/pi of
    it (one was typed last time).

    Where all trees of the visit are pi times their last value, growth cannot explain it beyond the trait's
    most_gain_per_year; without years nothing is said of such a visit.
    """
    if not rule.is_girth_prone:
        return []
    now, ratio = readings(rows, rule.column), _ratio_to_expected(rows, rule, math.pi)
    tolerance = _tolerance(rows, rule, GIRTH_TOLERANCE)
    found = []
    for at in positions_where(_is_near(ratio, math.pi, tolerance)):
        meant = rule.rounded(now[at] / math.pi)
        text = (
            f"{rule.name} {rule.said(now[at])} is {ratio[at]:.2f} times what was expected: a "
            f"circumference? As a diameter it would be {rule.said(meant)}"
        )
        found.append(Finding("circumference", rule.column, (label_at(rows, at),), "high", text, meant))
    ratio = _ratio_to_expected(rows, rule, 1.0 / math.pi)
    for at in positions_where(_is_near(ratio, 1.0 / math.pi, tolerance)):
        text = (
            f"{rule.name} {rule.said(now[at])} is a third of what was expected: was a circumference typed "
            f"at the last visit?"
        )
        found.append(Finding("circumference_last", rule.column, (label_at(rows, at),), "middle", text))
    return found


def unit_slips(rows: pd.DataFrame, rule: TraitRule) -> list[Finding]:
    """Values about ten times, or a tenth of, what is expected: mm for cm, or a lost point.

    Expected is the last value with the visit's growth. Without a last value, the value taken back by ten must
    lie among the middle four fifths of the visit, and the value itself well apart from them.
    """
    now = readings(rows, rule.column)
    found = []
    for factor in (10.0, 0.1):
        ratio = _ratio_to_expected(rows, rule, factor)
        hits = _is_near(ratio, factor, _tolerance(rows, rule, TEN_TOLERANCE)) | _alone_by_factor(
            now, ratio, factor
        )
        for at in positions_where(hits):
            meant = round(float(now[at]) / factor, 9)
            about = "ten times" if factor > 1 else "a tenth of"
            text = (
                f"{rule.name} {rule.said(now[at])} is about {about} what was expected: "
                f"was {rule.said(meant)} meant?"
            )
            label = (label_at(rows, at),)
            found.append(Finding("factor_ten", rule.column, label, "high", text, meant))
    return found


def transposed_digits(rows: pd.DataFrame, rule: TraitRule) -> list[Finding]:
    """Values far from what the last visit lets expect that come close when two neighbouring digits change
    places (215 for 125)."""
    now, expected = readings(rows, rule.column), expectation(rows, rule)
    off = np.abs(now - expected.value) / expected.spread
    found = []
    for at in positions_where((off > FAR_OFF) & np.isfinite(now) & (now > 0)):
        near = [
            candidate
            for candidate in _swapped(now[at], rule.step)
            if abs(candidate - expected.value[at]) <= NEARBY * expected.spread[at]
        ]
        if near:
            meant = min(near, key=lambda candidate: abs(candidate - expected.value[at]))
            text = (
                f"{rule.name} {rule.said(now[at])}, last time {rule.said(readings(rows, rule.last)[at])}: "
                f"digits changed places, {rule.said(meant)} meant?"
            )
            label = (label_at(rows, at),)
            found.append(Finding("transposed", rule.column, label, "middle", text, meant))
    return found


def height_against_diameter(
    rows: pd.DataFrame, curve: HeightCurve | None = None, breast_height_m: float = 1.3
) -> list[Finding]:
    """Heights that do not go with their diameter: below breast height with a diameter there, slenderness H/D
    outside 20 to 200, or outside the curve's band of plausible heights (the phone asks the same)."""
    dbh, height = readings(rows, "dbh_mm"), readings(rows, "height_m")
    ratio = slenderness(height, dbh)
    band = curve.numbers() if curve is not None else None
    found = []
    for at in positions_where((dbh > 0) & (height > 0)):
        said = f"height {shown(height[at])} m with a diameter of {shown(dbh[at])} mm"
        plausible = band_from_numbers(band, float(dbh[at])) if band is not None else None
        label = (label_at(rows, at),)
        if height[at] < breast_height_m:
            text = f"{said}: a tree below {breast_height_m:g} m has none at breast height"
            found.append(Finding("below_breast_height", "height_m", label, "high", text))
        elif not LEAST_SLENDERNESS <= ratio[at] <= MOST_SLENDERNESS:
            text = f"{said}: height over diameter is {ratio[at]:.0f}, usual are 20 to 200"
            found.append(Finding("slenderness", "height_m", label, "high", text))
        elif plausible is not None and not plausible[0] <= height[at] <= plausible[2]:
            text = f"{said}: the height curve lets expect {plausible[0]:.1f} to {plausible[2]:.1f} m"
            found.append(Finding("height_band", "height_m", label, "middle", text))
    return found


def status_conflicts(rows: pd.DataFrame, rules: Sequence[TraitRule] = (DBH, HEIGHT)) -> list[Finding]:
    """Trees that were dead last time and live now, and dead trees that grew (columns alive, last_alive)."""
    alive, before = truths(rows, "alive"), truths(rows, "last_alive")
    found = []
    for at in positions_where((before == 0.0) & (alive == 1.0)):
        text = "dead at the last visit, alive now: the wrong tree, or a wrong entry then?"
        found.append(Finding("alive_again", "alive", (label_at(rows, at),), "high", text))
    for rule in rules:
        now, last = readings(rows, rule.column), readings(rows, rule.last)
        slack = rule.most_loss if rule.most_loss is not None else rule.step
        for at in positions_where((alive == 0.0) & (now > last + slack)):
            text = f"dead, but {rule.name} grew from {rule.said(last[at])} to {rule.said(now[at])}"
            found.append(Finding("dead_grew", rule.column, (label_at(rows, at),), "middle", text))
    return found


def duplicates(rows: pd.DataFrame, key: Sequence[str] = ("tree",)) -> list[Finding]:
    """Trees with more than one row in the visit; whether their readings agree is in the text."""
    require(rows, key)
    readings = [column for column in ("alive", "dbh_mm", "height_m") if column in rows.columns]
    found = []
    for _, same in rows[rows.duplicated(list(key), keep=False)].groupby(list(key), sort=False):
        differ = [column for column in readings if same[column].nunique() > 1]
        tree = " / ".join(str(same[column].iloc[0]) for column in key)
        if differ:
            values = ", ".join(shown(value) for value in numbers(same, differ[-1]))
            text = (
                f"tree {tree} has {len(same)} entries that differ ({differ[-1]}: {values}): which one holds?"
            )
        else:
            text = f"tree {tree} has {len(same)} entries with the same readings"
        labels = tuple(same.index)
        found.append(Finding("duplicate", key[0], labels, "middle" if differ else "low", text))
    return found


def _ratio_to_expected(rows: pd.DataFrame, rule: TraitRule, factor: float) -> FloatArray:
    """Values over what is expected, for judging whether a slip by `factor` explains them.

    Expected follows the visit's growth, unless that growth is itself beyond belief: a whole visit typed in
    circumferences, or in the wrong unit, would make its own slip the rule. Then growth is what the slip
    leaves of it, or none.
    """
    now, last = readings(rows, rule.column), readings(rows, rule.last)
    expected = expectation(rows, rule)
    if not _is_beyond_belief(rows, rule, expected.growth):
        return now / expected.value
    left = expected.growth / factor
    return now / (np.where(last > 0, last, np.nan) * (left if 0.9 <= left <= 1.8 else 1.0))


def _is_beyond_belief(rows: pd.DataFrame, rule: TraitRule, growth: float) -> bool:
    """Whether the median growth of a visit is a loss of a fifth, or a doubling faster than trees grow."""
    if growth < 0.8:
        return True
    if growth <= 2.0 or rule.most_gain_per_year is None:
        return False
    years = readings(rows, "years")
    gain = (readings(rows, rule.column) - readings(rows, rule.last)) / np.where(years > 0, years, np.nan)
    known = gain[np.isfinite(gain)]
    return bool(len(known)) and float(np.median(known)) > rule.most_gain_per_year


def _tolerance(rows: pd.DataFrame, rule: TraitRule, most: float) -> FloatArray:
    """How far the logarithm of a ratio may be off: five robust standard deviations of growth, within 0.1 and
    `most`."""
    expected = expectation(rows, rule)
    with np.errstate(invalid="ignore"):
        return np.clip(5.0 * expected.spread / expected.value, 0.1, most)


def _is_near(ratio: FloatArray, target: float, tolerance: FloatArray) -> BoolArray:
    with np.errstate(invalid="ignore", divide="ignore"):
        logs = np.log(np.where(ratio > 0, ratio, np.nan))
    result: BoolArray = np.abs(logs - math.log(target)) <= tolerance
    return result


def _alone_by_factor(now: FloatArray, ratio: FloatArray, factor: float) -> BoolArray:
    """Values without an expectation that lie apart from all others, and among them once taken back."""
    usable = np.isfinite(now) & (now > 0)
    if usable.sum() < 10:
        return np.zeros(len(now), dtype=np.bool_)
    low, high = np.quantile(now[usable], [0.1, 0.9])
    back = now / factor
    apart = now > 2.0 * high if factor > 1 else now < 0.5 * low
    result: BoolArray = usable & np.isnan(ratio) & apart & (back >= low) & (back <= high)
    return result


def _swapped(value: float, step: float) -> list[float]:
    """The value with each pair of neighbouring unequal digits exchanged, in steps of the trait."""
    digits = f"0{round(value / step)}"  # a zero typed in front is lost in the number
    return [
        round(int(digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :]) * step, 9)
        for i in range(len(digits) - 1)
        if digits[i] != digits[i + 1]
    ]

"""Values apart from the others: of their plot, or of the height-diameter curve, judged robustly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from trials.calc.findings import DBH, HEIGHT, TO_SD, Finding, TraitRule, label_at, readings
from trials.calc.height_curves import CurveRefusedError, HeightCurve, fit_height_curve
from trials.calc.tree_frames import BoolArray, FloatArray, group_positions, positions_where, shown

OUTLIER_Z = 3.5  # Iglewicz and Hoaglin 1993, modified z-score; from memory
LEAST_IN_GROUP = 8


def modified_z(values: FloatArray, least_spread: float) -> FloatArray:
    """Modified z-scores: 0.6745 (x - median) / median absolute deviation (Iglewicz and Hoaglin 1993).

    `least_spread`: floor of the median absolute deviation, so that equal readings do not make every other one
    an outlier. NaN stays NaN.
    """
    known = values[np.isfinite(values)]
    if not len(known):
        return np.full(len(values), np.nan)
    centre = np.median(known)
    deviation = max(float(np.median(np.abs(known - centre))), least_spread)
    result: FloatArray = 0.6745 * (values - centre) / deviation
    return result


def outliers_in_plot(
    rows: pd.DataFrame, rule: TraitRule = DBH, by: Sequence[str] = ("plot",)
) -> list[Finding]:
    """Values apart from the others of their group: modified z-score beyond 3.5.

    Groups with fewer than 8 values (single-tree plots) are judged against the whole visit.
    """
    values = readings(rows, rule.column)
    whole = modified_z(values, rule.step)
    scores, against = whole.copy(), np.full(len(rows), "the visit", dtype=object)
    for group in group_positions(rows, by)[1]:
        if np.isfinite(values[group]).sum() >= LEAST_IN_GROUP:
            scores[group], against[group] = modified_z(values[group], rule.step), "its plot"
    if np.isfinite(values).sum() < LEAST_IN_GROUP:
        return []
    found = []
    for at in positions_where(np.abs(scores) > OUTLIER_Z):
        side = "above" if scores[at] > 0 else "below"
        text = f"{rule.name} {rule.said(values[at])} lies far {side} the others of {against[at]}"
        found.append(Finding("outlier", rule.column, (label_at(rows, at),), "low", text))
    return found


def robust_height_curve(dbh_mm: FloatArray, height_m: FloatArray, power: float = 2.5) -> HeightCurve:
    """A height-diameter curve with wrong pairs left out: fitted, pairs with residuals beyond a modified
    z-score of 3.5 dropped, and so on until nothing changes. Raises as fit_height_curve does."""
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.log(np.where((dbh_mm > 0) & (height_m > 0), height_m / dbh_mm, np.nan))
    # Gross slips (a factor of ten) go first: they would pull the first fit.
    kept: BoolArray = np.abs(modified_z(ratio, 0.05)) <= 2 * OUTLIER_Z
    for _ in range(10):
        curve = fit_height_curve(dbh_mm[kept], height_m[kept], power)
        residuals = height_m - curve.height_m(dbh_mm)
        scale = TO_SD * float(np.nanmedian(np.abs(residuals[kept])))
        again: BoolArray = np.abs(residuals) <= OUTLIER_Z * max(scale, 0.05)
        if (again == kept).all():
            break
        kept = again
    return curve


def outliers_from_curve(rows: pd.DataFrame, power: float = 2.5) -> list[Finding]:
    """Pairs of diameter and height far from the curve of the others (3.5 robust standard deviations).

    Nothing is said where no curve can be fitted (fewer than 10 pairs).
    """
    dbh, height = readings(rows, DBH.column), readings(rows, HEIGHT.column)
    try:
        curve = robust_height_curve(dbh, height, power)
    except CurveRefusedError:
        return []
    residuals = height - curve.height_m(dbh)
    scale = max(TO_SD * float(np.nanmedian(np.abs(residuals))), HEIGHT.step)
    found = []
    for at in positions_where(np.abs(residuals) > OUTLIER_Z * scale):
        side = "above" if residuals[at] > 0 else "below"
        text = (
            f"height {shown(height[at])} m at diameter {shown(dbh[at])} mm lies {abs(residuals[at]):.1f} m "
            f"{side} the curve of the others: height or diameter wrong?"
        )
        found.append(Finding("curve_outlier", HEIGHT.column, (label_at(rows, at),), "middle", text))
    return found

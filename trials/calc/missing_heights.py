"""Heights nobody measured, from the curve of the tree's group, each marked as estimated.

Where a group has too few heights for a curve of its own, the caller may lend it another group's; a clone takes the
curve of its site, shifted by the few heights it has. The estimate says so. A height that came from a curve never
goes into another curve.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence

import numpy as np
import pandas as pd

from trials.calc.clone_shifts import CloneShifts, fit_clone_shifts
from trials.calc.height_curves import CurveRefusedError, HeightCurve, borrowed, fit_height_curve
from trials.calc.tree_frames import FloatArray, group_positions, joined_label, label_of, numbers

MEASURED, FROM_CURVE = "measured", "curve"


def fit_height_curves(
    trees: pd.DataFrame,
    by: Sequence[str],
    power: float = 2.5,
    breast_height_m: float = 1.3,
    borrow: HeightCurve | None = None,
) -> tuple[dict[Hashable, HeightCurve], dict[Hashable, str]]:
    """A curve for each group of trees, and for groups without one the reason.

    `trees`: dbh_mm, height_m, perhaps height_source (heights that came from a curve are not used), and the
    columns of `by`. Groups that get no curve of their own take `borrow`, marked, when given. Keys: the
    group's value, or a tuple of several.
    """
    labels, positions = group_positions(trees, by)
    dbh, height = numbers(trees, "dbh_mm"), measured_heights_m(trees)
    curves: dict[Hashable, HeightCurve] = {}
    refusals: dict[Hashable, str] = {}
    for row, at in enumerate(positions):
        label = label_of(labels, row)
        name = joined_label(label) or "all trees"
        try:
            curves[label] = fit_height_curve(dbh[at], height[at], power, breast_height_m, name)
        except CurveRefusedError as refusal:
            refusals[label] = str(refusal)
            if borrow is not None:
                curves[label] = borrowed(borrow, name)
    return curves, refusals


def fit_clone_curves(
    trees: pd.DataFrame, power: float = 2.5, breast_height_m: float = 1.3
) -> tuple[dict[Hashable, HeightCurve], CloneShifts | None, str]:
    """The curve by which missing heights of each clone are estimated.

    A clone with heights enough has its own; each other one takes the site's, shifted by its own heights, or as it
    is where no shifts can be estimated. `trees` as in `fit_height_curves`, with clone.

    :returns: curves by clone, the shifts or None, and why there are none ("" where there are).
    """
    dbh, height = numbers(trees, "dbh_mm"), measured_heights_m(trees)
    shifts: CloneShifts | None = None
    site: HeightCurve | None = None
    reason = ""
    try:
        shifts = fit_clone_shifts(dbh, height, trees["clone"], power, breast_height_m)
    except CurveRefusedError as refusal:
        reason = str(refusal)
        try:
            site = fit_height_curve(dbh, height, power, breast_height_m, "the whole site")
        except CurveRefusedError:
            site = None
    curves, refusals = fit_height_curves(trees, ("clone",), power, breast_height_m, site)
    if shifts is not None:
        for clone in refusals:
            curves[clone] = shifts.curve_of("none" if clone is None else str(clone))
    return curves, shifts, reason


def measured_heights_m(trees: pd.DataFrame) -> FloatArray:
    """Heights in m that somebody measured; NaN where there is none or it came from a curve."""
    height = numbers(trees, "height_m")
    if "height_source" not in trees.columns:
        return height
    return np.where(trees["height_source"].to_numpy(dtype=object) == FROM_CURVE, np.nan, height)


def fill_heights(
    trees: pd.DataFrame, curves: Mapping[Hashable, HeightCurve], by: Sequence[str]
) -> pd.DataFrame:
    """The trees with height_m from their group's curve where none was measured, each marked.

    Columns added or replaced: height_m, height_source ("measured", "curve", None without a height),
    height_method (form, number of heights, borrowed from whom), height_extrapolated (diameter outside the
    curve's range). A measured height is never replaced.
    """
    labels, positions = group_positions(trees, by)
    dbh, height = numbers(trees, "dbh_mm"), measured_heights_m(trees).copy()
    source = np.full(len(trees), None, dtype=object)
    source[~np.isnan(height)] = MEASURED
    method = np.full(len(trees), None, dtype=object)
    extrapolated = np.zeros(len(trees), dtype=np.bool_)
    for row, at in enumerate(positions):
        curve = curves.get(label_of(labels, row))
        if curve is None:
            continue
        missing = at[np.isnan(height[at])]
        estimate = curve.height_m(dbh[missing])
        known = missing[~np.isnan(estimate)]
        height[missing] = estimate
        source[known], method[known] = FROM_CURVE, curve.method
        extrapolated[known] = curve.is_outside_range(dbh[known])
    # Object columns by name: pandas would turn None into NaN in a column of text.
    return trees.assign(
        height_m=height,
        height_source=pd.Series(source, index=trees.index, dtype=object),
        height_method=pd.Series(method, index=trees.index, dtype=object),
        height_extrapolated=extrapolated,
    )

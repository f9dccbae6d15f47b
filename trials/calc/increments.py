"""Growth per year: mean annual (size over age) and periodic annual (change between two visits) increment.

MAI = size / age; PAI = (size2 - size1) / (age2 - age1), of the same stems, by the same method. A diameter
that shrank by more than 2 mm or a height by more than 0.5 m is flagged as an error of measurement and kept:
left out, it would bias the mean upward (limits: our own).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from trials.calc.tree_frames import (
    FloatArray,
    as_floats,
    group_positions,
    numbers,
    positions_where,
    require,
    truths,
)

MOST_LOSS: Mapping[str, float] = {"dbh_mm": 2.0, "height_m": 0.5}
MEAN_OF: Mapping[str, str] = {
    "quadratic_mean_dbh_mm": "dbh_mai_mm_per_year",
    "mean_height_m": "height_mai_m_per_year",
    "top_height_m": "top_height_mai_m_per_year",
    "basal_area_m2_per_ha": "basal_area_mai_m2_per_ha_year",
    "volume_m3_per_ha": "volume_mai_m3_per_ha_year",
}


def mean_annual_increment(size: npt.ArrayLike, age_years: npt.ArrayLike) -> FloatArray:
    """Size over age, in the unit of the size per year. ValueError for an age not above 0; NaN where the size
    or the age is missing."""
    age = as_floats(age_years)
    if (age <= 0).any():
        raise ValueError(f"age {age.min():g} years: expected above 0")
    result: FloatArray = as_floats(size) / age
    return result


def with_mean_increments(figures: pd.DataFrame, age_years: npt.ArrayLike) -> pd.DataFrame:
    """A table of stand figures with the mean annual increment beside each size it has (see MEAN_OF).

    `age_years`: one age from planting, or one a row.
    """
    added = {
        name: mean_annual_increment(numbers(figures, column), age_years)
        for column, name in MEAN_OF.items()
        if column in figures.columns
    }
    return figures.assign(**added)


def stem_increments(earlier: pd.DataFrame, later: pd.DataFrame, column: str) -> pd.DataFrame:
    """Growth of each stem between two visits.

    `earlier`, `later`: tree, age_years, `column` (such as dbh_mm), optional alive and height_source. One row
    for each tree of `later`, in its order and with its other columns: {column}_first, {column}_second, years,
    change, {column}_per_year, is_error (shrank beyond the limit of MOST_LOSS), left_out (why a stem has no
    increment, or None). ValueError for missing columns, a tree twice in a visit, or visits in the wrong
    order.
    """
    for frame in (earlier, later):
        require(frame, ("tree", "age_years", column))
        if frame["tree"].duplicated().any():
            raise ValueError(
                f"tree {frame.loc[frame['tree'].duplicated(), 'tree'].iloc[0]} stands twice in a visit"
            )
    before = earlier.set_index("tree").reindex(later["tree"])
    first, second = numbers(before, column), numbers(later, column)
    years = numbers(later, "age_years") - numbers(before, "age_years")
    if (years <= 0).any():
        raise ValueError("the later visit is not later for every tree: expected a greater age_years")
    left_out = _left_out(before, later, column, first, second, years)
    used = np.array([reason is None for reason in left_out], dtype=np.bool_)
    change = np.where(used, second - first, np.nan)
    stems = later.copy()
    stems[f"{column}_first"], stems[f"{column}_second"] = first, second
    stems["years"], stems["change"] = np.where(used, years, np.nan), change
    stems[f"{column}_per_year"] = change / years
    stems["is_error"] = change < -MOST_LOSS.get(column, math.inf)
    stems["left_out"] = pd.Series(left_out, index=stems.index, dtype=object)
    return stems


def periodic_increment(stems: pd.DataFrame, column: str, by: Sequence[str] = ()) -> pd.DataFrame:
    """Periodic annual increment of groups of stems, from `stem_increments`.

    One row a group: the columns of `by`, n_stems (measured both times), n_left_out, n_errors (flagged, and in
    the figure), years (mean period), {column}_per_year = total change over total years.
    """
    require(stems, (*by, "change", "years", "is_error"))
    labels, positions = group_positions(stems, by)
    change, years = numbers(stems, "change"), numbers(stems, "years")
    errors = stems["is_error"].to_numpy(dtype=np.bool_)
    rows = []
    for at in positions:
        used = at[~np.isnan(change[at])]
        total = float(years[used].sum())
        rows.append(
            {
                "n_stems": len(used),
                "n_left_out": len(at) - len(used),
                "n_errors": int(errors[used].sum()),
                "years": total / len(used) if len(used) else math.nan,
                f"{column}_per_year": float(change[used].sum()) / total if len(used) else math.nan,
            }
        )
    columns = ["n_stems", "n_left_out", "n_errors", "years", f"{column}_per_year"]
    return pd.concat([labels, pd.DataFrame(rows, columns=columns)], axis=1)


def _left_out(
    before: pd.DataFrame,
    later: pd.DataFrame,
    column: str,
    first: FloatArray,
    second: FloatArray,
    years: FloatArray,
) -> list[str | None]:
    """Why each stem has no increment, None where it has one; the first reason that holds."""
    reasons: list[str | None] = [None] * len(later)
    tests = [
        (truths(later, "alive") == 0.0, "dead"),
        (np.isnan(second), "not measured at the later visit"),
        (np.isnan(first), "not measured at the earlier visit"),
        (np.isnan(years), "no age"),
    ]
    if column == "height_m":
        sources = [_sources(frame) for frame in (before, later)]
        tests.append((sources[0] != sources[1], "one height measured, the other from a curve"))
    for holds, reason in tests:
        for at in positions_where(holds):
            reasons[at] = reasons[at] or reason
    return reasons


def _sources(frame: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Whether each height came from a curve."""
    if "height_source" not in frame.columns:
        return np.zeros(len(frame), dtype=np.bool_)
    result: npt.NDArray[np.bool_] = frame["height_source"].to_numpy(dtype=object) == "curve"
    return result

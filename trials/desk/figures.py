"""Stand figures of an assessment per clone, plot or block: its frame through trials.calc.stand."""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from trials.calc.clone_shifts import CloneShifts
from trials.calc.findings import DBH, HEIGHT
from trials.calc.height_curves import CurveRefusedError, HeightCurve, fit_height_curve
from trials.calc.increments import with_mean_increments
from trials.calc.missing_heights import fill_heights, fit_clone_curves, fit_height_curves
from trials.calc.spacing import read_spacing
from trials.calc.stand import stand_figures
from trials.calc.tree_frames import TreeProblem
from trials.desk import measured
from trials.models import Assessment

GROUPS: Mapping[str, tuple[str, ...]] = {"clone": ("clone",), "block": ("block",), "plot": ("block", "plot")}


@dataclass(frozen=True)
class StandPage:
    """What the page shows: a row a group, one for the whole site, and how the numbers came about.

    `curve`: the site's height curve or None, then `no_curve` says why; `no_area`, `no_age`: why there are no
    figures per hectare or no increments, or "". `own_curves`: how many clones have a curve of their own; `shifts`:
    how the others lie about the site's curve, or None, then `no_shifts` says why.
    """

    table: pd.DataFrame
    site: dict[str, Any]
    frame: pd.DataFrame
    curve: HeightCurve | None
    no_curve: str
    no_area: str
    no_age: str
    age_years: float | None
    own_curves: int
    shifts: CloneShifts | None
    no_shifts: str
    problems: tuple[TreeProblem, ...]


def stand_page(assessment: Assessment, group: str) -> StandPage:
    """Figures per `group` (a key of GROUPS). A height nobody measured comes from the curve of the tree's clone, or
    from the site's shifted for the clone where that has too few heights: the same estimate in whichever figure the
    tree counts. Top height is read from the group's own curve, or from the site's."""
    by = GROUPS[group]
    frame, no_area = _with_area(measured.visit_frame(assessment), assessment.site.spacing_m)
    breast_height_m = assessment.site.trial.breast_height_m
    curve, no_curve = _site_curve(frame, breast_height_m)
    of_clones, shifts, no_shifts = fit_clone_curves(frame, breast_height_m=breast_height_m)
    filled = fill_heights(frame, of_clones, GROUPS["clone"])
    curves = (
        of_clones
        if group == "clone"
        else fit_height_curves(frame, by, breast_height_m=breast_height_m, borrow=curve)[0]
    )
    age, no_age = age_of(assessment)
    figures = stand_figures(filled, by, curves, breast_height_m=breast_height_m)
    whole: dict[Hashable, HeightCurve] = {(): curve} if curve else {}
    site = stand_figures(filled, (), whole, breast_height_m=breast_height_m)
    table, total = figures.table, site.table
    if age:
        table, total = with_mean_increments(table, age), with_mean_increments(total, age)
    return StandPage(
        table,
        total.iloc[0].to_dict() if len(total) else {},
        frame,
        curve,
        no_curve,
        no_area,
        no_age,
        age,
        sum(not c.is_borrowed for c in of_clones.values()),
        shifts,
        no_shifts,
        figures.problems,
    )


def _with_area(frame: pd.DataFrame, spacing_m: str) -> tuple[pd.DataFrame, str]:
    """The frame with plot_ha, and with empty dbh_mm and height_m where these traits were not measured."""
    for column in (DBH.column, HEIGHT.column):
        if column not in frame.columns:
            frame = frame.assign(**{column: np.nan})
    spacing = read_spacing(spacing_m)
    if spacing is None:
        why = (
            f"the spacing of the site is written as “{spacing_m}”, which is no distance between rows × within rows"
            if spacing_m
            else "the site has no spacing yet: describe the site"
        )
        return frame.assign(plot_ha=np.nan), why
    positions = frame.groupby(["block", "plot"])["tree"].transform("size")
    return frame.assign(plot_ha=[spacing.plot_ha(int(n)) for n in positions]), ""


def _site_curve(frame: pd.DataFrame, breast_height_m: float) -> tuple[HeightCurve | None, str]:
    try:
        return (
            fit_height_curve(
                frame[DBH.column],
                frame[HEIGHT.column],
                breast_height_m=breast_height_m,
                group="the whole site",
            ),
            "",
        )
    except CurveRefusedError as refusal:
        return None, str(refusal)


def age_of(assessment: Assessment) -> tuple[float | None, str]:
    """Age from planting in years, by the site's day of planting, or the trees' where all have the same."""
    planted = assessment.site.planted_on
    if planted is None:
        days = set(assessment.site.trees.values_list("planted_on", flat=True))
        planted = days.pop() if len(days) == 1 else None
    if planted is None:
        return None, "the day of planting is not known: describe the site"
    years = (assessment.measured_from - planted).days / measured.DAYS_A_YEAR
    return (years, "") if years > 0 else (None, "the assessment is dated before the planting")

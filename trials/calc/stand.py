"""Figures of a stand: what stands on a plot, a clone's or a site's ground, from one row a planted position.

Definitions: Husch, Beers, Kershaw, Forest Mensuration; van Laar and Akça, Forest Mensuration. g = pi/4 D^2;
basal area G = sum of g over the area; quadratic mean diameter = sqrt(mean of D^2); survival = live stems over
planted positions; slenderness = H / D.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from trials.calc.height_curves import HeightCurve
from trials.calc.missing_heights import measured_heights_m
from trials.calc.top_height import TopHeight, TopMethod, top_height
from trials.calc.tree_frames import (
    BoolArray,
    FloatArray,
    TreeProblem,
    as_floats,
    group_positions,
    label_of,
    numbers,
    positions_where,
    require,
    shown,
    truths,
)

PLOT_COLUMNS = ("visit", "site", "block", "plot")
"""What tells one plot at one visit from another; columns a frame lacks are passed over."""


FIGURES = [
    "n_planted",
    "n_live",
    "n_dead",
    "n_not_seen",
    "n_dbh",
    "n_heights",
    "n_heights_estimated",
    "plot_area_ha",
    "survival",
    "stems_per_ha",
    "basal_area_m2_per_ha",
    "mean_dbh_mm",
    "quadratic_mean_dbh_mm",
    "mean_height_m",
    "slenderness",
    "top_height_m",
    "top_method",
    "top_stems",
    "mean_top_dbh_mm",
    "volume_m3_per_ha",
    "mean_volume_m3",
    "notes",
]


@dataclass(frozen=True)
class StandFigures:
    """`table`: one row a group (columns of `by`, then those of `stand_figures`); `problems`: readings left
    out because no tree has them."""

    table: pd.DataFrame
    problems: tuple[TreeProblem, ...]


def basal_area_m2(dbh_mm: npt.ArrayLike) -> FloatArray:
    """Cross-section at breast height in m2 of each stem, from its diameter in mm; NaN stays NaN."""
    result: FloatArray = math.pi / 4.0 * (as_floats(dbh_mm) / 1000.0) ** 2
    return result


def quadratic_mean_mm(dbh_mm: npt.ArrayLike) -> float:
    """Quadratic mean diameter in mm of the stems with a diameter: that of the stem of mean basal area, never
    below the arithmetic mean. NaN without stems."""
    dbh = as_floats(dbh_mm)
    dbh = dbh[~np.isnan(dbh)]
    return float(np.sqrt(np.mean(dbh**2))) if len(dbh) else math.nan


def survival(n_live: int, n_planted: int) -> float:
    """Share of planted positions that hold a live stem. NaN where nothing was planted; ValueError for more
    live than planted."""
    if not 0 <= n_live <= n_planted:
        raise ValueError(f"{n_live} live of {n_planted} planted: expected from none to all of them")
    return n_live / n_planted if n_planted else math.nan


def slenderness(height_m: npt.ArrayLike, dbh_mm: npt.ArrayLike) -> FloatArray:
    """Height over diameter at breast height (m/m) of each stem; NaN where one is missing or not above 0."""
    height, dbh = as_floats(height_m), as_floats(dbh_mm)
    with np.errstate(over="ignore"):
        result: FloatArray = 1000.0 * np.where(height > 0, height, np.nan) / np.where(dbh > 0, dbh, np.nan)
    return result


def stand_figures(
    trees: pd.DataFrame,
    by: Sequence[str] = ("plot",),
    curves: Mapping[Hashable, HeightCurve] | None = None,
    top_method: TopMethod | None = None,
    breast_height_m: float = 1.3,
) -> StandFigures:
    """Stand figures of each group of trees.

    `trees`: one row a planted position, all positions of a plot: tree, alive (yes, no, None: not seen),
    dbh_mm, height_m, plot_ha (area of the tree's plot), the columns of `by`, and for several plots what tells
    them apart (site, block, plot; visit for several visits); optional height_source (heights "curve" are
    counted as estimated), volume_m3. `curves` and `top_method`: see top_height; keys as label_of gives them.

    A group's area is the sum over its positions of plot area / positions of the plot, so that clones that
    share a plot share its ground. Figures per hectare stand on the area of the positions seen. A live stem
    without a reading counts at the mean of the others (below breast height: with no basal area); the notes
    say so. Figures nothing was measured for are NaN.

    Columns: FIGURES. Slenderness is total height over total diameter of the stems measured for both; top
    height stands on the fattest stems of the group's whole area.

    ValueError for a missing column, a tree that stands twice in a visit, or a plot with two areas.
    """
    require(trees, ("tree", "alive", "dbh_mm", *by))
    _refuse_doubles(trees)
    problems = _impossible(trees)
    stems = _Stems(trees, breast_height_m)
    labels, positions = group_positions(trees, by)
    rows = []
    for row, at in enumerate(positions):
        curve = (curves or {}).get(label_of(labels, row))
        rows.append(_figures(stems, at, curve, top_method))
    table = pd.concat([labels, pd.DataFrame(rows, columns=FIGURES)], axis=1)
    return StandFigures(table, tuple(problems))


def position_area_ha(trees: pd.DataFrame) -> FloatArray:
    """Ground of each planted position in ha: the area of its plot over the positions of the plot.

    Columns plot_ha and those of PLOT_COLUMNS that there are. NaN without an area. ValueError for a plot with
    two areas.
    """
    areas = numbers(trees, "plot_ha")
    areas = np.where((areas > 0) & np.isfinite(areas), areas, np.nan)
    identity = [column for column in PLOT_COLUMNS if column in trees.columns]
    ground = np.full(len(trees), np.nan)
    for at in group_positions(trees, identity)[1]:
        known = np.unique(areas[at][~np.isnan(areas[at])])
        if len(known) > 1:
            plot = " / ".join(str(trees[column].iloc[at[0]]) for column in identity) or "the plot"
            raise ValueError(f"plot_ha of {plot} is {known[0]:g} and {known[1]:g}: expected one area a plot")
        if len(known):
            ground[at] = known[0] / len(at)
    return ground


class _Stems:
    """Columns of the trees as arrays, impossible readings and those of dead stems taken out."""

    def __init__(self, trees: pd.DataFrame, breast_height_m: float) -> None:
        alive = truths(trees, "alive")
        self.live: BoolArray = alive == 1.0
        self.seen: BoolArray = ~np.isnan(alive)
        self.dbh_mm = self._of_live(numbers(trees, "dbh_mm"))
        self.height_m = self._of_live(numbers(trees, "height_m"))
        self.measured_m = self._of_live(measured_heights_m(trees))
        self.volume_m3 = self._of_live(numbers(trees, "volume_m3"))
        self.area_m2 = basal_area_m2(self.dbh_mm)
        # A stem that ends below breast height has no section there: a true 0, not a missing one.
        short = np.isnan(self.dbh_mm) & (self.measured_m < breast_height_m)
        self.area_m2[short] = 0.0
        self.ground_ha = position_area_ha(trees)

    def _of_live(self, values: FloatArray) -> FloatArray:
        result: FloatArray = np.where(self.live & (values > 0) & np.isfinite(values), values, np.nan)
        return result


def _figures(
    stems: _Stems, at: npt.NDArray[np.intp], curve: HeightCurve | None, method: TopMethod | None
) -> dict[str, object]:
    live, seen = at[stems.live[at]], at[stems.seen[at]]
    dbh, height, measured = stems.dbh_mm[live], stems.height_m[live], stems.measured_m[live]
    area_ha, seen_ha = float(stems.ground_ha[at].sum()), float(stems.ground_ha[seen].sum())
    per_ha = len(live) / seen_ha if seen_ha > 0 else math.nan
    top = top_height(dbh, measured, area_ha, curve, method)
    both = ~np.isnan(dbh) & ~np.isnan(measured)
    n_heights, n_estimated = _known(measured), _known(height) - _known(measured)
    return {
        "n_planted": len(at),
        "n_live": len(live),
        "n_dead": len(seen) - len(live),
        "n_not_seen": len(at) - len(seen),
        "n_dbh": _known(dbh),
        "n_heights": n_heights,
        "n_heights_estimated": n_estimated,
        "plot_area_ha": area_ha,
        "survival": survival(len(live), len(seen)),
        "stems_per_ha": per_ha,
        "basal_area_m2_per_ha": per_ha * _mean(stems.area_m2[live]) if len(live) else per_ha,
        "mean_dbh_mm": _mean(dbh),
        "quadratic_mean_dbh_mm": quadratic_mean_mm(dbh),
        "mean_height_m": _mean(height),
        "slenderness": 1000.0 * measured[both].sum() / dbh[both].sum() if both.any() else math.nan,
        "top_height_m": top.height_m,
        "top_method": top.method,
        "top_stems": top.stems,
        "mean_top_dbh_mm": top.mean_top_dbh_mm,
        "volume_m3_per_ha": per_ha * _mean(stems.volume_m3[live]) if len(live) else per_ha,
        "mean_volume_m3": _mean(stems.volume_m3[live]),
        "notes": "; ".join(_notes(stems, live, len(at) - len(seen), n_estimated, area_ha, top)),
    }


def _notes(
    stems: _Stems, live: npt.NDArray[np.intp], unseen: int, estimated: int, area_ha: float, top: TopHeight
) -> list[str]:
    notes = []
    if math.isnan(area_ha):
        notes.append("no plot area: no figures per hectare")
    if unseen:
        notes.append(f"positions not seen: {unseen}, left out of survival and of figures per hectare")
    without = len(live) - _known(stems.area_m2[live])
    if 0 < without < len(live):
        notes.append(f"live stems without a diameter: {without}, counted at the mean basal area")
    no_volume = len(live) - _known(stems.volume_m3[live])
    if 0 < no_volume < len(live):
        notes.append(f"live stems without a volume: {no_volume}, counted at the mean volume")
    if estimated:
        notes.append(f"heights estimated from a curve: {estimated}")
    return [*notes, *top.notes]


def _known(values: FloatArray) -> int:
    return int((~np.isnan(values)).sum())


def _mean(values: FloatArray) -> float:
    known = values[~np.isnan(values)]
    return float(known.mean()) if len(known) else math.nan


def _refuse_doubles(trees: pd.DataFrame) -> None:
    identity = ["tree", *(["visit"] if "visit" in trees.columns else [])]
    double = trees.duplicated(identity)
    if double.any():
        raise ValueError(
            f"tree {trees.loc[double, 'tree'].iloc[0]} stands twice: expected one row a tree and visit"
        )


def _impossible(trees: pd.DataFrame) -> list[TreeProblem]:
    problems = []
    for column in ("dbh_mm", "height_m", "plot_ha", "volume_m3"):
        values = numbers(trees, column)
        for at in positions_where((values <= 0) | np.isinf(values)):
            problems.append(
                TreeProblem(trees.index[at], column, shown(values[at]), "a number above 0, or blank")
            )
    return problems

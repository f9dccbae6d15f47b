"""Growth curves per clone: mean size at each visit with its interval, and what the same stems added between.

A mean is that of the live trees measured at the visit, so trees may differ from visit to visit; the periodic
increment is of the same stems only. Its stems, and those left out, are counted.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.calc.clustered import clustered_mean, clustered_rate
from trials.calc.growth_forms import FormRefusedError, GrowthForm, fit_growth
from trials.calc.increments import mean_annual_increment, stem_increments
from trials.calc.tree_frames import numbers, require, truths

COLUMNS = ("clone", "age_class", "age_years", "n_trees", "n_plots", "mean", "low", "high", "mai")
PERIOD_COLUMNS = (
    "clone",
    "age_class",
    "from_years",
    "years",
    "n_stems",
    "n_left_out",
    "n_errors",
    "pai",
    "pai_low",
    "pai_high",
)


@dataclass(frozen=True)
class Visit:
    """One visit to one site. `trees`: tree, clone, plot (unlike in its site), alive, and the trait's column."""

    site: str
    name: str
    age_years: float
    trees: pd.DataFrame


@dataclass(frozen=True)
class CloneGrowth:
    """One row a clone and age class in `table`: COLUMNS, and those of PERIOD_COLUMNS for the stems measured at
    the visit before too (NaN at a site's first visit). Sizes in the unit of the trait, increments in it a year.
    `forms`: the fitted curve of a clone; `no_form`: why it has none."""

    column: str
    table: pd.DataFrame
    forms: Mapping[str, GrowthForm]
    no_form: Mapping[str, str]
    sites: tuple[str, ...]


def clone_growth(visits: Sequence[Visit], column: str, classes: bool = False) -> CloneGrowth:
    """Growth of each clone over the visits of one site, or of several taken together by age class.

    `classes`: visits count at their age rounded to whole years, so that sites planted in different months meet;
    otherwise at their own age. ValueError for a missing column or an age not above 0.
    """
    for visit in visits:
        require(visit.trees, ("tree", "clone", "plot", "alive", column))
        if not visit.age_years > 0:
            raise ValueError(f"{visit.name} at {visit.age_years:g} years: expected an age above 0")
    measured = pd.concat([_measured(v, column, classes) for v in visits]) if visits else _nothing(column)
    points = _points(measured, column)
    periods = _periods(visits, column, classes)
    table = points.merge(periods, on=["clone", "age_class"], how="left", validate="one_to_one")
    forms, no_form = _forms(table)
    sites = tuple(sorted({v.site for v in visits}))
    return CloneGrowth(column, table, forms, no_form, sites)


def _class(age_years: float, classes: bool) -> float:
    return float(max(round(age_years), 1)) if classes else float(age_years)


def _measured(visit: Visit, column: str, classes: bool) -> pd.DataFrame:
    """The live trees with a value, with site-wide plots and ages."""
    trees = visit.trees
    used = np.isfinite(numbers(trees, column)) & (truths(trees, "alive") != 0.0)
    if column == "height_m" and "height_source" in trees.columns:
        used &= trees["height_source"].to_numpy(dtype=object) != "curve"
    found: pd.DataFrame = trees.loc[used, ["tree", "clone", "plot", column]]
    return found.assign(
        plot=[f"{visit.site}\n{plot}" for plot in found["plot"]],
        age_years=visit.age_years,
        age_class=_class(visit.age_years, classes),
    )


def _nothing(column: str) -> pd.DataFrame:
    return pd.DataFrame(columns=["tree", "clone", "plot", column, "age_years", "age_class"])


def _points(measured: pd.DataFrame, column: str) -> pd.DataFrame:
    rows = []
    for (clone, age_class), group in measured.groupby(["clone", "age_class"], sort=True):
        mean = clustered_mean(group[column], group["plot"])
        age = float(group["age_years"].mean())
        mai = float(mean_annual_increment([mean.estimate], age)[0])
        rows.append((clone, age_class, age, mean.n, mean.clusters, mean.estimate, mean.low, mean.high, mai))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _periods(visits: Sequence[Visit], column: str, classes: bool) -> pd.DataFrame:
    """Increments of the same stems between one visit of a site and its next."""
    found = []
    for site in sorted({v.site for v in visits}):
        own = sorted((v for v in visits if v.site == site), key=lambda v: v.age_years)
        for before, after in itertools.pairwise(own):
            if after.age_years > before.age_years:
                found.append(_stems(before, after, column, classes))
    if not found:
        return pd.DataFrame(columns=list(PERIOD_COLUMNS))
    rows = []
    for (clone, age_class), stems in pd.concat(found).groupby(["clone", "age_class"], sort=True):
        rate = clustered_rate(stems["change"], stems["years"], stems["plot"])
        used = stems["change"].notna()
        rows.append(
            (
                clone,
                age_class,
                float(stems["from_years"].mean()),
                float(stems.loc[used, "years"].mean()) if used.any() else np.nan,
                rate.n,
                int((~used).sum()),
                int(stems.loc[used, "is_error"].sum()),
                rate.estimate,
                rate.low,
                rate.high,
            )
        )
    return pd.DataFrame(rows, columns=list(PERIOD_COLUMNS))


def _stems(before: Visit, after: Visit, column: str, classes: bool) -> pd.DataFrame:
    """Live trees of the later visit with their growth, and those without one."""
    earlier, later = (v.trees.assign(age_years=v.age_years) for v in (before, after))
    stems = stem_increments(earlier, later, column)
    stems = stems[(stems["left_out"] != "dead") & np.isfinite(numbers(stems, column))]
    return stems.assign(
        plot=[f"{after.site}\n{plot}" for plot in stems["plot"]],
        age_class=_class(after.age_years, classes),
        from_years=before.age_years,
    )


def _forms(table: pd.DataFrame) -> tuple[dict[str, GrowthForm], dict[str, str]]:
    forms: dict[str, GrowthForm] = {}
    no_form: dict[str, str] = {}
    for clone, points in table.groupby("clone", sort=True):
        try:
            forms[str(clone)] = fit_growth(points["age_years"], points["mean"], points["n_trees"])
        except FormRefusedError as refusal:
            no_form[str(clone)] = str(refusal)
    return forms, no_form

"""How well a measurement repeats: a sample of trees measured again, crew by crew.

Bland and Altman 1986 (Lancet 327:307-310): differences of pairs, their mean (bias) and standard deviation;
limits of agreement mean -+ 1.96 sd hold about 95 % of differences. The standard deviation of a single
measurement is sd / sqrt(2) with the bias taken out, sqrt(sum d^2 / 2n) with it left in.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from trials.calc.tree_frames import as_floats, group_positions, joined_label, label_of, numbers, require

FEW_PAIRS = 20  # our own: below, the standard deviation itself is uncertain by a sixth and more
ALL_CREWS = "all crews"


@dataclass(frozen=True)
class Repeatability:
    """Repeatability of one crew in the unit of the trait; differences are second less first measurement.

    `sd_single`: standard deviation of a single measurement, bias taken out; `sd_single_with_bias` with it
    left in. `low`, `high`: limits between which 95 % of differences lie. `mean_low`, `mean_high`: 95 %
    interval of the mean difference (t). NaN below 2 pairs (sd_single_with_bias and the mean: below 1).
    """

    crew: str
    n_pairs: int
    mean_difference: float
    mean_low: float
    mean_high: float
    sd_difference: float
    sd_single: float
    sd_single_with_bias: float
    low: float
    high: float
    note: str

    @property
    def is_biased(self) -> bool:
        """Whether the interval of the mean difference leaves out 0."""
        return self.mean_low > 0 or self.mean_high < 0


def repeatability(
    first: npt.ArrayLike, second: npt.ArrayLike, crew: str = ALL_CREWS, multiple: float = 1.96
) -> Repeatability:
    """Repeatability from pairs: arrays of the same length and unit; pairs with a value missing are passed
    over. `multiple` of the standard deviation for the limits (1.96; the source rounds to 2)."""
    differences = as_floats(second) - as_floats(first)
    differences = differences[np.isfinite(differences)]
    n = len(differences)
    mean = float(differences.mean()) if n else math.nan
    sd = float(differences.std(ddof=1)) if n > 1 else math.nan
    half = float(stats.t.ppf(0.975, n - 1)) * sd / math.sqrt(n) if n > 1 else math.nan
    with_bias = math.sqrt(float(differences @ differences) / (2 * n)) if n else math.nan
    note = f"{n} pairs: too few for more than a first idea" if n < FEW_PAIRS else ""
    return Repeatability(
        crew=crew,
        n_pairs=n,
        mean_difference=mean,
        mean_low=mean - half,
        mean_high=mean + half,
        sd_difference=sd,
        sd_single=sd / math.sqrt(2.0),
        sd_single_with_bias=with_bias,
        low=mean - multiple * sd,
        high=mean + multiple * sd,
        note=note,
    )


def repeatability_by_crew(pairs: pd.DataFrame, first: str, second: str, crew: str = "crew") -> pd.DataFrame:
    """One row a crew and a last one for all of them, with the fields of Repeatability and is_biased.

    `pairs`: one row a tree measured twice, with the columns `crew` (who measured first), `first` and
    `second` (such as dbh_mm and again_dbh_mm). The crew is judged against the second measurement.
    """
    require(pairs, (first, second, crew))
    one, two = numbers(pairs, first), numbers(pairs, second)
    labels, positions = group_positions(pairs, (crew,))
    results = [
        repeatability(one[at], two[at], joined_label(label_of(labels, row)))
        for row, at in enumerate(positions)
    ]
    results.append(repeatability(one, two))
    return pd.DataFrame([{**asdict(result), "is_biased": result.is_biased} for result in results])

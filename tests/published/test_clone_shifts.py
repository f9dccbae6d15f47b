"""Random shifts of groups against a published mixed model, and clone growth against the pines of an open data set.

Sources. Rails: travel times of Pinheiro and Bates 2000, Mixed-Effects Models in S and S-PLUS, section 1.1 (data
found in a public transcription; standard deviations, intercept with its standard error and the shifts of the six
rails: values from memory, check against the book). Loblolly pines: R's open data set `Loblolly` (Kung 1986;
found); asymptotic regression of seed 329 as R's help of `SSasymp` prints it (values from memory, check against
R's output).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.published.reference import checks
from trials.calc.clone_growth import Visit, clone_growth
from trials.calc.clone_shifts import fit_random_shift
from trials.calc.growth_forms import fit_growth

FOOT_M = 0.3048
AGES = (3, 5, 10, 15, 20, 25)
LOBLOLLY_FT = {
    301: (4.51, 10.89, 28.72, 41.74, 52.70, 60.92),
    303: (4.55, 10.92, 29.07, 42.83, 53.88, 63.39),
    329: (3.93, 9.34, 26.08, 37.79, 48.31, 56.43),
}
RAILS = {
    1: (55, 53, 54),
    2: (26, 37, 32),
    3: (78, 91, 85),
    4: (92, 100, 96),
    5: (49, 51, 50),
    6: (80, 85, 83),
}


def test_the_rails_of_pinheiro_and_bates() -> None:
    travel = np.array([t for times in RAILS.values() for t in times], dtype=float)
    fit = fit_random_shift(np.ones((18, 1)), travel, np.repeat(np.arange(6), 3))
    assert fit.coefficients[0] == pytest.approx(66.5)
    assert np.sqrt(fit.covariance[0, 0]) == pytest.approx(10.17104, rel=1e-5)
    assert fit.between == pytest.approx(24.80547, rel=1e-5)
    assert fit.within == pytest.approx(4.020779, rel=1e-5)
    expected = [-12.39148, -34.53091, 18.00894, 29.24388, -16.35675, 16.02631]
    assert fit.shifts == pytest.approx(expected, abs=2e-5)


def test_the_asymptote_of_seed_329() -> None:
    form = fit_growth(AGES, LOBLOLLY_FT[329])
    assert form.name == "asymptotic"
    assert form.parameters == pytest.approx((94.1282, -8.2508, -3.2176), abs=6e-5)
    assert form.errors == pytest.approx((8.4030, 1.2261, 0.1386), abs=6e-5)
    assert form.sd == pytest.approx(0.7493, abs=6e-5)


def pines() -> list[Visit]:
    """Each seed source a clone, its one tree a plot of its own, heights in m."""
    return [
        Visit(
            "L",
            f"age {age}",
            float(age),
            pd.DataFrame(
                {
                    "tree": [f"T{seed}" for seed in LOBLOLLY_FT],
                    "clone": [str(seed) for seed in LOBLOLLY_FT],
                    "plot": [str(seed) for seed in LOBLOLLY_FT],
                    "alive": True,
                    "height_m": [feet[at] * FOOT_M for feet in LOBLOLLY_FT.values()],
                }
            ),
        )
        for at, age in enumerate(AGES)
    ]


def test_increments_of_seed_301() -> None:
    """01_stand.csv S13 and S14: MAI of height at 25, PAI from 20 to 25."""
    growth = clone_growth(pines(), "height_m")
    last = growth.table.set_index(["clone", "age_class"]).loc[("301", 25.0)]
    known = checks("01_stand.csv")
    assert last["mai"] == pytest.approx(known["S13"].expected, rel=known["S13"].tolerance)
    assert last["pai"] == pytest.approx(known["S14"].expected, rel=known["S14"].tolerance)
    assert (last["mai"], last["pai"]) == pytest.approx((0.742737, 0.501091), abs=5e-7)
    assert (last["n_trees"], last["n_stems"], last["years"]) == (1, 1, 5.0)
    assert growth.forms["329"].parameters[0] == pytest.approx(94.1282 * FOOT_M, abs=2e-5)

"""Volume of standing trees against R's fits to 31 black cherry trees.

Source: R's open data set `trees` (Ryan, Joiner, Ryan 1976) in metric units, fixtures/reference/
01_trees_metric.csv; fits by R 4.2.2 lm and nls, 01_allometry.csv (computed there). The exponents, being free
of units, are those printed for this data set in course notes of a university's statistics department (found):
1.98 and 1.12. Bias factor: Baskerville 1972.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from tests.published.reference import rows
from trials.calc.tree_volume import (
    Allometric,
    ConstantForm,
    FormFactor,
    fit_allometric,
    fit_constant_form,
    fit_form_factor,
)

INCH_CM, FOOT_M, CUBIC_FOOT_M3 = 2.54, 0.3048, 0.028316846592


def cherries() -> pd.DataFrame:
    columns = ["dbh_cm", "height_m", "volume_m3"]
    frame = pd.DataFrame(rows("01_trees_metric.csv"))[columns].astype(float)
    return frame.assign(dbh_mm=10 * frame["dbh_cm"])


def sample() -> tuple[pd.Series, pd.Series, pd.Series]:
    trees = cherries()
    return trees["dbh_mm"], trees["height_m"], trees["volume_m3"]


def quantities() -> dict[tuple[str, str], float]:
    """What the fits give, by the names of the table."""
    dbh, height, volume = sample()
    log, direct = fit_allometric(dbh, height, volume, "log-log"), fit_allometric(dbh, height, volume)
    constant, factor = fit_constant_form(dbh, height, volume), fit_form_factor(dbh, height, volume)
    log_log, nonlinear, form = "log-log OLS", "nonlinear LS", "constant form V=c D2H"
    return {
        (log_log, "intercept ln(b0)"): math.log(log.b0),
        (log_log, "b1"): log.b1,
        (log_log, "b2"): log.b2,
        (log_log, "b0=exp(intercept)"): log.b0,
        (log_log, "RSS"): log.rss,
        (log_log, "residual sd (28 df)"): log.sd,
        (log_log, "R2"): log.r_squared,
        (log_log, "bias factor exp(s2/2)"): log.bias_factor,
        (log_log, "se b1"): log.se_b1,
        (log_log, "se b2"): log.se_b2,
        (log_log, "V at D=30 cm H=24 m uncorrected"): float(log.uncorrected_m3(300.0, 24.0)),
        (log_log, "V at D=30 cm H=24 m corrected"): float(log.volume_m3(300.0, 24.0)),
        (log_log, "sum of 31 predictions uncorrected"): float(log.uncorrected_m3(dbh, height).sum()),
        (log_log, "sum of 31 predictions corrected"): float(log.volume_m3(dbh, height).sum()),
        (nonlinear, "b0"): direct.b0,
        (nonlinear, "b1"): direct.b1,
        (nonlinear, "b2"): direct.b2,
        (nonlinear, "RSS"): direct.rss,
        (nonlinear, "residual sd (28 df)"): direct.sd,
        (nonlinear, "V at D=30 cm H=24 m"): float(direct.volume_m3(300.0, 24.0)),
        (nonlinear, "sum of 31 predictions"): float(direct.volume_m3(dbh, height).sum()),
        (form, "c"): constant.c,
        (form, "RSS"): constant.rss_m6,
        ("form factor", "mean of 31"): factor.mean,
        ("form factor", "sd"): factor.sd,
        ("form factor", "ratio of sums"): factor.factor,
        ("data", "sum of observed volumes"): float(volume.sum()),
    }


def test_every_row_of_the_table() -> None:
    found, table = quantities(), rows("01_allometry.csv")
    assert len(table) == len(found) == 27
    for row in table:
        value = found[row["model"], row["quantity"]]
        assert value == pytest.approx(float(row["expected"]), rel=float(row["tolerance_rel"])), row[
            "quantity"
        ]


def test_the_metric_table_is_the_data_set() -> None:
    """First, middle and last tree of R's `trees` (diameter in inches, called "Girth" there; feet; cubic
    feet)."""
    trees = cherries().set_index(pd.RangeIndex(1, 32))
    for tree, girth, height, volume in ((1, 8.3, 70, 10.3), (16, 12.9, 74, 22.2), (31, 20.6, 87, 77.0)):
        row = trees.loc[tree]
        assert row["dbh_cm"] == pytest.approx(girth * INCH_CM, abs=1e-9)
        assert row["height_m"] == pytest.approx(height * FOOT_M, abs=1e-9)
        assert row["volume_m3"] == pytest.approx(volume * CUBIC_FOOT_M3, abs=1e-6)


def test_exponents_as_printed_elsewhere_whatever_the_units() -> None:
    """Unlike b0, the exponents do not know inches from centimetres."""
    dbh, height, volume = sample()
    metric = fit_allometric(dbh, height, volume, "log-log")
    imperial = fit_allometric(dbh / INCH_CM, height / FOOT_M, volume / CUBIC_FOOT_M3, "log-log")
    for fit in (metric, imperial):
        assert (round(fit.b1, 2), round(fit.b2, 2)) == (1.98, 1.12)
    # The intercept in inches, feet and cubic feet is printed as -6.63; our diameters count tenths.
    assert math.log(imperial.b0) == pytest.approx(-6.63, abs=0.005)


def test_the_median_tree_is_less_than_the_mean_tree() -> None:
    dbh, height, volume = sample()
    fit = fit_allometric(dbh, height, volume, "log-log")
    assert isinstance(fit, Allometric)
    assert fit.uncorrected_m3(dbh, height).sum() < fit.volume_m3(dbh, height).sum() < volume.sum()


def test_constant_form_is_a_form_factor() -> None:
    """c = f pi/40000: 3.03567e-5 is a form factor of 0.3865."""
    dbh, height, volume = sample()
    constant = fit_constant_form(dbh, height, volume)
    assert isinstance(constant, ConstantForm)
    same = FormFactor(constant.form_factor)
    assert same.volume_m3(dbh, height) == pytest.approx(constant.volume_m3(dbh, height), rel=1e-12)
    assert constant.form_factor == pytest.approx(3.0356655e-05 / 7.853981634e-5, rel=1e-6)
    assert np.isclose(constant.form_factor, 0.3865, atol=5e-5)

"""The drying curve against closed forms and scipy's own least squares.

First order, M(t) = E + (M0 - E) exp(-kt): values computed independently (numpy polyfit, scipy curve_fit) on the check
series, fixtures/reference/04_moisture.csv. With the equilibrium in steps: scipy's solver of differential equations.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest
from scipy import integrate, optimize

from sawing.calc import drying_curve as dc
from sawing.calc.drying_range import replicate, target_dates
from sawing.calc.equilibrium_moisture import YardClimate, fixed_line, seasonal_line
from tests.published.reference import checks

CHECKS = checks("04_moisture.csv")
DAYS = np.array([0.0, 7, 14, 28, 42, 63, 91])
SERIES = np.array([92, 70.5, 55.0, 36.9, 27.6, 20.9, 17.6])
CLIMATE = YardClimate(
    (0.5, 1, 4, 7, 11, 14, 16, 16, 13, 9, 4, 1), (88, 84, 79, 75, 73, 75, 76, 78, 81, 85, 88, 89)
)
START = dt.date(2025, 5, 14)


def close(check_id: str) -> object:
    return pytest.approx(CHECKS[check_id].expected, rel=CHECKS[check_id].tolerance)


def test_closed_forms() -> None:
    k = dc.rate_from(90, 40, 30, 16)
    assert k == close("D1")
    assert math.log(2) / k == close("D2")
    assert dc.days_to(90, 20, k, 16) == close("D3")
    fading, brought = dc.parts(k, fixed_line(16), 60.0)
    assert float(90 * fading + brought) == close("D4")
    assert float(dc.crossing_days(90, k, fixed_line(16), 20, 1000)) == close("D3")


def test_line_through_logarithms() -> None:
    k, start = dc.log_line_rate(DAYS, SERIES, 16)
    assert k == close("D5")
    assert start == close("D5b")


def test_least_squares_on_moisture() -> None:
    curve = dc.fit_curve(DAYS, SERIES, fixed_line(16))
    assert curve.rate_per_d == close("D6")
    assert curve.start_pct == close("D7")


def test_errors_are_those_of_scipy() -> None:
    def model(t: np.ndarray, k: float, start: float) -> np.ndarray:
        return np.asarray(16 + (start - 16) * np.exp(-k * t))

    (k, start), covariance = optimize.curve_fit(model, DAYS, SERIES, p0=(0.04, 90))
    curve = dc.fit_curve(DAYS, SERIES, fixed_line(16))
    assert (curve.rate_per_d, curve.start_pct) == pytest.approx((k, start), rel=1e-6)
    errors = np.sqrt(np.diag(covariance))
    assert (curve.se_rate_per_d, curve.se_start_pct) == pytest.approx(tuple(errors), rel=1e-3)


def test_seasons_against_a_solver_of_differential_equations() -> None:
    line, k, start = seasonal_line(CLIMATE, START), 0.021, 78.0
    at = [0.0, 30, 100, 250, 500]
    edges, moisture, found = [*line.edges_d, 1e9], start, {0.0: start}
    for begin, end, e in zip(edges[:-1], edges[1:], line.values_pct, strict=True):
        inside = [t for t in at if begin < t <= end]
        if begin >= 500:
            break
        solved = integrate.solve_ivp(
            lambda _, m, e=e: -k * (m - e),
            (begin, min(end, 600)),
            [moisture],
            rtol=1e-10,
            atol=1e-10,
            t_eval=sorted({*inside, min(end, 600)}),
        )
        found |= dict(zip(solved.t, solved.y[0], strict=True))
        moisture = float(solved.y[0][-1])
    fading, brought = dc.parts(k, line, np.array(at))
    np.testing.assert_allclose(start * fading + brought, [found[t] for t in at], rtol=1e-7)


def test_seasonal_fit_is_the_one_scipy_finds() -> None:
    line = seasonal_line(CLIMATE, START)
    days = np.array([0.0, 14, 30, 50, 80, 120, 170])
    rng = np.random.default_rng(4)

    def model(t: np.ndarray, k: float, start: float) -> np.ndarray:
        fading, brought = dc.parts(k, line, t)
        return np.asarray(start * fading + brought)

    values = model(days, 0.019, 82.0) + rng.normal(0, 1, len(days))
    (k, start), _ = optimize.curve_fit(model, days, values, p0=(0.03, 70))
    curve = dc.fit_curve(days, values, line)
    assert (curve.rate_per_d, curve.start_pct) == pytest.approx((k, start), rel=1e-5)


def test_range_of_dates_covers_the_truth_as_often_as_it_says() -> None:
    """Simulation: 24 boards that differ in start and pace; the interval is meant for 95 of 100 stacks."""
    line = seasonal_line(CLIMATE, START)
    rng = np.random.default_rng(12)
    days = np.array([0.0, 14, 28, 49, 77, 105, 140])
    boards = 24

    def lot(n: int) -> np.ndarray:
        k = 0.022 * np.exp(rng.normal(0, 0.15, n))
        start = 80 * np.exp(rng.normal(0, 0.1, n))
        fading, brought = dc.parts(k, line, days)
        return np.asarray(start[:, None] * fading + brought)

    truth = dc.fit_curve(days, lot(50_000).mean(axis=0), line)
    day = float(dc.crossing_days(truth.start_pct, truth.rate_per_d, line, 20, 1000))
    labels, t = np.repeat(np.arange(boards), len(days)), np.tile(days, boards)
    hits = 0
    for _ in range(100):
        read = (lot(boards) + rng.normal(0, 1, (boards, len(days)))).ravel()
        curve = dc.fit_curve(t, read, line, boards)
        found = target_dates(curve, replicate(curve, t, read, labels), 20, START)
        assert found.earliest is not None
        assert found.latest is not None
        hits += (found.earliest - START).days <= day <= (found.latest - START).days
    assert 86 <= hits <= 100

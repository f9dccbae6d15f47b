"""Height curves with a shift per clone: drawn towards the curve, marked, and used where a clone has few heights."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from trials.calc.clone_shifts import fit_clone_shifts, fit_random_shift
from trials.calc.height_curves import CurveRefusedError, fit_height_curve
from trials.calc.missing_heights import fill_heights, fit_clone_curves

A, B, POWER = 1.5, 0.25, 2.5


def true_height(dbh_mm: np.ndarray) -> np.ndarray:
    return 1.3 + (B + A / (dbh_mm / 10)) ** -POWER


def site(shifts: list[float], each: int, sd: float, seed: int = 3) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    clone = np.repeat(np.arange(len(shifts)), each)
    dbh = rng.uniform(90, 320, len(clone))
    height = true_height(dbh) + np.array(shifts)[clone] + rng.normal(0, sd, len(clone))
    return pd.DataFrame(
        {
            "tree": [f"T{i}" for i in range(len(clone))],
            "clone": [f"K{c}" for c in clone],
            "dbh_mm": dbh,
            "height_m": height,
        }
    )


def test_known_shifts_are_found() -> None:
    shifts = list(np.linspace(-2, 2, 9))
    trees = site(shifts, 40, 0.4)
    found = fit_clone_shifts(trees["dbh_mm"], trees["height_m"], trees["clone"])
    assert [found.shifts_m[f"K{i}"] for i in range(9)] == pytest.approx(shifts, abs=0.25)
    assert found.within_m == pytest.approx(0.4, rel=0.15)
    assert (found.curve.a, found.curve.b) == pytest.approx((A, B), rel=0.12)


def test_a_slow_and_obvious_likelihood_has_its_top_at_the_same_place() -> None:
    """The whole covariance matrix written out, searched on a grid: nothing of the module's algebra in it."""
    rng = np.random.default_rng(5)
    at = np.array([0, 0, 0, 1, 2, 2, 3, 3, 3, 3])
    x = np.column_stack([np.ones(10), rng.normal(size=10)])
    y = x @ [2.0, 0.5] + np.array([1.5, -1, 0.3, -0.8])[at] + rng.normal(0, 0.4, 10)
    together = (at[:, None] == at[None, :]).astype(float)

    def minus_twice_log_likelihood(between: float, within: float) -> float:
        v = within**2 * np.eye(10) + between**2 * together
        w = np.linalg.inv(v)
        beta = np.linalg.solve(x.T @ w @ x, x.T @ w @ y)
        r = y - x @ beta
        return float(np.linalg.slogdet(v)[1] + np.linalg.slogdet(x.T @ w @ x)[1] + r @ w @ r)

    fit = fit_random_shift(x, y, at)
    best = minus_twice_log_likelihood(fit.between, fit.within)
    for between in fit.between * np.array([0.9, 0.99, 1.0, 1.01, 1.1]):
        for within in fit.within * np.array([0.9, 0.99, 1.0, 1.01, 1.1]):
            assert minus_twice_log_likelihood(between, within) >= best - 1e-9
    v = fit.within**2 * np.eye(10) + fit.between**2 * together
    r = y - x @ fit.coefficients
    whole = fit.between**2 * together @ np.linalg.inv(v) @ r
    assert fit.shifts == pytest.approx([whole[at == g][0] for g in range(4)])


def test_few_heights_are_drawn_further_towards_the_curve() -> None:
    trees = pd.concat(
        [site([1.5, -1.5, 0.5, -0.5], 12, 0.6), site([0, 0, 0, 0, 2.0], 1, 0.0, seed=8).tail(1)]
    )
    found = fit_clone_shifts(trees["dbh_mm"], trees["height_m"], trees["clone"])
    assert found.counts["K4"] == 1
    single = trees.iloc[-1]
    residual = single["height_m"] - found.curve.height_m([single["dbh_mm"]])[0]
    ratio = found.between_m**2 / found.within_m**2
    assert found.shifts_m["K4"] == pytest.approx(residual * ratio / (1 + ratio))
    assert 0 < found.shifts_m["K4"] < residual


def test_clones_that_do_not_differ_have_no_shift_and_the_plain_curve() -> None:
    trees = site([0.0] * 6, 8, 0.5, seed=11)
    # Residuals of a clone sum to nothing: between clones there is less than chance would give.
    plain = fit_height_curve(trees["dbh_mm"], trees["height_m"])
    rest = trees["height_m"] - plain.height_m(trees["dbh_mm"])
    even = trees.assign(height_m=trees["height_m"] - rest.groupby(trees["clone"]).transform("mean"))
    found = fit_clone_shifts(even["dbh_mm"], even["height_m"], even["clone"])
    again = fit_height_curve(even["dbh_mm"], even["height_m"])
    assert found.between_m == 0
    assert set(found.shifts_m.values()) == {0.0}
    assert (found.curve.a, found.curve.b) == pytest.approx((again.a, again.b), rel=1e-5)


def test_refusals() -> None:
    trees = site([0.0, 1.0], 8, 0.4)
    with pytest.raises(CurveRefusedError, match="heights of 2 clones"):
        fit_clone_shifts(trees["dbh_mm"], trees["height_m"], trees["clone"])
    few = trees.head(5)
    with pytest.raises(CurveRefusedError, match="5 measured heights"):
        fit_clone_shifts(few["dbh_mm"], few["height_m"], few["clone"])


def with_gaps(trees: pd.DataFrame, measured: dict[str, int]) -> pd.DataFrame:
    """Only so many heights of each clone."""
    rank = trees.groupby("clone").cumcount()
    limit = trees["clone"].map(measured).fillna(99)
    return trees.assign(height_m=trees["height_m"].where(rank < limit)).reset_index(drop=True)


def test_never_a_curve_of_its_own_below_ten_heights() -> None:
    trees = with_gaps(site([1.5, -1.5, 0.5, 0.0, -0.5], 14, 0.4), {"K1": 4, "K2": 0, "K4": 9})
    curves, shifts, reason = fit_clone_curves(trees)
    assert reason == ""
    assert shifts is not None
    assert not curves["K0"].is_borrowed
    for clone, own in (("K1", 4), ("K2", 0), ("K4", 9)):
        assert curves[clone].is_borrowed
        assert curves[clone].shift_heights == own
    assert curves["K2"].shift_m == 0
    assert curves["K1"].shift_m < -0.5
    filled = fill_heights(trees, curves, ("clone",))
    estimated = filled[(filled["clone"] == "K1") & (filled["height_source"] == "curve")]
    assert len(estimated) == 10
    assert (
        estimated["height_method"]
        .iloc[0]
        .startswith("Petterson (power 2.5), 41 heights, borrowed from the whole site")
    )
    assert estimated["height_method"].iloc[0].endswith("m (4 heights of its own)")
    plain = shifts.curve.height_m(estimated["dbh_mm"])
    assert (estimated["height_m"] - plain).tolist() == pytest.approx([shifts.shifts_m["K1"]] * 10)
    none = filled[(filled["clone"] == "K2") & (filled["height_source"] == "curve")]["height_method"].iloc[0]
    assert none.endswith("borrowed from the whole site")


def test_shifted_estimates_lie_nearer_than_the_unshifted_curve() -> None:
    """Heights kept back, so that the truth is known: what the shift is for."""
    whole = site(list(np.linspace(-2, 2, 8)), 25, 0.4, seed=21)
    kept = with_gaps(whole, {f"K{i}": 5 for i in range(8)})
    curves, shifts, _ = fit_clone_curves(kept)
    assert shifts is not None
    gaps = kept["height_m"].isna()
    shifted = fill_heights(kept, curves, ("clone",))["height_m"][gaps].to_numpy()
    truth = whole["height_m"].reset_index(drop=True)[gaps].to_numpy()
    plain = shifts.curve.height_m(kept["dbh_mm"][gaps])
    assert np.abs(shifted - truth).mean() < 0.5 * np.abs(plain - truth).mean()


def test_without_shifts_the_curve_is_borrowed_as_it_is() -> None:
    trees = with_gaps(site([0.0, 1.0], 14, 0.4), {"K1": 3})
    curves, shifts, reason = fit_clone_curves(trees)
    assert shifts is None
    assert "heights of 2 clones" in reason
    assert curves["K1"].shift_heights is None
    assert curves["K1"].method.endswith("borrowed from the whole site")
    nothing = trees.assign(height_m=math.nan)
    assert fit_clone_curves(nothing)[0] == {}


def test_a_shift_never_goes_below_breast_height() -> None:
    trees = site([1.5, -1.5, 0.5, 0.0], 14, 0.4)
    found = fit_clone_shifts(trees["dbh_mm"], trees["height_m"], trees["clone"])
    low = found.curve_of("K1").height_m([5.0, math.nan])
    assert low[0] == 1.3
    assert math.isnan(low[1])

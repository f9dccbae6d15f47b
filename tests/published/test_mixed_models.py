"""REML against lme4 and a dense computation: fixtures/reference/mixed_models.

Expected values computed with lme4 1.1.31 (R 4.2.2) on open data sets, prediction errors densely in numpy; sources
of the data in the README there. lme4's own optimum was polished, so variances are held to 1e-5.
"""

import json
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

from reports.calc.mixed_results import MixedResult
from reports.calc.mixed_terms import MixedModel
from reports.calc.reml_fit import fit_mixed_model
from reports.calc.top_k import chance_of_top
from tests.published.reference import FOLDER, rows

CASES: dict[str, Any] = json.loads((FOLDER / "mixed_models" / "expected.json").read_text())["cases"]
FIXED: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "penicillin": ((), ()),
    "sleepstudy": ((), ("Days",)),
    "cake": (("recipe", "temperature", "recipe:temperature"), ()),
    "oats": (("Variety",), ("nitro",)),
    "machines": (("Machine",), ()),
    "machines_unbalanced": (("Machine",), ()),
    "dyestuff2": ((), ()),
    "barley": (("site",), ()),
    "barley_years": ((), ()),
    "trial_small": (("site",), ()),
}
RANKED = [(name, term) for name, case in CASES.items() for term in (None, *case["random_terms"])]
STATISTICS = {
    (r["dataset"], r["quantity"]): float(r["expected"]) for r in rows("mixed_models/clone_stats.csv")
}


@cache
def fitted(name: str, ranked: str | None) -> MixedResult:
    case = CASES[name]
    fixed, covariates = FIXED[name]
    frame = pd.read_csv(FOLDER / "mixed_models" / case["file"])
    random = tuple(case["random_terms"])
    return fit_mixed_model(frame, MixedModel(case["response"], fixed, covariates, random, ranked=ranked))


def dyestuff() -> MixedResult:
    frame = pd.read_csv(FOLDER / "mixed_models" / "dyestuff.csv")
    return fit_mixed_model(frame, MixedModel("Yield", random=("Batch",), ranked="Batch"))


def test_every_case_of_the_reference_is_tried() -> None:
    assert set(FIXED) == set(CASES)


@pytest.mark.parametrize(("name", "ranked"), RANKED)
def test_variances_and_criterion(name: str, ranked: str | None) -> None:
    case, found = CASES[name], fitted(name, ranked)
    assert found.converged
    assert found.n == case["n_obs"]
    for term, expected in case["variance"].items():
        estimate = found.variance("residual" if term == "Residual" else term)
        assert estimate == pytest.approx(expected, rel=1e-5, abs=1e-12)
    assert found.reml_criterion == pytest.approx(case["reml_criterion"], abs=1e-6)
    assert found.log_det_xtx == pytest.approx(case["log_det_xtx"], abs=1e-8)
    assert list(found.boundary) == case["boundary_terms"]


@pytest.mark.parametrize(("name", "ranked"), RANKED)
def test_fixed_effects_and_their_errors(name: str, ranked: str | None) -> None:
    expected = CASES[name]["fixed"]
    found = fitted(name, ranked).fixed
    assert [f.term for f in found] == list(expected)
    for effect in found:
        se = expected[effect.term]["se"]
        assert effect.estimate == pytest.approx(expected[effect.term]["estimate"], abs=1e-5 * se)
        assert effect.se == pytest.approx(se, rel=1e-5)


@pytest.mark.parametrize(("name", "ranked"), RANKED)
def test_predictions_and_prediction_errors(name: str, ranked: str | None) -> None:
    case, result = CASES[name], fitted(name, ranked)
    for term, expected in case["random"].items():
        found = result.effects[term]
        assert len(found.levels) == expected["levels_in_model"]
        place = [found.levels.index(level) for level in expected["level"]]
        np.testing.assert_allclose(found.blup[place], expected["blup"], atol=1e-5 * case["sd"][term])
        np.testing.assert_allclose(found.se[place], expected["pev_sd"], rtol=1e-5, atol=1e-9)


def test_the_ranked_terms_covariance_has_the_prediction_errors_on_its_diagonal() -> None:
    result = fitted("trial_small", "clone")
    assert result.covariance is not None
    np.testing.assert_allclose(np.sqrt(np.diag(result.covariance)), result.effects["clone"].se, rtol=1e-12)


def test_a_variance_of_zero_is_a_result() -> None:
    """Box and Tiao's made-up data: the batch variance is zero, its predictions too, and nothing fails."""
    result = fitted("dyestuff2", "Batch")
    assert result.boundary == ("Batch",)
    assert not result.effects["Batch"].blup.any()
    assert np.isnan(result.effects["Batch"].reliability).all()


def test_a_balanced_layout_gives_the_analysis_of_variance() -> None:
    """Closed form: variance between = (MSB − MSW)/n, and the standard errors from Var(MS) = 2 MS²/df, textbook
    (Searle, Casella and McCulloch 1992, from memory); mean squares computed here from the data."""
    frame = pd.read_csv(FOLDER / "mixed_models" / "dyestuff.csv")
    groups = frame.groupby("Batch")["Yield"]
    within = float(((frame["Yield"] - groups.transform("mean")) ** 2).sum() / 24)
    between = float(5 * ((groups.mean() - frame["Yield"].mean()) ** 2).sum() / 5)
    batch, residual = dyestuff().variances
    assert residual.estimate == pytest.approx(within, rel=1e-6)
    assert batch.estimate == pytest.approx((between - within) / 5, rel=1e-6)
    assert residual.se == pytest.approx((2 * within**2 / 24) ** 0.5, rel=1e-5)
    assert batch.se == pytest.approx((2 * between**2 / 5 / 25 + 2 * within**2 / 24 / 25) ** 0.5, rel=1e-5)


def test_dyestuff_as_clones() -> None:
    """Variances, predictions, reliability from the full equations (0.6521, not 0.7825), repeatability."""
    result, expected = dyestuff(), {q: v for (d, q), v in STATISTICS.items() if d == "Dyestuff"}
    effects = result.effects["Batch"]
    assert result.variance("Batch") == pytest.approx(expected["var between (clone)"], rel=1e-5)
    for level, blup in zip(effects.levels, effects.blup, strict=True):
        assert blup == pytest.approx(expected[f"BLUP {level}"], abs=1e-4)
    np.testing.assert_allclose(effects.reliability, expected["reliability 1-PEV/var (full MME)"], rtol=1e-5)
    c = result.covariance
    assert c is not None
    assert c[0, 0] == pytest.approx(expected["PEV of a BLUP (full MME with mean estimated)"], rel=1e-5)
    difference = c[0, 0] + c[1, 1] - 2 * c[0, 1]
    assert difference == pytest.approx(expected["PEV of a difference of two BLUPs"], rel=1e-5)
    assert result.repeatability is not None
    assert result.repeatability.tree == pytest.approx(expected["repeatability individual"], rel=1e-5)
    assert result.repeatability.clone_mean == pytest.approx(
        expected["repeatability clone mean n=5"], rel=1e-5
    )


def test_repeatability_of_machines_as_clones_at_sites() -> None:
    found = fitted("machines", "Worker").repeatability
    assert found is not None
    assert found.tree == pytest.approx(STATISTICS["Machines", "H2 individual"], rel=1e-5)
    expected = STATISTICS["Machines", "H2 clone mean 3 sites x 3 ramets"]
    assert found.clone_mean == pytest.approx(expected, rel=1e-5)


def test_chance_of_being_the_best() -> None:
    """By quadrature (computed), from the predictions and the full prediction errors: a shared shift cancels."""
    result = dyestuff()
    assert result.covariance is not None
    chances = chance_of_top(result.effects["Batch"].blup, result.covariance, [1], draws=200_000)[1]
    expected = {r["check_id"]: float(r["expected"]) for r in rows("10_selection_agreement.csv")}
    for level, chance in zip(result.effects["Batch"].levels, chances, strict=True):
        assert chance == pytest.approx(expected[f"T_{level}"], abs=0.003)

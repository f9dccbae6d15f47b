"""The REML engine against a dense and obvious computation, under changes that must not matter, and on bad data."""

from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from reports.calc.mixed_terms import MixedModel
from reports.calc.reml_fit import fit_mixed_model

MODEL = MixedModel(
    "value", fixed=("site",), random=("site:block", "clone", "clone:site", "plot"), ranked="clone"
)


def trial(seed: int = 3, sites: int = 4, blocks: int = 3, clones: int = 9, trees: int = 3) -> pd.DataFrame:
    """A ragged trial: missing trees and plots, one clone at one site only."""
    rng = np.random.default_rng(seed)
    rows = []
    clone_effect, block_effect = rng.normal(0, 1.5, clones), rng.normal(0, 0.7, (sites, blocks))
    cross = rng.normal(0, 0.9, (clones, sites))
    for s, b, c in product(range(sites), range(blocks), range(clones)):
        plot = rng.normal(0, 0.8)
        if (c == clones - 1 and s > 0) or rng.random() < 0.1:
            continue
        for _ in range(trees):
            if rng.random() > 0.1:
                value = (
                    10
                    + s
                    + clone_effect[c]
                    + block_effect[s, b]
                    + cross[c, s]
                    + plot
                    + rng.normal(0, 1 + s / 3)
                )
                rows.append((f"S{s}", f"B{b}", f"C{c}", f"P{s}{b}{c}", rng.normal(), value))
    return pd.DataFrame(rows, columns=["site", "block", "clone", "plot", "slope", "value"])


# A dense and obvious peer ---------------------------------------------------------------------------------


def dense_parts(frame: pd.DataFrame, model: MixedModel) -> tuple[Any, Any, list[Any], list[Any]]:
    """X in treatment coding, y, Z K Z' of each term, diagonal of each residual group."""
    x = [np.ones(len(frame))]
    for term in model.fixed:
        x += [np.asarray(frame[term] == v, float) for v in sorted(frame[term].unique())[1:]]
    x += [frame[c].to_numpy() for c in model.covariates]
    parts = []
    for term in model.random:
        labels = frame[term.split(":")].astype(str).agg(":".join, axis=1)
        z = pd.get_dummies(labels).astype(float)
        k = np.eye(z.shape[1])
        if model.relationship and model.relationship[0] == term:
            k = model.relationship[1].loc[z.columns, z.columns].to_numpy()
        parts.append(z.to_numpy() @ k @ z.to_numpy().T)
    if model.residual_by:
        column = frame[model.residual_by]
        groups = [np.diag(np.asarray(column == v, float)) for v in sorted(column.unique())]
    else:
        groups = [np.eye(len(frame))]
    return np.column_stack(x), frame[model.value].to_numpy(), parts, groups


def dense_criterion(variances: Any, x: Any, y: Any, parts: list[Any], groups: list[Any]) -> float:
    v = sum(t * p for t, p in zip(variances, [*parts, *groups], strict=True))
    inverse = np.linalg.inv(v)
    cross = x.T @ inverse @ x
    projector = inverse - inverse @ x @ np.linalg.solve(cross, x.T @ inverse)
    freedom = len(y) - x.shape[1]
    log_dets = np.linalg.slogdet(v)[1] + np.linalg.slogdet(cross)[1]
    return float(freedom * np.log(2 * np.pi) + log_dets + y @ projector @ y)


def family_relationship(clones: list[str]) -> pd.DataFrame:
    """Full sibs share half: clones in families of three, unrelated parents."""
    family = np.arange(len(clones)) // 3
    matrix = np.where(family[:, None] == family[None, :], 0.5, 0.0)
    np.fill_diagonal(matrix, 1.0)
    return pd.DataFrame(matrix, clones, clones)


DENSE = {
    "plots": MODEL,
    "a slope for each tree": replace(MODEL, covariates=("slope",)),
    "a residual variance for each site": replace(MODEL, residual_by="site"),
    "related clones": replace(
        MODEL, relationship=("clone", family_relationship([f"C{i}" for i in range(9)]))
    ),
    "nothing ranked": replace(MODEL, ranked=None),
    "clones only": MixedModel("value", random=("clone",)),
    "no random term": MixedModel("value", fixed=("site",), residual_by="site"),
}


@pytest.mark.parametrize("name", DENSE)
def test_the_optimum_and_its_criterion_are_those_of_a_dense_search(name: str) -> None:
    model, frame = DENSE[name], trial(sites=3, blocks=2, trees=2)
    found = fit_mixed_model(frame, model)
    x, y, parts, groups = dense_parts(frame, model)
    estimates = np.array([v.estimate for v in found.variances])
    assert found.converged
    assert found.reml_criterion == pytest.approx(dense_criterion(estimates, x, y, parts, groups), abs=1e-7)
    free = estimates > 0

    def off(step: Any) -> float:
        moved = estimates.copy()
        moved[free] *= np.exp(step)
        return dense_criterion(moved, x, y, parts, groups)

    best = optimize.minimize(off, np.full(free.sum(), 0.05), method="L-BFGS-B", bounds=[(-1, 1)] * free.sum())
    assert best.fun > found.reml_criterion - 1e-6
    np.testing.assert_allclose(np.exp(best.x), 1, atol=0.02)


@pytest.mark.parametrize("name", [n for n in DENSE if n != "no random term"])
def test_predictions_and_errors_are_those_of_dense_algebra(name: str) -> None:
    """û = G Z' P y and Var(û − u) = G − G Z' P Z G, from the whole V."""
    model, frame = DENSE[name], trial()
    found = fit_mixed_model(frame, model)
    x, y, parts, groups = dense_parts(frame, model)
    v = sum(t.estimate * p for t, p in zip(found.variances, [*parts, *groups], strict=True))
    inverse = np.linalg.inv(v)
    cross = np.linalg.inv(x.T @ inverse @ x)
    projector = inverse - inverse @ x @ cross @ x.T @ inverse
    np.testing.assert_allclose([f.estimate for f in found.fixed], cross @ x.T @ inverse @ y, rtol=1e-7)
    np.testing.assert_allclose([f.se for f in found.fixed], np.sqrt(np.diag(cross)), rtol=1e-7)
    for term in model.random:
        effects = found.effects[term]
        labels = frame[term.split(":")].astype(str).agg(":".join, axis=1)
        z = np.asarray([[label == level for level in effects.levels] for label in labels], float)
        g = np.eye(len(effects.levels)) * found.variance(term)
        if model.relationship and model.relationship[0] == term:
            g = model.relationship[1].loc[list(effects.levels), list(effects.levels)].to_numpy() * g[0, 0]
        errors = g - g @ z.T @ projector @ z @ g
        np.testing.assert_allclose(effects.blup, g @ z.T @ projector @ y, atol=1e-8)
        np.testing.assert_allclose(effects.se, np.sqrt(np.diag(errors)), rtol=1e-6, atol=1e-8)
        if term == model.ranked:
            np.testing.assert_allclose(found.covariance, errors, atol=1e-8)


# What must not matter -------------------------------------------------------------------------------------


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 10_000), shift=st.floats(-1e4, 1e4), scale=st.floats(1e-3, 1e3))
def test_units_order_and_names_do_not_matter(seed: int, shift: float, scale: float) -> None:
    frame = trial(seed % 50, sites=3, blocks=2, clones=6, trees=2)
    rng = np.random.default_rng(seed)
    clones = sorted(frame["clone"].unique())
    names = dict(zip(clones, rng.permutation([f"K{i}" for i in range(len(clones))]), strict=True))
    changed = frame.assign(value=shift + scale * frame["value"], clone=frame["clone"].map(names))
    changed = changed.sample(frac=1, random_state=seed).reset_index(drop=True)
    one, other = fit_mixed_model(frame, MODEL), fit_mixed_model(changed, MODEL)
    assert one.boundary == other.boundary
    total = sum(v.estimate for v in one.variances)
    for a, b in zip(one.variances, other.variances, strict=True):
        assert b.estimate / scale**2 == pytest.approx(a.estimate, abs=1e-4 * total)
    freedom = one.n - len(one.fixed)
    shifted = one.reml_criterion + 2 * freedom * np.log(scale)
    assert other.reml_criterion == pytest.approx(shifted, abs=1e-4)
    before, after = one.effects["clone"], other.effects["clone"]
    place = [after.levels.index(names[level]) for level in before.levels]
    np.testing.assert_allclose(after.blup[place] / scale, before.blup, atol=1e-3)
    np.testing.assert_allclose(after.se[place] / scale, before.se, atol=1e-3)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 100_000))
def test_no_small_trial_ends_above_an_optimum_that_a_dense_search_finds(seed: int) -> None:
    """Small trials often have a variance of zero; the search starts elsewhere and may go to zero as well."""
    frame = trial(seed, sites=2, blocks=2, clones=5, trees=2)
    model = MixedModel("value", fixed=("site",), random=("clone", "clone:site", "plot"), ranked="clone")
    found = fit_mixed_model(frame, model)
    assert found.converged
    parts = dense_parts(frame, model)
    spread = float(frame["value"].var())
    bounds = [(0, 10)] * 3 + [(1e-4, 10)]
    for start in ([0.5, 0.5, 0.5, 0.5], [0.05, 0.3, 0.05, 1.0], [0.3, 0.01, 0.01, 0.3]):
        best = optimize.minimize(
            lambda t: dense_criterion(t * spread, *parts), start, method="L-BFGS-B", bounds=bounds
        )
        assert found.reml_criterion < best.fun + 1e-5


def test_a_clone_at_one_site_is_known_less_well() -> None:
    effects = fit_mixed_model(trial(), MODEL).effects["clone"]
    assert effects.se[effects.levels.index("C8")] == effects.se.max()


def test_incomplete_records_are_left_out_and_counted() -> None:
    frame = trial()
    spoilt = pd.concat([frame, frame.head(3).assign(value=np.nan), frame.head(2).assign(clone=None)])
    found = fit_mixed_model(spoilt, MODEL)
    assert (found.n, found.n_left_out) == (len(frame), 5)
    assert found.reml_criterion == pytest.approx(fit_mixed_model(frame, MODEL).reml_criterion, abs=1e-9)


def test_coefficients_of_empty_cells_are_dropped_and_named() -> None:
    frame = trial()
    frame = frame[~((frame["site"] == "S1") & (frame["block"] == "B1"))]
    found = fit_mixed_model(
        frame, replace(MODEL, fixed=("site", "block", "site:block"), random=("clone", "plot"))
    )
    assert found.dropped == ("siteS1:blockB1",)


# What cannot be fitted ------------------------------------------------------------------------------------


def spoilt(**columns: Any) -> pd.DataFrame:
    return trial().assign(**columns)


BAD = {
    "one level": (spoilt(site="S1"), MODEL, "site: only one level"),
    "all equal": (spoilt(value=7.0), MODEL, "all .* values are equal"),
    "infinite": (spoilt(value=[np.inf] + [1.0] * (len(trial()) - 1)), MODEL, "infinite in record 1"),
    "text": (spoilt(value="tall"), MODEL, "not a number"),
    "nothing": (spoilt(value=np.nan), MODEL, "0 complete rows"),
    "no column": (trial(), replace(MODEL, value="height"), "no column height"),
    "named twice": (trial(), replace(MODEL, random=("clone", "clone")), "named twice"),
    "not random": (trial(), replace(MODEL, ranked="tree"), "tree is not among the random terms"),
    "value as term": (trial(), replace(MODEL, fixed=("value",)), "cannot be a term"),
    "random and fixed": (
        trial(),
        replace(MODEL, random=("clone", "site")),
        "site cannot be told apart from the fixed",
    ),
    "same groups": (
        trial(),
        replace(MODEL, random=("clone", "plot", "site:block:clone")),
        "plot and site:block:clone cannot be told apart",
    ),
    "one tree a plot": (trial(trees=1), MODEL, "plot cannot be told from the residual"),
    "fixed terms alike": (
        spoilt(region=trial()["site"]),
        replace(MODEL, fixed=("site", "region")),
        "region cannot be told apart from the fixed terms before it",
    ),
    "no relationship": (
        trial(),
        replace(MODEL, relationship=("clone", family_relationship(["C0", "C1"]))),
        "no relationship given for clone",
    ),
    "identical individuals": (
        trial(),
        replace(MODEL, relationship=("clone", family_relationship([f"C{i}" for i in range(9)]) * 0 + 1)),
        "not positive definite",
    ),
    "nothing left over": (
        spoilt(value=trial()["clone"].str[1:].astype(float)),
        MixedModel("value", random=("clone",)),
        "no residual variance is left",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_fitted_is_said_in_words(name: str) -> None:
    frame, model, message = BAD[name]
    with pytest.raises(ValueError, match=message):
        fit_mixed_model(frame, model)

"""Restricted maximum likelihood by average information on the variances, with an active set at zero.

Sources, from memory: Patterson and Thompson (1971, Biometrika 58, 545-554) for REML; Gilmour, Thompson and Cullis
(1995, Biometrics 51, 1440-1450) for the average information. Values and fixed columns are scaled for the fit and the
answers scaled back, so that units do not matter.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from reports.calc.blas_threads import one_thread
from reports.calc.mixed_equations import Equations, Errors, Solved
from reports.calc.mixed_results import (
    FixedEffect,
    MixedResult,
    RandomEffects,
    Variance,
    repeatability,
    residual_names,
)
from reports.calc.mixed_terms import Design, Floats, MixedModel, make_design

MOST_STEPS = 100
CLOSE = 1e-10
"""Score · step below which the criterion no longer changes."""
TINY = 1e-7
"""Share of the residual variance at which the slope at zero is looked at."""
NEARLY_ZERO = 0.02
"""Share of the residual variance below which a component that a step would take below zero is tried at zero."""
SMALLEST_RESIDUAL = 1e-10
"""Share of the total variance below which nothing random is left."""


@dataclass(frozen=True)
class _Scaling:
    """y = mean + sd × fitted y; X fitted = X @ columns."""

    mean: float
    sd: float
    columns: Floats


@dataclass(frozen=True)
class _Optimum:
    solved: Solved
    errors: Errors
    information: Floats
    pinned: npt.NDArray[np.bool_]
    converged: bool
    steps: int


def fit_mixed_model(frame: pd.DataFrame, model: MixedModel) -> MixedResult:
    """Fit by REML. frame: one row a record.

    Errors: ValueError in words (see make_design), for terms that cannot be told apart, and when nothing random is
    left.
    """
    with one_thread():
        design = make_design(frame, model)
        scaling = _scaling(design)
        y = (design.y - scaling.mean) / scaling.sd
        equations = Equations(design, y, design.x @ scaling.columns)
        _check_groups(design, equations)
        best = _optimise(equations)
        return _result(design, equations, best, scaling)


def _scaling(design: Design) -> _Scaling:
    """Covariates centred and of unit spread; dummies stay as they are, and sparse."""
    x = design.x
    share = design.x_counts / design.x_counts.sum()
    columns = np.eye(x.shape[1])
    for j in range(1, x.shape[1]):
        if ((x[:, j] == 0) | (x[:, j] == 1)).all():
            continue
        middle = float(share @ x[:, j])
        spread = float(np.sqrt(share @ (x[:, j] - middle) ** 2))
        columns[j, j] = 1.0 / spread
        columns[0, j] = -middle / spread
    return _Scaling(float(design.y.mean()), float(design.y.std()), columns)


def _check_groups(design: Design, equations: Equations) -> None:
    counts = np.bincount(design.groups.codes)
    if counts.min() < 2:
        level = design.groups.levels[int(counts.argmin())]
        raise ValueError(f"{design.groups.name} {level}: one record has no residual variance of its own")


def _check_traces(equations: Equations, solved: Solved, traces: Floats) -> None:
    """A term inside the fixed effects leaves nothing to estimate its variance from: tr(P Z Z') is zero."""
    terms = equations.n_terms
    for term, variance, trace in zip(equations.design.random, solved.variances, traces[:terms], strict=False):
        if trace * variance < 1e-9:
            raise ValueError(
                f"{term.name} cannot be told apart from the fixed effects; leave one of them out"
            )


def _optimise(equations: Equations) -> _Optimum:
    terms, groups = equations.n_terms, equations.cells.n_groups
    start = np.concatenate([np.full(terms, 0.5 / max(terms, 1)), np.full(groups, 0.5)])
    solved = equations.solve(start)
    pinned = np.zeros(terms + groups, bool)
    steps = 0
    while True:
        solved, errors, information, pinned, converged, used = _climb(
            equations, solved, pinned, MOST_STEPS - steps
        )
        steps += used
        released = _released(equations, solved, pinned) if converged else pinned
        if (released == pinned).all() or steps >= MOST_STEPS:
            return _Optimum(solved, errors, information, pinned, converged, steps)
        variances = solved.variances.copy()
        variances[pinned & ~released] = 0.01 * variances[terms:].mean()
        pinned, solved = released, equations.solve(variances)


def _climb(
    equations: Equations, solved: Solved, pinned: npt.NDArray[np.bool_], most: int
) -> tuple[Solved, Errors, Floats, npt.NDArray[np.bool_], bool, int]:
    """Steps until the score vanishes on the components that are not held at zero."""
    terms = equations.n_terms
    for step in range(most + 1):
        errors, score, information = _slope(equations, solved)
        free = ~pinned
        if step == 0 and not pinned.any():
            _check_traces(equations, solved, errors.traces)
        move = np.zeros(len(score))
        _check_information(equations, information, free)
        move[free] = np.linalg.solve(information[np.ix_(free, free)], -score[free])
        if -float(score @ move) < CLOSE or step == most:
            return solved, errors, information, pinned, -float(score @ move) < CLOSE, step
        wanted = solved.variances + move
        residual = solved.variances[terms:]
        if (residual < SMALLEST_RESIDUAL).any():
            raise ValueError("the model explains every value; no residual variance is left")
        # a first step may sink what later rises: only what is small already goes to zero
        sinking = free & (wanted <= 0) & (solved.variances < NEARLY_ZERO * residual.mean())
        sinking[terms:] = False
        if sinking.any():
            trial = _at_zero(equations, solved, score, information, pinned | sinking)
            if trial.criterion <= solved.criterion:
                solved, pinned = trial, pinned | sinking
                continue
        following = _halved(equations, solved, move)
        if following is None:
            return solved, errors, information, pinned, -float(score @ move) < 1e-6, step
        solved = following
    raise AssertionError("unreachable")


def _slope(equations: Equations, solved: Solved) -> tuple[Errors, Floats, Floats]:
    """Score and average information of the criterion (both of −2 log likelihood)."""
    errors = equations.errors(solved)
    working = equations.working(solved)
    score = errors.traces - working.T @ solved.projected
    information = working.T @ equations.project(solved, errors, working)
    terms = equations.n_terms
    residual = solved.variances[terms:]
    score[terms:] += equations.cells.extra / residual - equations.cells.within / residual**2
    index = np.arange(terms, len(score))
    information[index, index] += equations.cells.within / residual**3
    return errors, score, (information + information.T) / 2


def _at_zero(
    equations: Equations, solved: Solved, score: Floats, information: Floats, pinned: npt.NDArray[np.bool_]
) -> Solved:
    """The sinking components at zero, the others where a step takes them then."""
    free = ~pinned
    held = -solved.variances * pinned
    right = -score[free] - information[np.ix_(free, pinned)] @ held[pinned]
    variances = solved.variances + held
    variances[free] += np.linalg.solve(information[np.ix_(free, free)], right)
    low = 0.1 * solved.variances
    variances[free] = np.maximum(variances, low)[free]
    return equations.solve(variances)


def _halved(equations: Equations, solved: Solved, move: Floats) -> Solved | None:
    """The longest of the halved steps that does not raise the criterion; None when none does."""
    for halving in range(40):
        variances = np.maximum(solved.variances + move * 0.5**halving, 0.1 * solved.variances)
        trial = equations.solve(variances)
        if trial.criterion <= solved.criterion + 1e-9 + 1e-13 * abs(solved.criterion):
            return trial
    return None


def _released(equations: Equations, solved: Solved, pinned: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Components at zero stay there unless the criterion falls when they grow."""
    if not pinned.any():
        return pinned
    variances = solved.variances.copy()
    variances[pinned] = TINY * variances[equations.n_terms :].mean()
    _, score, _ = _slope(equations, equations.solve(variances))
    falls = -score * variances[equations.n_terms :].mean() > 1e-5
    still: npt.NDArray[np.bool_] = np.logical_and(pinned, ~falls)
    return still


def _check_information(equations: Equations, information: Floats, free: npt.NDArray[np.bool_]) -> None:
    """A direction without information is a set of terms that share one variance."""
    part = information[np.ix_(free, free)]
    scale = np.sqrt(np.diag(part))
    if not np.isfinite(part).all() or (scale <= 0).any():
        raise ValueError("the variances cannot be estimated: some term carries no information")
    values, vectors = np.linalg.eigh(part / np.outer(scale, scale))
    if values[0] < 1e-9:
        design = equations.design
        names = np.array([f.name for f in design.random] + list(residual_names(design)))[free]
        mixed = [str(n) for n, v in zip(names, vectors[:, 0], strict=True) if abs(v) > 0.1]
        raise ValueError(
            f"{' and '.join(mixed)} cannot be told apart with these records; leave one of them out"
        )


def _result(design: Design, equations: Equations, best: _Optimum, scaling: _Scaling) -> MixedResult:
    terms, square = equations.n_terms, scaling.sd**2
    names = [f.name for f in design.random] + list(residual_names(design))
    levels = [len(f.levels) for f in design.random] + list(np.bincount(design.groups.codes))
    free = ~best.pinned
    spread = np.full(len(names), np.nan)
    spread[free] = np.sqrt(np.diag(np.linalg.inv(best.information[np.ix_(free, free)] / 2.0)))
    estimates = best.solved.variances * square
    variances = tuple(
        Variance(name, float(v), None if np.isnan(s) else float(s * square), int(q))
        for name, v, s, q in zip(names, estimates, spread, levels, strict=True)
    )
    shares = np.bincount(design.groups.codes) / len(design.y)
    share = repeatability(design, dict(zip(names, estimates, strict=True)), float(shares @ estimates[terms:]))
    log_det = 2.0 * float(np.linalg.slogdet(scaling.columns)[1])
    cross = design.x.T @ (design.x_counts[:, None] * design.x)
    freedom = len(design.y) - design.x.shape[1]
    ranked = design.model.ranked
    covariance = None
    if ranked is not None:
        place = equations.places[design.model.random.index(ranked)]
        covariance = best.errors.core[place, place] * square
    return MixedResult(
        n=len(design.y),
        n_left_out=design.n_left_out,
        variances=variances,
        fixed=_fixed(design, equations, best, scaling),
        effects={f.name: _effects(i, design, equations, best, scaling) for i, f in enumerate(design.random)},
        reml_criterion=best.solved.criterion - log_det + freedom * float(np.log(square)),
        log_det_xtx=float(np.linalg.slogdet(cross)[1]),
        converged=best.converged,
        iterations=best.steps,
        boundary=tuple(n for n, p in zip(names, best.pinned, strict=True) if p),
        dropped=design.dropped,
        ranked=ranked,
        covariance=covariance,
        repeatability=share,
    )


def _fixed(
    design: Design, equations: Equations, best: _Optimum, scaling: _Scaling
) -> tuple[FixedEffect, ...]:
    p = equations.p
    estimates = scaling.sd * (scaling.columns @ best.solved.core[:p])
    estimates[0] += scaling.mean
    covariance = scaling.columns @ best.errors.core[:p, :p] @ scaling.columns.T
    errors = scaling.sd * np.sqrt(np.diag(covariance))
    return tuple(
        FixedEffect(name, float(b), float(s))
        for name, b, s in zip(design.x_names, estimates, errors, strict=True)
    )


def _effects(
    index: int, design: Design, equations: Equations, best: _Optimum, scaling: _Scaling
) -> RandomEffects:
    """Predictions of one term in the units of the value."""
    term, variance = design.random[index], best.solved.variances[index]
    own = np.full(len(term.levels), variance)
    if index == equations.finest:
        weights = best.solved.weights
        codes = equations.codes[index]
        blup, error = np.empty(len(codes)), np.empty(len(codes))
        blup[codes] = variance * best.solved.projected
        error[codes] = variance - variance**2 * (weights - weights**2 * best.errors.cells)
    elif index == equations.eliminated:
        blup, error = best.solved.block_effects, best.errors.block
    else:
        place = equations.places[index]
        blup, error = best.solved.core[place], np.diag(best.errors.core)[place]
    if index in equations.factor:
        own = variance * (equations.factor[index] ** 2).sum(axis=1)
    error = np.maximum(error, 0.0)
    reliability = np.full(len(own), np.nan)
    np.divide(error, own, out=reliability, where=own > 0)
    n = np.bincount(term.codes).astype(np.float64)
    return RandomEffects(
        term.name, term.levels, n, blup * scaling.sd, np.sqrt(error) * scaling.sd, 1.0 - reliability
    )

"""What a mixed model answers: variances, effects, reliability, repeatability; frozen, and as JSON."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from reports.calc.mixed_terms import RESIDUAL, Design, Floats


@dataclass(frozen=True)
class Variance:
    """A variance component. se is None at the boundary (a variance of zero is "not detectable")."""

    term: str
    estimate: float
    se: float | None
    levels: int


@dataclass(frozen=True)
class FixedEffect:
    """A coefficient in treatment coding with its standard error."""

    term: str
    estimate: float
    se: float


@dataclass(frozen=True)
class RandomEffects:
    """Predictions of one term, arrays by level.

    se is the standard deviation of the prediction error, fixed effects unknown. reliability is 1 − se²/variance (per
    level variance with a relationship); NaN where the variance is zero. n: records of the level.
    """

    term: str
    levels: tuple[str, ...]
    n: Floats
    blup: Floats
    se: Floats
    reliability: Floats


@dataclass(frozen=True)
class Repeatability:
    """Of one record ("tree") and of a clone's mean; None without a ranked term."""

    tree: float
    clone_mean: float


@dataclass(frozen=True)
class MixedResult:
    """A fitted model.

    reml_criterion: −2 log restricted likelihood with (n − p) log 2π and log |X'V⁻¹X|, X in treatment coding;
    log_det_xtx: subtract it to compare across codings. covariance: of the prediction errors of the ranked term.
    dropped: coefficients that the data cannot tell from others.
    """

    n: int
    n_left_out: int
    variances: tuple[Variance, ...]
    fixed: tuple[FixedEffect, ...]
    effects: dict[str, RandomEffects]
    reml_criterion: float
    log_det_xtx: float
    converged: bool
    iterations: int
    boundary: tuple[str, ...]
    dropped: tuple[str, ...]
    ranked: str | None
    covariance: Floats | None = field(repr=False)
    repeatability: Repeatability | None = None

    def variance(self, term: str) -> float:
        """Estimate of one component. Error: KeyError for a term that is not there."""
        return {v.term: v.estimate for v in self.variances}[term]

    def to_dict(self) -> dict[str, Any]:
        """All but the ranked term's effects, as plain values; missing is None."""
        share = self.repeatability
        return {
            "n": self.n,
            "n_left_out": self.n_left_out,
            "reml_criterion": self.reml_criterion,
            "variance": {v.term: {"estimate": v.estimate, "se": v.se} for v in self.variances},
            "fixed": [{"term": f.term, "estimate": f.estimate, "se": f.se} for f in self.fixed],
            "not_estimable": list(self.dropped),
            "repeatability": None if share is None else {"tree": share.tree, "clone_mean": share.clone_mean},
            "converged": self.converged,
            "boundary": list(self.boundary),
        }


def repeatability(design: Design, variances: dict[str, float], residual: float) -> Repeatability | None:
    """Repeatability of the ranked term, of one record and of a level's mean.

    Terms nested in the ranked one (clone:site, plot, tree) count as noise, others (site, block) do not. In a mean
    each noise counts with Σ(n_l/n)² over the clone's levels l, averaged over clones: 1/s, 1/(s b n) when balanced.
    residual: the residual variance, the records' average where there are several.
    """
    model = design.model
    if model.ranked is None:
        return None
    ranked = next(f for f in design.random if f.name == model.ranked)
    own = variances[model.ranked]
    n = np.bincount(ranked.codes).astype(np.float64)
    noise, noise_of_mean = residual, residual * float((1.0 / n).mean())
    for term in design.random:
        first = np.full(len(term.levels), -1, np.int64)
        first[term.codes] = ranked.codes
        if term is ranked or not (first[term.codes] == ranked.codes).all():
            continue
        shares = (np.bincount(term.codes) / n[first]) ** 2
        noise += variances[term.name]
        noise_of_mean += variances[term.name] * float(np.bincount(first, shares).mean())
    return Repeatability(own / (own + noise), own / (own + noise_of_mean))


def residual_names(design: Design) -> tuple[str, ...]:
    """Names of the residual variances: one, or one a group."""
    if design.model.residual_by is None:
        return (RESIDUAL,)
    return tuple(f"{RESIDUAL}:{level}" for level in design.groups.levels)

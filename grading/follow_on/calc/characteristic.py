"""Characteristic values (5th percentile with confidence) of one sample, by several methods, and of several samples."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from grading.follow_on.calc import tolerance

Array = NDArray[np.float64]
SHARE = 0.05
SMALLEST = 3
K_N = {"strength": (0.70, 0.80, 0.90, 0.95, 1.00), "other": (0.88, 0.91, 0.94, 0.97, 1.00)}


@dataclass(frozen=True)
class Characteristic:
    """One method's answer: lower limit and point estimate in the unit of the values; None where there is none."""

    method: str
    n: int
    trees: int | None
    confidence: float | None
    limit: float | None
    point: float | None
    words: str = ""


@dataclass(frozen=True)
class Sample:
    """n, mean and standard deviation (n - 1) of values without the missing ones."""

    values: Array
    n: int
    mean: float
    sd: float


def sample_of(values: ArrayLike) -> Sample:
    """Values of any shape as a sample; NaN is left out. ValueError for infinite values or fewer than 3."""
    flat = np.asarray(values, dtype=np.float64).ravel()
    flat = np.sort(flat[~np.isnan(flat)])
    if np.isinf(flat).any():
        raise ValueError("expected finite values, found an infinite one")
    if flat.size < SMALLEST:
        raise ValueError(f"expected at least {SMALLEST} values, found {flat.size}")
    return Sample(flat, int(flat.size), float(flat.mean()), float(flat.std(ddof=1)))


def point_estimate(ordered: Array) -> float | None:
    """Interpolated order statistic at 0.05 (n + 1) of values in rising order; None below n = 19."""
    place = SHARE * (ordered.size + 1)
    if place < 1 - 1e-12:
        return None
    below = max(1, min(math.floor(place + 1e-12), ordered.size - 1))
    part = max(place - below, 0.0)
    return float(ordered[below - 1] + part * (ordered[below] - ordered[below - 1]))


def ranked(sample: Sample, confidence: float) -> Characteristic:
    """Distribution-free lower tolerance limit (ASTM D2915 principle)."""
    rank = tolerance.limit_rank(sample.n, confidence=confidence, share=SHARE)
    point = point_estimate(sample.values)
    if rank:
        words = f"value number {rank} from below"
        return Characteristic(
            "ranked", sample.n, None, confidence, float(sample.values[rank - 1]), point, words
        )
    need = tolerance.smallest_n(1, confidence=confidence, share=SHARE)
    words = f"too few: {sample.n} pieces, at least {need} are needed"
    return Characteristic("ranked", sample.n, None, confidence, None, point, words)


def normal(sample: Sample, confidence: float) -> Characteristic:
    """mean - k s with the exact factor."""
    k = tolerance.tolerance_factor(sample.n, confidence=confidence, share=SHARE)
    z = -float(stats.norm.ppf(SHARE))
    return Characteristic(
        "normal", sample.n, None, confidence, sample.mean - k * sample.sd, sample.mean - z * sample.sd
    )


def lognormal(sample: Sample, confidence: float) -> Characteristic:
    """exp(mean ln - k s_ln) with the exact factor; no answer with values that are not above 0."""
    if sample.values[0] <= 0:
        return _not_positive("lognormal", sample, confidence)
    logs = normal(sample_of(np.log(sample.values)), confidence)
    assert logs.limit is not None
    assert logs.point is not None
    return Characteristic("lognormal", sample.n, None, confidence, math.exp(logs.limit), math.exp(logs.point))


def en14358_normal(sample: Sample, confidence: float) -> Characteristic:
    """mean - k s with EN 14358:2016 (10) and s not below 0.05 mean; 75 % only."""
    if confidence != 0.75 or sample.mean <= 0:
        return _not_for(sample, "en14358_normal", confidence)
    spread = max(sample.sd, 0.05 * sample.mean)
    limit = sample.mean - tolerance.en14358_factor(sample.n) * spread
    return Characteristic("en14358_normal", sample.n, None, confidence, limit, None)


def en14358_lognormal(sample: Sample, confidence: float) -> Characteristic:
    """exp(mean ln - k s_ln) with EN 14358:2016 (10) and s_ln not below 0.05; 75 % only."""
    if sample.values[0] <= 0:
        return _not_positive("en14358_lognormal", sample, confidence)
    if confidence != 0.75:
        return _not_for(sample, "en14358_lognormal", confidence)
    logs = np.log(sample.values)
    spread = max(float(logs.std(ddof=1)), 0.05)
    limit = math.exp(float(logs.mean()) - tolerance.en14358_factor(sample.n) * spread)
    return Characteristic("en14358_lognormal", sample.n, None, confidence, limit, None)


def en14358_ranked(sample: Sample, confidence: float) -> Characteristic:
    """EN 14358's y05 (1 - k V / sqrt n); uses the coefficient of variation, so it is not distribution-free."""
    point = point_estimate(sample.values)
    if confidence != 0.75 or sample.mean <= 0 or point is None:
        return _not_for(sample, "en14358_ranked", confidence)
    share = tolerance.en14358_ranked_factor(sample.n) * sample.sd / sample.mean / math.sqrt(sample.n)
    words = "uses the spread of all values: not distribution-free"
    return Characteristic("en14358_ranked", sample.n, None, confidence, point * (1 - share), point, words)


def weibull(sample: Sample, confidence: float) -> Characteristic:
    """Point only, scale (-ln 0.95)^(1/shape), two-parameter maximum likelihood; to be shown beside the others."""
    del confidence
    if sample.values[0] <= 0:
        return _not_positive("weibull", sample, None)
    if sample.sd == 0:
        return Characteristic("weibull", sample.n, None, None, None, None, "all values are equal: no shape")
    shape, _, scale = stats.weibull_min.fit(sample.values, floc=0)
    point = float(scale * (-math.log(1 - SHARE)) ** (1 / shape))
    words = f"shape {shape:.4f}, scale {scale:.4f}; no confidence"
    return Characteristic("weibull", sample.n, None, None, None, point, words)


METHODS: dict[str, Callable[[Sample, float], Characteristic]] = {
    "ranked": ranked,
    "normal": normal,
    "lognormal": lognormal,
    "en14358_normal": en14358_normal,
    "en14358_lognormal": en14358_lognormal,
    "en14358_ranked": en14358_ranked,
    "weibull": weibull,
}


def several_samples(fifths: Sequence[float], numbers: Sequence[int], quantity: str = "strength") -> float:
    """One value from several samples (EN 384:2016, transcription): 5th percentiles of strength or density, or mean MOE.

    `quantity`: strength, density or stiffness; units as given. ValueError for empty or unequal lists, numbers below 1.
    """
    if not fifths or len(fifths) != len(numbers) or min(numbers) < 1:
        raise ValueError("expected one value and one number of pieces for each sample")
    factors = {"strength": 1.2, "density": 1.1, "stiffness": 1.1}
    if quantity not in factors:
        raise ValueError(f"expected strength, density or stiffness, found {quantity}")
    k_n = K_N["strength" if quantity == "strength" else "other"][min(len(fifths), 5) - 1]
    weighted = math.fsum(f * n for f, n in zip(fifths, numbers, strict=True)) / sum(numbers)
    value = min(factors[quantity] * min(fifths), weighted) * k_n
    return value / 0.95 if quantity == "stiffness" else value


def _not_positive(method: str, sample: Sample, confidence: float | None) -> Characteristic:
    words = f"values must be above 0, the smallest is {sample.values[0]:g}"
    return Characteristic(method, sample.n, None, confidence, None, None, words)


def _not_for(sample: Sample, method: str, confidence: float) -> Characteristic:
    words = "only for a confidence of 75 %, a mean above 0, and enough pieces for a 5th percentile"
    return Characteristic(method, sample.n, None, confidence, None, None, words)

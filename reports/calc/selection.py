"""What selecting clones brings: intensity, gain, an index of several traits, one ranking for all sites or not."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import integrate, stats

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class SelectionIndex:
    """An index of phenotypes. coefficients and gains (per unit of intensity) by trait; sd of the index; accuracy: its
    correlation with the worth it stands for."""

    coefficients: Floats
    sd: float
    accuracy: float
    gains: Floats


def intensity_of_share(share: float) -> float:
    """Intensity i = φ(z)/p when the best share p of a very large number is kept, in standard deviations.

    Error: ValueError unless 0 < share < 1. Source: Falconer and Mackay 1996, chapter 11, from memory.
    """
    if not 0 < share < 1:
        raise ValueError(f"the share selected lies between 0 and 1, not at {share:g}")
    return float(stats.norm.pdf(stats.norm.isf(share)) / share)


def intensity_of_best(best: int, count: int) -> float:
    """Intensity when the best few of a small number are kept: the mean of their normal order statistics.

    Error: ValueError unless 1 ≤ best ≤ count. Source: integral of the order statistics' density, textbook.
    """
    if not 1 <= best <= count:
        raise ValueError(f"of {count} between 1 and {count} are selected, not {best}")
    ranks = np.arange(count - best + 1, count + 1)

    def density(z: float) -> float:
        below = stats.norm.cdf(z)
        return float(z * stats.norm.pdf(z) * count * stats.binom.pmf(ranks - 1, count - 1, below).sum())

    found, _ = integrate.quad(density, -12.0, 12.0, limit=200, epsabs=1e-10, points=[0.0])
    return float(found / best)


def expected_gain(intensity: float, heritability: float, phenotypic_sd: float) -> float:
    """Gain R = i H² σ_p from selecting phenotypes, in the unit of the trait. Predictions (BLUP) are shrunk already:
    there the mean of the selected is the gain, and nothing is multiplied.

    Error: ValueError for a heritability outside 0 to 1 or a negative deviation. Source: the breeder's equation.
    """
    if not 0 <= heritability <= 1:
        raise ValueError(f"a heritability lies between 0 and 1, not at {heritability:g}")
    if not phenotypic_sd >= 0:
        raise ValueError(f"a standard deviation is not negative ({phenotypic_sd:g})")
    return intensity * heritability * phenotypic_sd


def type_b_correlation(clone_variance: float, clone_by_site_variance: float) -> float | None:
    """Correlation of one clone's effects at two sites, vc/(vc + vcs); None when both variances are zero.

    Error: ValueError for a negative variance. Source: Burdon 1977, Silvae Genetica 26, 168-175, from memory.
    """
    if not (clone_variance >= 0 and clone_by_site_variance >= 0):
        raise ValueError("variances are not negative")
    total = clone_variance + clone_by_site_variance
    return clone_variance / total if total > 0 else None


def smith_hazel(phenotypic: Floats, genetic: Floats, weights: Floats) -> SelectionIndex:
    """Index of phenotypes for a worth Σ weight × genetic value: b = P⁻¹ G a.

    phenotypic, genetic: covariances (traits × traits); weights: worth of one unit of each trait. Not for predictions
    (BLUP), whose index is Σ weight × prediction. Errors: ValueError for shapes that do not fit, numbers that are not
    finite, asymmetry, a phenotypic matrix that is not positive definite, weights without genetic variance in them.
    Sources: Smith 1936, Annals of Eugenics 7, 240-250; Hazel 1943, Genetics 28, 476-490.
    """
    count = len(weights)
    for name, matrix in (("phenotypic", phenotypic), ("genetic", genetic)):
        if matrix.shape != (count, count):
            raise ValueError(
                f"{count} weights need {name} covariances of {count} × {count}, not {matrix.shape}"
            )
        if not np.isfinite(matrix).all() or not np.allclose(matrix, matrix.T):
            raise ValueError(f"the {name} covariances are not symmetric numbers")
    if not np.isfinite(weights).all():
        raise ValueError("weights must be finite")
    deviations = np.sqrt(np.maximum(np.diag(phenotypic), 1e-300))
    if np.linalg.eigvalsh(phenotypic / np.outer(deviations, deviations))[0] <= 1e-12:
        raise ValueError("the phenotypic covariances are not positive definite: traits repeat each other")
    worth = float(weights @ genetic @ weights)
    if worth <= 0:
        raise ValueError("no genetic variance in what these weights ask for")
    b: Floats = np.asarray(np.linalg.solve(phenotypic, genetic @ weights), dtype=np.float64)
    sd = float(np.sqrt(b @ phenotypic @ b))
    return SelectionIndex(b, sd, sd / float(np.sqrt(worth)), genetic @ b / sd)

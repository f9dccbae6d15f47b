"""How well a design compares its clones: average efficiency factor, variances of differences, upper bounds.

The plot is the unit. With R the diagonal matrix of replications and C the information matrix of the clones
after the blocking factors are taken out, the canonical efficiency factors are the eigenvalues of
R^-1/2 C R^-1/2 without the one zero that belongs to the general mean. Their harmonic mean is the average
efficiency factor: 1 for complete blocks, less where clones are compared across blocks.

Sources: Kempthorne 1956 (Ann. Math. Statist. 27:846-849: the efficiency factor as the harmonic mean of those
roots); John and Williams 1995, Cyclic and Computer Generated Designs, chapter 2.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.sparse.csgraph import connected_components

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

ZERO = 1e-9  # an efficiency factor below this is 0: its contrast cannot be estimated


@dataclass(frozen=True)
class Efficiency:
    """Quality of a design for comparing clones. Variances are in units of the plot error variance.

    `average` is the harmonic mean of `canonical` (ascending), 0 for a design that is not connected;
    `groups` are the clones that can be compared with each other, one group when `connected`;
    `variances` is clone by clone, 0 on the diagonal, inf between clones of different groups; mean, min and
    max are over its pairs (NaN for a single clone). `upper_bound` is None where no bound was asked for.
    """

    average: float
    canonical: tuple[float, ...]
    connected: bool
    groups: tuple[tuple[str, ...], ...]
    variances: pd.DataFrame
    mean_variance: float
    min_variance: float
    max_variance: float
    upper_bound: float | None = None
    bound_source: str = ""


@dataclass(frozen=True)
class Bound:
    """An upper bound for the average efficiency factor and where it comes from."""

    value: float
    source: str


def information_matrix(clones: Sequence[Hashable], factors: Sequence[Sequence[Hashable]]) -> pd.DataFrame:
    """Information matrix C = X'(I - P)X of the clones, clone by clone in sorted order.

    One entry of `clones` and of every factor a plot; P projects on the columns of all `factors` (blocks, or
    rows and columns, or rows within blocks, ...) and the general mean. ValueError for factors of another
    length than the clones, for a missing value, or for no plots.
    """
    if not len(clones) or any(len(factor) != len(clones) for factor in factors):
        raise ValueError("a design needs plots, and each blocking factor one level a plot")
    codes, names = _coded(clones)
    plots = np.arange(len(codes))
    x = np.zeros((len(codes), len(names)))
    x[plots, codes] = 1.0
    z = np.ones((len(codes), 1))
    for factor in factors:
        levels, level_names = _coded(factor)
        indicator = np.zeros((len(codes), len(level_names)))
        indicator[plots, levels] = 1.0
        z = np.hstack([z, indicator])
    xz = x.T @ z
    c = x.T @ x - xz @ np.linalg.pinv(z.T @ z, hermitian=True, rcond=1e-10) @ xz.T
    return pd.DataFrame((c + c.T) / 2.0, index=names, columns=names)


def efficiency(
    clones: Sequence[Hashable],
    factors: Sequence[Sequence[Hashable]],
    *,
    exclude: Sequence[Hashable] = (),
    bound: Bound | None = None,
) -> Efficiency:
    """Efficiency of a design from the clone of each plot and the blocking factors (see information_matrix).

    Plots of the clones in `exclude` (guards) are left out before anything is counted.
    """
    if any(len(factor) != len(clones) for factor in factors):
        raise ValueError("each blocking factor needs one level a plot")
    left_out = set(exclude)
    kept = [i for i, clone in enumerate(clones) if clone not in left_out]
    clones = [clones[i] for i in kept]
    c = information_matrix(clones, [[factor[i] for i in kept] for factor in factors])
    matrix = c.to_numpy(dtype=np.float64)
    replication = pd.Series(clones).value_counts().reindex(c.index).to_numpy(dtype=np.float64)
    scale = 1.0 / np.sqrt(replication)
    roots = np.linalg.eigvalsh(matrix * np.outer(scale, scale))[1:]
    canonical = np.where(roots < ZERO, 0.0, np.where(roots > 1.0 - ZERO, 1.0, roots))
    groups = _groups(matrix)
    variances = _pair_variances(matrix, groups)
    pairs = variances[np.triu_indices(len(c), k=1)]
    names = [str(name) for name in c.index]
    return Efficiency(
        average=harmonic_mean(canonical),
        canonical=tuple(float(root) for root in canonical),
        connected=int(groups.max()) == 0,
        groups=tuple(
            tuple(name for name, g in zip(names, groups, strict=True) if g == group)
            for group in range(int(groups.max()) + 1)
        ),
        variances=pd.DataFrame(variances, index=names, columns=names),
        mean_variance=float(pairs.mean()) if len(pairs) else np.nan,
        min_variance=float(pairs.min()) if len(pairs) else np.nan,
        max_variance=float(pairs.max()) if len(pairs) else np.nan,
        upper_bound=None if bound is None else bound.value,
        bound_source="" if bound is None else bound.source,
    )


def harmonic_mean(roots: FloatArray) -> float:
    """Harmonic mean of efficiency factors; 0 where one of them is 0, NaN for none (a single clone)."""
    if not len(roots):
        return float("nan")
    if roots.min() < ZERO:
        return 0.0
    return float(len(roots) / (1.0 / roots).sum())


def balanced_bound(n_clones: int, block_size: int) -> float:
    """v(k - 1) / (k(v - 1)): no design with v clones in equal blocks of k < v is better; balanced incomplete
    blocks reach it. (John and Williams 1995; Raghavarao 1971.) 1 for complete blocks."""
    if block_size >= n_clones:
        return 1.0
    return n_clones * (block_size - 1) / (block_size * (n_clones - 1))


def patterson_williams_bound(n_clones: int, block_size: int, replicates: int) -> float:
    """(v - 1)(r - 1) / ((v - 1)(r - 1) + r(s - 1)) for s = v/k blocks a replicate: the bound of Patterson and
    Williams 1976, reached when every two blocks of different replicates share the same number of clones
    (square lattices for one)."""
    v, r, s = n_clones, replicates, n_clones // block_size
    return (v - 1) * (r - 1) / ((v - 1) * (r - 1) + r * (s - 1))


def resolvable_bound(n_clones: int, block_size: int, replicates: int) -> Bound:
    """Upper bound of the average efficiency factor of a resolvable incomplete block design.

    v = s k clones, s blocks of k plots in each of r replicates. The smallest of

    - patterson_williams_bound;
    - v(k - 1) / (k(v - 1)), the balanced bound;
    - both sharpened by the second moment of the roots: concurrences are whole numbers, so the roots cannot
      all be equal when their mean is not one (Jarrett 1977; Williams and Patterson 1985; derived here again).

    ValueError unless 2 <= k < v, k divides v and r >= 1. With one replicate nothing is compared within
    blocks across all clones: the bound is 0.
    """
    v, k, r = n_clones, block_size, replicates
    if not 2 <= k < v or v % k or r < 1:
        raise ValueError(f"{v} clones in blocks of {k}, {r} replicates: expected 2 <= k < v, k dividing v")
    s = v // k
    if r == 1:
        return Bound(0.0, "one replicate: clones of different blocks cannot be compared")
    spread = _fraction_spread(r * (k - 1) / (v - 1))
    by_clone = _bounded_mean(v - 1, balanced_bound(v, k), v * (v - 1) * spread / (r * k) ** 2)
    # Seen from the blocks: r(s - 1) roots with mean (r - 1)/r, all others 1.
    n = r * (s - 1)
    second = (r - 1) * s**2 * _fraction_spread(k / s) / (r * k**2)
    inverse_sum = n / _bounded_mean(n, (r - 1) / r, second)
    by_block = (v - 1) / (inverse_sum + (v - 1 - n))
    if by_block <= by_clone:
        return Bound(min(by_block, 1.0), "Patterson and Williams 1976; Williams and Patterson 1985")
    return Bound(min(by_clone, 1.0), "balanced bound with second moment (Jarrett 1977)")


def _fraction_spread(mean: float) -> float:
    """Least variance of whole numbers with this mean."""
    fraction = mean - np.floor(mean + 1e-12)
    return float(max(fraction, 0.0) * (1.0 - fraction))


def _bounded_mean(n: int, mean: float, squares: float) -> float:
    """Largest harmonic mean of n numbers with this mean and sum of squared deviations `squares`: n - 1 equal
    ones and one larger."""
    if n < 2 or squares <= 0.0:
        return mean
    step = np.sqrt(squares / (n * (n - 1)))
    return float(mean - (n - 1) * step**2 / (mean + (n - 2) * step))


def _coded(labels: Sequence[Hashable]) -> tuple[IntArray, list[Hashable]]:
    if any(label is None or label != label for label in labels):
        raise ValueError("a plot without its clone or block")
    names = sorted(set(labels), key=lambda name: (str(type(name)), name))
    places = {name: i for i, name in enumerate(names)}
    return np.array([places[label] for label in labels], dtype=np.int64), names


def _groups(matrix: FloatArray) -> IntArray:
    """Number of the group of comparable clones of each clone: clones in one component of C."""
    linked = np.abs(matrix) > ZERO
    return np.asarray(connected_components(linked, directed=False)[1], dtype=np.int64)


def _pair_variances(matrix: FloatArray, groups: IntArray) -> FloatArray:
    inverse = np.linalg.pinv(matrix, hermitian=True, rcond=ZERO)
    diagonal = np.diag(inverse)
    variances = diagonal[:, None] + diagonal[None, :] - 2.0 * inverse
    variances[groups[:, None] != groups[None, :]] = np.inf
    np.fill_diagonal(variances, 0.0)
    return np.asarray(variances, dtype=np.float64)

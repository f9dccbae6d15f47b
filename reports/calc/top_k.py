"""Which clones are among the best k, and how sure that is: drawn from all clones together, not one by one."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
DRAWS = 20_000
FEWEST_DRAWS = 1000
SEED = 20_250_101


def chance_of_top(
    blup: Floats,
    covariance: Floats,
    ks: Sequence[int],
    *,
    draws: int = DRAWS,
    seed: int = SEED,
    highest_is_best: bool = True,
) -> dict[int, Floats]:
    """Chance of each clone to be among the best k, for each k.

    blup: predictions (clones); covariance: of their prediction errors (clones × clones), in the square of the same
    unit. Draws from the joint normal distribution of the true effects given the data; a shift that all share cancels.
    The variance components are taken as known. Clones that cannot be told apart in a draw share its places. The
    chances of all clones add up to k. Errors: ValueError for shapes that do not fit, numbers that are not finite, k
    outside 1 to the number of clones, fewer than 1000 draws, a matrix that is no covariance.
    Source: simulation from the posterior, common practice, no published source.
    """
    count = len(blup)
    if covariance.shape != (count, count):
        raise ValueError(
            f"{count} predictions need a covariance of {count} × {count}, not {covariance.shape}"
        )
    if not (np.isfinite(blup).all() and np.isfinite(covariance).all()):
        raise ValueError("predictions and covariance must be finite")
    if draws < FEWEST_DRAWS:
        raise ValueError(f"at least {FEWEST_DRAWS} draws")
    wrong = [k for k in ks if not 1 <= k <= count]
    if wrong:
        raise ValueError(f"k lies between 1 and the number of clones ({count}), not at {wrong[0]}")
    if not np.any(covariance) and np.ptp(blup) == 0:
        return {k: np.full(count, k / count) for k in ks}
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    if values[0] < -1e-8 * max(values[-1], 1e-300):
        raise ValueError("the covariance of prediction errors has negative variances")
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    rng = np.random.default_rng(seed)
    counts = {k: np.zeros(count) for k in ks}
    done = 0
    while done < draws:  # in slices, so that many clones do not fill the memory
        size = min(draws - done, max(1, 4_000_000 // count))
        drawn = blup + rng.standard_normal((size, count)) @ root.T
        order = np.argsort(-drawn if highest_is_best else drawn, axis=1)
        for k in ks:
            counts[k] += np.bincount(order[:, :k].ravel(), minlength=count)
        done += size
    return {k: c / draws for k, c in counts.items()}

"""The answer of `manage.py rank`: a fitted model with its clones in order."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from reports.calc.mixed_results import MixedResult
from reports.calc.top_k import DRAWS, SEED, chance_of_top

TOPS = (1, 5, 10)


def ranking_answer(
    result: MixedResult,
    *,
    tops: Sequence[int] = TOPS,
    draws: int = DRAWS,
    seed: int = SEED,
    highest_is_best: bool = True,
) -> dict[str, Any]:
    """A result with its clones, best first, as plain values for JSON.

    A clone: clone, n (records), blup, se (of the prediction error), reliability (None where the variance is zero) and
    p_top by k; of `tops` those below the number of clones, or at it. No clones without a ranked term. Errors: as
    chance_of_top.
    """
    answer = result.to_dict()
    clones: list[dict[str, Any]] = []
    if result.ranked is not None and result.covariance is not None:
        found = result.effects[result.ranked]
        ks = [k for k in dict.fromkeys(tops) if k <= len(found.levels)]
        chances = chance_of_top(
            found.blup, result.covariance, ks, draws=draws, seed=seed, highest_is_best=highest_is_best
        )
        order = np.argsort(-found.blup if highest_is_best else found.blup, kind="stable")
        clones = [
            {
                "clone": found.levels[i],
                "n": int(found.n[i]),
                "blup": float(found.blup[i]),
                "se": float(found.se[i]),
                "reliability": None if np.isnan(found.reliability[i]) else float(found.reliability[i]),
                "p_top": {str(k): float(chances[k][i]) for k in ks},
            }
            for i in order
        ]
    return {**answer, "clones": clones}

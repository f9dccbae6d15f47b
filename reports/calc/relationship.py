"""How clones are related through their parents: full sibs of one hybrid family share half of what they inherit."""

from collections.abc import Sequence

import numpy as np
import pandas as pd


def relationship_from_parents(
    clones: Sequence[str], mothers: Sequence[str | None], fathers: Sequence[str | None]
) -> pd.DataFrame:
    """Additive relationships of clones (clones × clones, labelled), parents unrelated and not inbred.

    Two clones share a quarter for each pair of a common parent: full sibs 0.5, half sibs 0.25. Itself a clone has 1,
    and 1.5 if one tree is both its parents. An unknown parent (None) is related to nobody. Errors: ValueError for
    lists of different length, a clone named twice, a clone that is a parent too. Source: Henderson 1976, Biometrics
    32, 69-83, for one generation; from memory.
    """
    if not len(clones) == len(mothers) == len(fathers):
        raise ValueError(
            f"{len(clones)} clones, {len(mothers)} mothers, {len(fathers)} fathers: one of each a clone"
        )
    if len(set(clones)) < len(clones):
        twice = sorted({c for c in clones if list(clones).count(c) > 1})
        raise ValueError(f"clones named twice: {', '.join(twice[:5])}")
    parents = sorted({p for p in (*mothers, *fathers) if p is not None})
    both = sorted(set(clones) & set(parents))
    if both:
        raise ValueError(f"clones that are parents too: {', '.join(both[:5])}; only one generation is taken")
    place = {p: i for i, p in enumerate(parents)}
    share = np.zeros((len(clones), len(parents)))
    own = np.full(len(clones), 0.5)  # what chance adds in passing on
    for i, pair in enumerate(zip(mothers, fathers, strict=True)):
        for parent in pair:
            if parent is None:
                own[i] += 0.25
            else:
                share[i, place[parent]] += 0.5
    names = list(clones)
    return pd.DataFrame(share @ share.T + np.diag(own), index=names, columns=names)

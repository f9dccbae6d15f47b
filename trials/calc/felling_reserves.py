"""Reserves for trees to fell: which tree takes the place of one that turns out unfit in the stand."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.optimize import linear_sum_assignment

FloatArray = npt.NDArray[np.float64]

# What a reserve should share with its tree, most important first; a difference outweighs all that follow it.
_ALIKE = (("diameter_class", "another diameter class"), ("site", "another site"), ("block", "another block"))
_PENALTIES = (1000.0, 100.0, 10.0)
_NONE = 1e5  # price of having no reserve, above every real one


def name_reserves(
    usable: pd.DataFrame,
    chosen: pd.DataFrame,
    number: int,
    most_per_plot: int,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """`number` reserves for each chosen tree: columns tree, rank (1, 2, ...), reserve (None: there is none),
    differs (in words; empty for a reserve alike in class, site and block).

    A reserve is of the tree's clone, stands for one tree only, and keeps most_per_plot when it replaces its
    tree. Alike in diameter class goes before site before block before the nearest diameter; what is left of
    ties is drawn by `rng`. The reserves of one rank are the best together, not one after the other.
    """
    free = usable[~usable["tree"].isin(chosen["tree"])].reset_index(drop=True)
    rows: list[tuple[str, int, str | None, str]] = []
    for rank in range(1, number + 1):
        prices = _prices(free, chosen, most_per_plot, rng)
        dummies = np.full((len(chosen), len(chosen)), _NONE)
        which, place = linear_sum_assignment(np.hstack([prices, dummies]))
        used = []
        for i, j in zip(which.tolist(), place.tolist(), strict=True):
            tree = chosen.iloc[i]
            if j >= len(free):
                rows.append((tree["tree"], rank, None, "no free tree of the clone within the limits"))
                continue
            used.append(j)
            rows.append((tree["tree"], rank, free["tree"].iloc[j], _differs(tree, free.iloc[j])))
        free = free.drop(index=used).reset_index(drop=True)
    reserves = pd.DataFrame(rows, columns=["tree", "rank", "reserve", "differs"])
    order = {tree: i for i, tree in enumerate(chosen["tree"])}
    return reserves.sort_values(
        ["tree", "rank"], key=lambda c: c.map(order) if c.name == "tree" else c, ignore_index=True
    )


def _prices(
    free: pd.DataFrame, chosen: pd.DataFrame, most_per_plot: int, rng: np.random.Generator
) -> FloatArray:
    """Price of each free tree (columns) as the reserve of each chosen one (rows)."""
    dbh, free_dbh = chosen["dbh_mm"].to_numpy(), free["dbh_mm"].to_numpy()
    apart = np.abs(dbh[:, None] - free_dbh[None, :])
    prices = 9.0 * apart / (apart.max() + 1.0) if apart.size else apart
    prices = prices + rng.random(prices.shape) * 1e-6
    for (column, _), penalty in zip(_ALIKE, _PENALTIES, strict=True):
        prices = prices + penalty * _unlike(
            chosen, free, [column] if column != "block" else ["site", "block"]
        )
    prices[_unlike(chosen, free, ["clone"])] = 2 * _NONE
    felled = chosen.groupby(["site", "block", "plot"]).size()
    keys = pd.MultiIndex.from_frame(free[["site", "block", "plot"]])
    full = felled.reindex(keys, fill_value=0).to_numpy() >= most_per_plot
    prices[full[None, :] & _unlike(chosen, free, ["site", "block", "plot"])] = 2 * _NONE
    return np.asarray(prices, dtype=np.float64)


def _unlike(chosen: pd.DataFrame, free: pd.DataFrame, columns: list[str]) -> npt.NDArray[np.bool_]:
    unlike = np.zeros((len(chosen), len(free)), dtype=bool)
    for column in columns:
        unlike |= chosen[column].to_numpy()[:, None] != free[column].to_numpy()[None, :]
    return unlike


def _differs(tree: pd.Series[str], reserve: pd.Series[str]) -> str:
    return ", ".join(words for column, words in _ALIKE if tree[column] != reserve[column])

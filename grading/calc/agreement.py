"""How far two graders agree: the table of both, raw agreement, Cohen's kappa, weighted kappa, and an interval.

Kappa is 1 - sum(w p) / sum(w p_e), with w the weight of a disagreement, p the share of boards in a cell of the table,
and p_e what its row and column would give by chance (Cohen 1960; weighted: Cohen 1968). It depends on how common the
grades are, so the table and the raw agreement stand beside it; no word is put to its size. Boards of one tree are not
independent: the interval comes from drawing whole clusters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Weights = Literal["none", "linear", "quadratic"]

RESAMPLES: Final = 2000
SEED: Final = 20240501
FEWEST_DEFINED: Final = 0.9
"""No interval where kappa is defined in less than this share of the draws (own)."""


@dataclass(frozen=True, eq=False)
class Agreement:
    """Agreement of two graders. table (grades, grades): boards by the first grader's grade (row) and the second's.

    kappa is None where it is not defined: all boards in one grade, or none. interval95 is None where there are fewer
    than two clusters, or kappa was undefined too often among the draws.
    """

    grades: tuple[str, ...]
    table: Floats
    boards: int
    clusters: int
    raw: float | None
    kappa: float | None
    linear: float | None
    quadratic: float | None
    interval95: dict[str, tuple[float, float] | None]


def disagreement(count: int, weights: str) -> Floats:
    """Weights of disagreements of a number of ordered grades: 1 off the diagonal, |i - j| or (i - j)²."""
    steps: Floats = np.abs(np.arange(count)[:, None] - np.arange(count)[None, :]).astype(np.float64)
    if weights == "none":
        return np.minimum(steps, 1.0)
    if weights == "linear":
        return steps
    if weights == "quadratic":
        return np.square(steps)
    raise ValueError(f"unknown weights {weights!r}; none, linear or quadratic")


def kappa(table: npt.ArrayLike, weights: str | npt.ArrayLike = "none") -> float | None:
    """Kappa of a table of counts or shares (grades, grades); None where chance leaves nothing to disagree about.

    :param weights: named ones, or a table of disagreement weights with 0 on its diagonal.
    :raises ValueError: a table that is not square, or has negative or missing cells, or weights that do not fit it.
    """
    counts = np.asarray(table, dtype=np.float64)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or not np.all(counts >= 0):
        raise ValueError("a square table of counts from 0 up")
    weight = (
        disagreement(len(counts), weights) if isinstance(weights, str) else np.asarray(weights, np.float64)
    )
    if weight.shape != counts.shape or np.any(np.diag(weight) != 0) or not np.all(weight >= 0):
        raise ValueError("weights from 0 up for each cell, 0 on the diagonal")
    total = counts.sum()
    if total == 0:
        return None
    share = counts / total
    chance = float((weight * np.outer(share.sum(axis=1), share.sum(axis=0))).sum())
    return None if chance <= 1e-15 else 1.0 - float((weight * share).sum()) / chance


def agreement(
    first: Sequence[str],
    second: Sequence[str],
    grades: Sequence[str],
    clusters: Sequence[object] | None = None,
    resamples: int = RESAMPLES,
    seed: int = SEED,
) -> Agreement:
    """Agreement of two graders over the same boards, in the same order.

    :param grades: all grades, best first; the order is what weighted kappa goes by.
    :param clusters: the tree of each board; each board is its own where it is not given.
    :raises ValueError: different numbers of boards, a grade that is not on the list, a grade twice on it.
    """
    if len(set(grades)) != len(grades):
        raise ValueError("each grade once")
    place = {g: i for i, g in enumerate(grades)}
    unknown = sorted({str(g) for g in (*first, *second)} - set(place))
    if unknown:
        raise ValueError(f"not among the grades: {', '.join(unknown)}")
    owners = list(range(len(first))) if clusters is None else list(clusters)
    if not len(first) == len(second) == len(owners):
        raise ValueError("as many grades of the first as of the second grader, and as many clusters")
    number = {c: i for i, c in enumerate(dict.fromkeys(owners))}
    tables = np.zeros((len(number), len(grades), len(grades)))
    for a, b, owner in zip(first, second, owners, strict=True):
        tables[number[owner], place[a], place[b]] += 1
    table = tables.sum(axis=0)
    return Agreement(
        grades=tuple(grades),
        table=table,
        boards=len(first),
        clusters=len(number),
        raw=float(np.trace(table) / len(first)) if len(first) else None,
        kappa=kappa(table),
        linear=kappa(table, "linear"),
        quadratic=kappa(table, "quadratic"),
        interval95=_intervals(tables, resamples, seed),
    )


def _intervals(tables: Floats, resamples: int, seed: int) -> dict[str, tuple[float, float] | None]:
    """95 % percentile intervals of the three kappas from drawing whole clusters with replacement."""
    names: tuple[Weights, ...] = ("none", "linear", "quadratic")
    if len(tables) < 2 or resamples < 1:
        return dict.fromkeys(names)
    rng = np.random.default_rng(seed)
    drawn = rng.multinomial(len(tables), np.full(len(tables), 1 / len(tables)), size=resamples)
    many = np.tensordot(drawn.astype(np.float64), tables, axes=1)
    found: dict[str, tuple[float, float] | None] = {}
    for name in names:
        values = [v for v in (kappa(t, name) for t in many) if v is not None]
        enough = len(values) >= FEWEST_DEFINED * resamples
        found[name] = tuple(float(v) for v in np.percentile(values, (2.5, 97.5))) if enough else None  # type: ignore[assignment]
    return found


def mean_kappa(
    graded: Sequence[Sequence[str]], grades: Sequence[str], weights: Weights = "none"
) -> float | None:
    """Mean kappa over all pairs of graders who graded the same boards; None where no pair has one."""
    place = {g: i for i, g in enumerate(grades)}
    values = []
    for first, second in combinations(graded, 2):
        table = np.zeros((len(grades), len(grades)))
        for a, b in zip(first, second, strict=True):
            table[place[a], place[b]] += 1
        value = kappa(table, weights)
        if value is not None:
            values.append(value)
    return float(np.mean(values)) if values else None

"""Generating arrays of alpha designs (Patterson and Williams 1976, Biometrika 63:83-92).

v = s k clones, s incomplete blocks of k plots in each of r replicates. A generating array has r rows and k
columns of residues modulo s. Row j makes the blocks of replicate j: its entries, raised by 0, 1, ..., s - 1
modulo s, and s added c times to the entry of column c. Two clones meet in as many blocks as the difference of
their residues occurs among the differences of their two columns: at most once for an alpha(0,1), at most
twice for an alpha(0,1,2) design.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from trials.calc.efficiency import ZERO, IntArray


class DesignRefusedError(ValueError):
    """The numbers do not allow the design; the message says which and why."""


@dataclass(frozen=True)
class Found:
    """A generating array (r x k), its average efficiency factor, the most often any two clones meet, where
    the array came from, and how many arrays were tried."""

    array: IntArray
    average: float
    most_meetings: int
    origin: str
    tried: int


def blocks_of(array: IntArray, s: int) -> IntArray:
    """Clone numbers 0 ... s k - 1 of the plots, shape (r, s, k): replicate, incomplete block, plot."""
    k = array.shape[1]
    shifted = (array[:, None, :] + np.arange(s)[None, :, None]) % s
    return shifted + s * np.arange(k)[None, None, :]


def array_efficiency(array: IntArray, s: int) -> float:
    """Average efficiency factor of the alpha design of an r x k array; 0 when it is not connected.

    The information matrix is made of circulants, so that its roots follow from s - 1 small matrices of side
    r, one for each frequency (John and Williams 1995, chapter 4).
    """
    r, k = array.shape
    waves = np.exp(2j * np.pi / s * np.arange(1, s)[:, None, None] * array[None, :, :])
    losses = np.linalg.eigvalsh(waves @ waves.conj().transpose(0, 2, 1) / (r * k))
    roots = 1.0 - losses
    if roots.min() < ZERO:
        return 0.0
    inverse_sum = float((1.0 / roots).sum()) + (k - r) * (s - 1) + (k - 1)
    return float((s * k - 1) / inverse_sum)


def meeting_counts(array: IntArray, s: int) -> IntArray:
    """How often clones meet: for each pair of columns (in order) and each difference 0 ... s - 1, in how many
    blocks two clones of these columns with this difference of residues are together. Flat array."""
    first, second = np.triu_indices(array.shape[1], 1)
    differences = (array[:, first] - array[:, second]) % s + s * np.arange(len(first))[None, :]
    return np.bincount(differences.ravel(), minlength=s * len(first))


def published_array(r: int, k: int, s: int) -> tuple[IntArray, str] | None:
    """An alpha(0,1) array of the four published series, or of multiples, where its conditions hold.

    I: r = 2, k <= s. II: r = 3, s odd, k <= s. III: r = 3, s even, k < s. IV: r = 4, s odd and no multiple
    of 3, k <= s. With p the smallest prime factor of s, rows 0, 1, ..., r - 1 times the column number serve
    for every r <= p, k <= p: differences of multipliers and of columns are then no zero divisors (for s
    prime and k = s a square lattice).
    """
    column = np.arange(k)
    half = (s + 1) // 2 if s % 2 else s // 2
    rows = [0 * column, column, -column, half * column]
    if r == 2 and k <= s:
        return np.array(rows[:2]) % s, "series I"
    if r == 3 and s % 2 and k <= s:
        return np.array(rows[:3]) % s, "series II"
    if r == 3 and s % 2 == 0 and k < s:
        return np.array([*rows[:2], column // 2 + half * (column % 2)]) % s, "series III"
    if r == 4 and s % 2 and s % 3 and k <= s:
        return np.array(rows) % s, "series IV"
    smallest = next(p for p in range(2, s + 1) if s % p == 0)
    if max(r, k) <= smallest:
        return np.outer(np.arange(r), column) % s, "multiples modulo a prime"
    return None


def impossible(r: int, k: int, s: int, meetings: int) -> str | None:
    """Why no alpha design exists in which two clones meet at most `meetings` times (1 for alpha(0,1), 2 for
    alpha(0,1,2)); None when counting does not rule it out."""
    if meetings == 1 and k > s:
        return (
            f"with blocks of {k} plots and {s} blocks a replicate some two clones must meet twice; "
            f"expected block size <= blocks a replicate"
        )
    if r > meetings * s:
        return (
            f"with {r} replicates of {s} blocks some two clones must meet more than {meetings} times; "
            f"expected replicates <= {meetings * s}"
        )
    return None


def find_array(
    r: int,
    k: int,
    s: int,
    *,
    meetings: int,
    rng: np.random.Generator,
    steps: int = 4000,
    good_enough: float = 1.0,
) -> Found | None:
    """The best array found with at most `meetings` meetings of two clones, None when none was found.

    Starts from the published array where there is one, then from random ones; each is improved by
    exchanging single entries until no exchange helps (fewer meetings above the limit first, then a higher
    efficiency factor). Ends after about `steps` arrays, or at an efficiency factor of `good_enough` (an
    upper bound: nothing better exists). The same state of `rng` gives the same array.
    """
    tried = 0
    best: Found | None = None
    for start, origin in _starts(r, k, s, rng):
        array, score, used = _improved(start, s, meetings, rng, steps - tried)
        tried += used
        if score[0] == 0 and score[1] > 0 and (best is None or score[1] > best.average + 1e-12):
            changed = "" if np.array_equal(array, start) else ", improved by exchanges"
            most = int(meeting_counts(array, s).max())
            best = Found(array, score[1], most, origin + changed, tried)
        if tried >= steps or (best is not None and best.average >= good_enough - 1e-9):
            break
    return None if best is None else replace(best, tried=tried)


def _starts(r: int, k: int, s: int, rng: np.random.Generator) -> Iterator[tuple[IntArray, str]]:
    published = published_array(r, k, s)
    if published is not None:
        yield published
    while True:
        array = np.zeros((r, k), dtype=np.int64)
        array[1:, 1:] = rng.integers(0, s, (r - 1, k - 1))
        yield array, "random start"


def _score(
    array: IntArray, s: int, meetings: int, to_beat: tuple[int, float] | None = None
) -> tuple[int, float]:
    """Meetings above the limit (fewer is better), then the efficiency factor: not computed (-1) where there
    are more meetings than in `to_beat`."""
    excess = int(np.maximum(meeting_counts(array, s) - meetings, 0).sum())
    if to_beat is not None and excess > to_beat[0]:
        return excess, -1.0
    return excess, array_efficiency(array, s)


def _better(one: tuple[int, float], other: tuple[int, float]) -> bool:
    return one[0] < other[0] or (one[0] == other[0] and one[1] > other[1] + 1e-12)


def _improved(
    start: IntArray, s: int, meetings: int, rng: np.random.Generator, budget: int
) -> tuple[IntArray, tuple[int, float], int]:
    """Exchange entries of the array one by one until a whole round helps no more or the budget is used."""
    array = start.copy()
    score = _score(array, s, meetings)
    r, k = array.shape
    used, cells = 1, [(row, column) for row in range(1, r) for column in range(1, k)]
    helped = True
    while helped and used < budget:
        helped = False
        for place in rng.permutation(len(cells)):
            row, column = cells[int(place)]
            for value in range(s):
                before = array[row, column]
                if value == before:
                    continue
                array[row, column] = value
                used += 1
                candidate = _score(array, s, meetings, score)
                if _better(candidate, score):
                    score, helped = candidate, True
                else:
                    array[row, column] = before
    return array, score, used

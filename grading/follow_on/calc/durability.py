"""Durability: mass loss, x-values and classes of laboratory tests; lives of stakes with censoring."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
MEMORY = "value from memory, check against the licensed copy"
FOUND = "found"


@dataclass(frozen=True)
class ClassScheme:
    """Upper (or lower, for lives) bounds of classes 1, 2, ...; what is beyond the last is the last class."""

    title: str
    bounds: tuple[float, ...]
    criterion: str
    of_lives: bool
    origin: str


SCHEMES = {
    "en350_2016": ClassScheme("EN 350:2016", (5, 10, 15, 30), "median mass loss, %", False, MEMORY),
    "en350_1994": ClassScheme("EN 350-1:1994", (0.15, 0.30, 0.60, 0.90), "x of mass loss", False, MEMORY),
    "soil": ClassScheme("CEN/TS 15083-2", (0.10, 0.20, 0.45, 0.80), "x of mass loss", False, MEMORY),
    "stakes": ClassScheme("EN 252 stakes in EN 350:2016", (5, 3, 2, 1.2), "x of life", True, MEMORY),
    "as5604_in_ground": ClassScheme("AS 5604:2005 in ground", (25, 15, 5), "life, years", True, FOUND),
    "as5604_above": ClassScheme("AS 5604:2005 above ground", (40, 15, 7), "life, years", True, FOUND),
}


def mass_loss_pct(before_g: ArrayLike, after_g: ArrayLike) -> Array:
    """100 (m0 - m1) / m0 of oven-dry masses, same shapes; negative losses are kept, NaN stays NaN.

    ValueError for a mass before that is not above 0 or a mass after that is negative.
    """
    before, after = np.asarray(before_g, dtype=np.float64), np.asarray(after_g, dtype=np.float64)
    if (before <= 0).any():
        raise ValueError("expected masses above 0 g before the test")
    if (after < 0).any():
        raise ValueError("expected masses of at least 0 g after the test")
    return np.asarray(100 * (before - after) / before)


def median_of(values: ArrayLike) -> float | None:
    """Median without the missing values; None when nothing is left."""
    flat = np.asarray(values, dtype=np.float64).ravel()
    flat = flat[~np.isnan(flat)]
    return float(np.median(flat)) if flat.size else None


def worst_median(losses_by_fungus: Mapping[str, ArrayLike]) -> tuple[str, float] | None:
    """The fungus with the highest median mass loss (%), and that median; None without any value."""
    medians = {name: m for name, v in losses_by_fungus.items() if (m := median_of(v)) is not None}
    if not medians:
        return None
    worst = max(medians, key=lambda name: medians[name])
    return worst, medians[worst]


def x_value(test: float | None, reference: float | None) -> float | None:
    """Test over reference (medians of mass loss, or of lives); None without either or with a reference not above 0."""
    if test is None or reference is None or reference <= 0:
        return None
    return test / reference


def durability_class(scheme: str, value: float, *, sapwood: bool = False) -> int:
    """Class (1 is best) of a median loss, x or life, by one of SCHEMES; classes are for heartwood.

    Sapwood is the last class whatever was measured (EN 350:2016 summary, found). A loss on a bound has the better
    class, a life on a bound the worse. KeyError for an unknown scheme, ValueError for a value that is not finite.
    """
    rule = SCHEMES[scheme]
    if not np.isfinite(value):
        raise ValueError(f"expected a finite {rule.criterion}, found {value}")
    if sapwood:
        return len(rule.bounds) + 1
    for number, bound in enumerate(rule.bounds, start=1):
        if value > bound if rule.of_lives else value <= bound:
            return number
    return len(rule.bounds) + 1


@dataclass(frozen=True)
class Survival:
    """Kaplan-Meier steps: times of failures, at risk, failed, share surviving; median None: not reached."""

    times: tuple[float, ...]
    at_risk: tuple[int, ...]
    failed: tuple[int, ...]
    surviving: tuple[float, ...]
    n: int
    last_time: float
    median: float | None
    words: str

    def at(self, time: float) -> float | None:
        """Share surviving at `time`; None after the last observation unless all have failed by then."""
        if time > self.last_time and (not self.surviving or self.surviving[-1] > 0):
            return None
        before = int(np.searchsorted(self.times, time, side="right"))
        return self.surviving[before - 1] if before else 1.0


def kaplan_meier(times: Sequence[float], failed: Sequence[bool]) -> Survival:
    """S(t) = product of (1 - d_i / n_i); those alive at the end or lost are right censored, failed False.

    Times in any unit, from installation. The median is the smallest t with S(t) <= 0.5. ValueError for no stakes,
    unequal lengths, or times that are missing, infinite or negative (a failure before installation).
    """
    time, event = np.asarray(times, dtype=np.float64), np.asarray(failed, dtype=bool)
    if time.ndim != 1 or time.size == 0 or time.shape != event.shape:
        raise ValueError("expected one time and one fate for each stake, of at least one stake")
    if not np.isfinite(time).all() or (time < 0).any():
        raise ValueError("expected times from installation, finite and not negative")
    steps = np.unique(time[event])
    risk = [int((time >= t).sum()) for t in steps]
    fallen = [int((time[event] == t).sum()) for t in steps]
    share, surviving = 1.0, []
    for n_i, d_i in zip(risk, fallen, strict=True):
        share *= (n_i - d_i) / n_i
        surviving.append(share)
    last = float(time.max())
    median = next((float(t) for t, s in zip(steps, surviving, strict=True) if s <= 0.5 + 1e-12), None)
    words = "" if median is not None else f"median not reached (> {last:g})"
    return Survival(
        tuple(steps.tolist()),
        tuple(risk),
        tuple(fallen),
        tuple(surviving),
        int(time.size),
        last,
        median,
        words,
    )

"""Bow, spring, twist and cup: how the deviation of a board depends on the length or width it is measured over.

Sagitta of an arc (computed). Evenly curved boards: s2 = s1 (L2/L1)^2; twist grows with the length. A local kink
follows neither, so measure over the full length and convert only with the formula shown. Limits of standards are
data with their mark; here they inform and decide nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

REFERENCE_M: Final = 2.0  # warp is stated over 2 m
KINDS: Final = ("bow", "spring", "twist", "cup")
PER_WIDTH_MM: Final = 25.0  # twist is limited per so much width
MOST_PART: Final = 1 / 20  # a deviation above a twentieth of the length was misread (own)


def radius_mm(length_mm: float, deviation_mm: float) -> float:
    """Radius of the arc whose middle lies `deviation_mm` off the straight line of `length_mm`; inf when straight.

    Raises ValueError for a length that is not above 0, a negative deviation or one above half the length.
    """
    if not length_mm > 0 or not 0 <= deviation_mm <= length_mm / 2:
        raise ValueError("a length above 0 and a deviation from 0 to half of it")
    if deviation_mm == 0:
        return math.inf
    half = length_mm / 2
    return (half * half + deviation_mm * deviation_mm) / (2 * deviation_mm)


def sagitta_mm(length_mm: float, radius: float) -> float:
    """Deviation in the middle of an arc of this radius (mm) over a straight length (mm)."""
    if not 0 < length_mm <= 2 * radius:
        raise ValueError("a length above 0 and at most twice the radius")
    if math.isinf(radius):
        return 0.0
    half = length_mm / 2
    # r - sqrt(r^2 - h^2) loses its digits for a flat arc; this is the same.
    return half * half / (radius + math.sqrt(radius * radius - half * half))


def over_length_mm(kind: str, deviation_mm: float, measured_m: float, wanted_m: float = REFERENCE_M) -> float:
    """Bow, spring (square of the length) or twist (length) in mm as it would be over another length in m.

    Raises ValueError for another kind, a negative deviation or a length that is not above 0.
    """
    if kind not in ("bow", "spring", "twist"):
        raise ValueError(f"{kind} does not depend on the length")
    if deviation_mm < 0 or not (measured_m > 0 and wanted_m > 0):
        raise ValueError("a deviation from 0 mm up over a length above 0 m")
    return deviation_mm * (wanted_m / measured_m) ** (1 if kind == "twist" else 2)


def cup_over_width_mm(cup_mm: float, width_mm: float, wanted_mm: float) -> float:
    """Cup (mm) measured over a width (mm) as it would be over another one: with the square of the width."""
    if cup_mm < 0 or not (width_mm > 0 and wanted_mm > 0):
        raise ValueError("a cup from 0 mm up over widths above 0 mm")
    return cup_mm * (wanted_mm / width_mm) ** 2


@dataclass(frozen=True)
class WarpLimit:
    """The most bow, spring (mm over 2 m) and twist (mm over 2 m per 25 mm width) a rule lets pass."""

    rule: str
    bow_mm: float
    spring_mm: float
    twist_mm: float
    origin: str


LIMITS: Final = (
    WarpLimit("EN 14081-1, classes up to C18", 20.0, 12.0, 2.0, "from memory"),
    WarpLimit("EN 14081-1, classes above C18", 10.0, 8.0, 1.0, "from memory"),
)


@dataclass(frozen=True)
class Warp:
    """One deviation of one board: what was measured, and the same over 2 m (None for cup)."""

    kind: str
    measured_mm: float
    over_m: float | None
    on_2_m_mm: float | None
    beyond: tuple[str, ...]
    concerns: tuple[str, ...]


def judge(kind: str, deviation_mm: float, over_m: float | None, width_mm: float) -> Warp:
    """A deviation (mm) over a stated length (m; for cup over the width in mm), beside the limits, for information.

    `beyond` names the rules it would be beyond. Never raises for odd values: `concerns` says what is odd.
    """
    if kind not in KINDS:
        raise ValueError(f"unknown kind {kind!r}; one of {', '.join(KINDS)}")
    concerns = _concerns(kind, deviation_mm, over_m, width_mm)
    if kind == "cup" or concerns or over_m is None:
        return Warp(kind, deviation_mm, over_m, None, (), tuple(concerns))
    on_2_m = over_length_mm(kind, deviation_mm, over_m)
    beyond = tuple(limit.rule for limit in LIMITS if on_2_m > _limit_mm(limit, kind, width_mm) + 1e-9)
    return Warp(kind, deviation_mm, over_m, on_2_m, beyond, ())


def _limit_mm(limit: WarpLimit, kind: str, width_mm: float) -> float:
    if kind == "twist":
        return limit.twist_mm * width_mm / PER_WIDTH_MM
    return limit.bow_mm if kind == "bow" else limit.spring_mm


def _concerns(kind: str, deviation_mm: float, over_m: float | None, width_mm: float) -> list[str]:
    if not deviation_mm >= 0:
        return ["A deviation is 0 mm or more."]
    if kind == "cup":
        if deviation_mm > width_mm / 4:
            return [f"A cup of {deviation_mm:g} mm on {width_mm:g} mm of width: look again."]
        return []
    if over_m is None or not over_m > 0:
        return ["The length it was measured over is missing: without it the value says little."]
    if deviation_mm > 1000 * over_m * MOST_PART:
        return [f"{deviation_mm:g} mm over {over_m:g} m is above a twentieth of the length: look again."]
    return []


def swapped(bow_mm: float, spring_mm: float, thickness_mm: float, width_mm: float) -> bool:
    """Whether bow and spring of one board look swapped: the stiff way bent much more than the weak way.

    A board bends more easily over its thickness (bow) than over its width (spring); spring above twice the bow in a
    board more than twice as wide as thick, and above 10 mm, is asked about (own).
    """
    return width_mm > 2 * thickness_mm and spring_mm > 10 and spring_mm > 2 * bow_mm

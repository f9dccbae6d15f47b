"""The log volume formulae, one entry each: what is computed, how it is written beside a figure, where it
comes from.

List of formulae: Briggs 1994, Forest Products Measurements and Conversion Factors, chapter 2, table 2-1.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sawing.calc import log_geometry as geometry
from sawing.calc.frames import FloatArray

BRIGGS = "Briggs 1994, Forest Products Measurements and Conversion Factors, ch. 2, table 2-1"


@dataclass(frozen=True)
class FormulaInfo:
    """What stands beside a volume: name, title, the formula as text, the solid it is exact for, source,
    origin mark."""

    name: str
    title: str
    text: str
    exact_for: str
    source: str
    origin: str


@dataclass(frozen=True)
class LogMeasures:
    """Under-bark measures of n logs, arrays of shape (n,): diameters in mm, lengths in m, NaN where not
    measured.

    `small_least_mm` is the smaller of the small-end readings; `sections` holds, per log, its diameters in mm
    at even spacing from the butt, or None.
    """

    small_mm: FloatArray
    large_mm: FloatArray
    mid_mm: FloatArray
    centroid_mm: FloatArray
    small_least_mm: FloatArray
    length_m: FloatArray
    sections: tuple[FloatArray | None, ...]


Compute = Callable[[LogMeasures], FloatArray]


@dataclass(frozen=True)
class Formula:
    """A registry entry: what is said about the formula, the columns it cannot do without, the computing
    itself."""

    info: FormulaInfo
    needs: tuple[str, ...]
    compute: Compute
    also_called: tuple[str, ...] = ()


def smalian(m: LogMeasures) -> FloatArray:
    """Mean of the end areas times length, m3."""
    return (geometry.section_area_m2(m.small_mm) + geometry.section_area_m2(m.large_mm)) / 2.0 * m.length_m


def huber(m: LogMeasures) -> FloatArray:
    """Mid area times length, m3."""
    return geometry.section_area_m2(m.mid_mm) * m.length_m


def newton(m: LogMeasures) -> FloatArray:
    """Ends once, middle four times, m3."""
    small, large = geometry.section_area_m2(m.small_mm), geometry.section_area_m2(m.large_mm)
    return (small + 4.0 * geometry.section_area_m2(m.mid_mm) + large) * m.length_m / 6.0


def cone_frustum(m: LogMeasures) -> FloatArray:
    """One cone frustum between the two ends, m3."""
    return geometry.cone_frustum_m3(m.large_mm, m.small_mm, m.length_m)


def mean_diameter(m: LogMeasures) -> FloatArray:
    """Cylinder of the mean of the end diameters, m3."""
    return geometry.section_area_m2((m.small_mm + m.large_mm) / 2.0) * m.length_m


def bruce_butt(m: LogMeasures) -> FloatArray:
    """Three quarters of the small, one quarter of the large end area times length, m3."""
    small, large = geometry.section_area_m2(m.small_mm), geometry.section_area_m2(m.large_mm)
    return (0.75 * small + 0.25 * large) * m.length_m


def small_end_cylinder(m: LogMeasures) -> FloatArray:
    """Cylinder of the small end, m3."""
    return geometry.section_area_m2(m.small_mm) * m.length_m


def centroid(m: LogMeasures) -> FloatArray:
    """Integral of the quadratic area profile through both ends and one inner section, m3.

    The inner section is the one at the centroid position; where it was not measured, the mid section, which
    makes the integral Newton's formula.
    """
    length = m.length_m
    position = geometry.centroid_position_m(m.small_mm, m.large_mm, length)
    use_mid = np.isnan(m.centroid_mm)
    e = np.where(use_mid, length / 2.0, position)
    inner = geometry.section_area_m2(np.where(use_mid, m.mid_mm, m.centroid_mm))
    small, large = geometry.section_area_m2(m.small_mm), geometry.section_area_m2(m.large_mm)
    b2 = (large - inner * length / e - small * (1.0 - length / e)) / (length * length - length * e)
    b1 = (large - small - b2 * length * length) / length
    result: FloatArray = small * length + b1 * length**2 / 2.0 + b2 * length**3 / 3.0
    return result


def sections(m: LogMeasures) -> FloatArray:
    """Sum of cone frusta between consecutive diameters, m3; without a list of sections: large end, mid if
    any, small end."""
    half = m.length_m / 2.0
    by_mid = geometry.cone_frustum_m3(m.large_mm, m.mid_mm, half) + geometry.cone_frustum_m3(
        m.mid_mm, m.small_mm, half
    )
    result = np.where(np.isnan(m.mid_mm), cone_frustum(m), by_mid)
    for position, diameters in enumerate(m.sections):
        if diameters is not None:
            step = np.full(len(diameters) - 1, m.length_m[position] / (len(diameters) - 1))
            result[position] = geometry.cone_frustum_m3(diameters[:-1], diameters[1:], step).sum()
    return result


def jas_scaling_diameter_cm(least_small_end_mm: FloatArray) -> FloatArray:
    """Scaling diameter in cm: rounded down to 1 cm below 14 cm, to an even cm from 14 cm."""
    # The nudge keeps an exact 14.0 that a bark factor turned into 13.999999999999998 in its class.
    d_cm = least_small_end_mm / 10.0 + 1e-9
    return np.where(d_cm < 14.0, np.floor(d_cm), 2.0 * np.floor(d_cm / 2.0))


def jas_unrounded(least_small_end_mm: FloatArray, length_m: FloatArray) -> FloatArray:
    """Volume in m3 by the JAS square-block rule before its rounding to three decimals; two branches, split
    at 6 m."""
    d_cm = jas_scaling_diameter_cm(least_small_end_mm)
    widened = np.where(length_m < 6.0, d_cm, d_cm + (np.floor(length_m + 1e-9) - 4.0) / 2.0)
    return widened * widened * length_m / 1e4


def jas(m: LogMeasures) -> FloatArray:
    """JAS volume in m3 to three decimals, halves upward. No allowance for oval ends (its published wording
    is unclear)."""
    return np.floor(jas_unrounded(m.small_least_mm, m.length_m) * 1000.0 + 0.5 + 1e-9) / 1000.0


def nz_three_dimensional(m: LogMeasures) -> FloatArray:
    """New Zealand three-dimensional formula, m3; coefficients from memory. Mean-diameter cylinder where SED
    >= LED."""
    small, large = m.small_mm / 10.0, m.large_mm / 10.0
    tapers = large > small
    taper = np.where(tapers, (large - small) / m.length_m, 1.0)
    shape = np.exp(1.944157 * np.log(m.length_m) + 0.029931 * small + 0.884711 * np.log(taper) - 0.038675)
    volume = (shape + 0.078540 * small * small * m.length_m) / 1000.0
    return np.where(tapers, volume, mean_diameter(m))


ENDS = ("sed1_mm", "led1_mm", "length_m")

REGISTRY: dict[str, Formula] = {
    entry.info.name: entry
    for entry in (
        Formula(
            FormulaInfo(
                "smalian", "Smalian", "V = (A_small + A_large) / 2 · L", "paraboloid", BRIGGS, "found",
            ),
            ENDS, smalian,
        ),
        Formula(
            FormulaInfo("huber", "Huber", "V = A_mid · L", "paraboloid, cylinder", BRIGGS, "found"),
            ("mid1_mm", "length_m"), huber, ("mid",),
        ),
        Formula(
            FormulaInfo(
                "newton", "Newton", "V = (A_small + 4 A_mid + A_large) · L / 6",
                "cylinder, cone, paraboloid, neiloid", BRIGGS, "found",
            ),
            (*ENDS, "mid1_mm"), newton, ("prismoidal",),
        ),
        Formula(
            FormulaInfo(
                "centroid", "Centroid",
                "V = As·L + b1·L²/2 + b2·L³/3, the quadratic area profile through small end, centroid "
                "section and large end; centroid at e = L (√((As² + Al²)/2) − As) / (Al − As) from the "
                "small end (mid section where no centroid diameter was measured)",
                "cone, paraboloid",
                "centroid sampling, Wood, Wiant and others (reference from memory); derived",
                "computed",
            ),
            ENDS, centroid, ("centroid sampling",),
        ),
        Formula(
            FormulaInfo(
                "cone_frustum", "Cone frustum", "V = π/12 · (D_large² + D_large·D_small + D_small²) · L",
                "cone", BRIGGS, "found",
            ),
            ENDS, cone_frustum, ("cone", "frustum", "conic", "two-end conic"),
        ),
        Formula(
            FormulaInfo(
                "sections", "Sum of sections",
                "V = Σ π/12 · (D1² + D1·D2 + D2²) · step, cone frusta between consecutive diameters",
                "any log measured closely enough", BRIGGS, "found",
            ),
            ENDS, sections, ("section", "cone sections"),
        ),
        Formula(
            FormulaInfo(
                "jas", "JAS scaling",
                "V = D²·L / 10⁴ below 6 m, V = (D + (L′ − 4)/2)²·L / 10⁴ from 6 m; "
                "D smallest small-end diameter rounded down to 1 cm (even cm from 14 cm), "
                "L′ whole metres; three decimals",
                "square block (a trade scale, not a volume)",
                "rule as printed on two public scaling pages; check against the licensed standard", "found",
            ),
            ("sed1_mm", "length_m"), jas, ("japanese", "japanese agricultural standard"),
        ),
        Formula(
            FormulaInfo(
                "mean_diameter", "Mean-diameter cylinder", "V = π/4 · ((D_small + D_large)/2)² · L",
                "cylinder", BRIGGS, "found",
            ),
            ENDS, mean_diameter, ("mean", "subneiloid", "mean diameter cylinder"),
        ),
        Formula(
            FormulaInfo(
                "bruce_butt", "Bruce butt log", "V = (0.75 A_small + 0.25 A_large) · L",
                "flared butt logs (empirical)", BRIGGS + ", with the stray /2 of the archived page removed",
                "found",
            ),
            ENDS, bruce_butt, ("bruce", "bruce butt log"),
        ),
        Formula(
            FormulaInfo(
                "small_end_cylinder", "Small-end cylinder", "V = A_small · L", "cylinder",
                "definition", "computed",
            ),
            ("sed1_mm", "length_m"), small_end_cylinder, ("small end",),
        ),
        Formula(
            FormulaInfo(
                "nz_three_dimensional", "New Zealand three-dimensional (coefficients from memory)",
                "V = (exp(1.944157 ln L + 0.029931 d + 0.884711 ln((D − d)/L) − 0.038675) "
                "+ 0.07854 d² L) / 1000, D, d in cm; mean-diameter cylinder where D ≤ d",
                "—", "Ellis 1982; coefficients from memory, check against the licensed copy", "from memory",
            ),
            ENDS, nz_three_dimensional, ("nz 3d", "three dimensional", "3d"),
        ),
    )
}  # fmt: skip


def _key(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


_BY_KEY = {
    _key(word): entry
    for entry in REGISTRY.values()
    for word in (entry.info.name, entry.info.title, *entry.also_called)
}


def find_formula(text: str) -> Formula:
    """The registry entry a person means by `text`: any case, spaces or hyphens, usual short forms.

    Raises ValueError, listing the names, when nothing is meant by it.
    """
    entry = _BY_KEY.get(_key(text))
    if entry is None:
        raise ValueError(f"unknown log volume formula {text!r}; expected one of: {', '.join(REGISTRY)}")
    return entry


def formula_named(text: str) -> FormulaInfo:
    """What is known about the formula called `text`; ValueError listing the names when there is none."""
    return find_formula(text).info


def formulae() -> list[FormulaInfo]:
    """Every formula there is, in the order in which they are offered."""
    return [entry.info for entry in REGISTRY.values()]

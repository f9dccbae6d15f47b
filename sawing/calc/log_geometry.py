"""Sizes and shape of a log: end diameters, section areas, taper, ovality, heartwood, bark.

Diameters in mm, lengths in m, areas in m2. Every function takes single numbers or arrays of one shape and
answers in kind; NaN in gives NaN out. Definitions: circle and ellipse geometry; a bark ratio that is constant
along the log.
"""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
import numpy.typing as npt

Value = TypeVar("Value", float, npt.NDArray[np.float64])


def end_diameter_mm(reading1_mm: Value, reading2_mm: Value) -> Value:
    """Diameter of an end from two readings at right angles: their geometric mean, because pi/4 d1 d2 is an
    ellipse's area."""
    result: Value = (reading1_mm * reading2_mm) ** 0.5
    return result


def section_area_m2(diameter_mm: Value) -> Value:
    """Area of a round section in m2 from its diameter in mm."""
    metres = diameter_mm / 1000.0
    return metres * metres * (math.pi / 4.0)


def cone_frustum_m3(diameter1_mm: Value, diameter2_mm: Value, length_m: Value) -> Value:
    """Volume of a cone frustum in m3: pi/12 (d1^2 + d1 d2 + d2^2) L."""
    first, second = diameter1_mm / 1000.0, diameter2_mm / 1000.0
    return (first * first + first * second + second * second) * length_m * (math.pi / 12.0)


def centroid_position_m(small_mm: Value, large_mm: Value, length_m: Value) -> Value:
    """Distance in m from the small end to the section that halves the volume of a paraboloid with these two
    ends.

    e = L (sqrt((As^2 + Al^2)/2) - As) / (Al - As), written without the difference so that a cylinder gives
    L/2. Source: centroid sampling (Wood, Wiant and others; reference from memory), formula derived from the
    paraboloid.
    """
    small, large = section_area_m2(small_mm), section_area_m2(large_mm)
    root: Value = ((small * small + large * large) / 2.0) ** 0.5
    return length_m * ((small + large) / 2.0) / (root + small)


def taper_mm_per_m(large_mm: Value, small_mm: Value, length_m: Value) -> Value:
    """Taper: loss of diameter per metre of length, mm/m; negative when the small end is the larger."""
    return (large_mm - small_mm) / length_m


def ovality(reading1_mm: float, reading2_mm: float) -> float:
    """Smaller over larger of two readings at right angles: 1 is round."""
    return min(reading1_mm, reading2_mm) / max(reading1_mm, reading2_mm)


def sweep_fraction(max_deviation_mm: Value, small_mm: Value) -> Value:
    """Largest deviation of the axis from a straight line, as a fraction of the small-end diameter."""
    return max_deviation_mm / small_mm


def heartwood_area_share(heart_mm: Value, diameter_mm: Value) -> Value:
    """Share of a section's area that is heartwood: (dh/d)^2."""
    return (heart_mm / diameter_mm) * (heart_mm / diameter_mm)


def heartwood_volume_share(
    heart_small_mm: Value, heart_large_mm: Value, small_mm: Value, large_mm: Value
) -> Value:
    """Share of a log's volume that is heartwood: frustum of the heart over frustum of the log.

    The mean of the two area shares is not the same thing and is not used.
    """
    length = small_mm * 0.0 + 1.0
    return cone_frustum_m3(heart_small_mm, heart_large_mm, length) / cone_frustum_m3(
        small_mm, large_mm, length
    )


def bark_thickness_mm(over_bark_mm: Value, under_bark_mm: Value) -> Value:
    """Single bark thickness in mm from the diameters over and under bark."""
    return (over_bark_mm - under_bark_mm) / 2.0


def bark_volume_factor(bark_factor: Value) -> Value:
    """Under-bark over over-bark volume for k = dub/dob that is the same along the log: k^2."""
    return bark_factor * bark_factor

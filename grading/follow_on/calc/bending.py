"""Bending tests: strength and stiffness, to reference moisture and depth by a named rule.

Forces in N, lengths in mm, stresses and moduli in MPa; slopes in N/mm of the gauge's deflection.
"""

from __future__ import annotations

import math

LOCAL_ORIGIN = "value from memory, check against the licensed copy"


def _above_nought(**sizes: float) -> None:
    for name, value in sizes.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"expected {name} above 0, found {value:g}")


def strength_four_point(force_n: float, a_mm: float, width_mm: float, depth_mm: float) -> float:
    """3 F a / (b h^2), MPa; F total load, a support to load (EN 408, found). ValueError for sizes not above 0."""
    _above_nought(force_n=force_n, a_mm=a_mm, width_mm=width_mm, depth_mm=depth_mm)
    return 3 * force_n * a_mm / (width_mm * depth_mm**2)


def moe_global(
    slope_n_per_mm: float,
    span_mm: float,
    a_mm: float,
    width_mm: float,
    depth_mm: float,
    shear_mpa: float = math.inf,
) -> float:
    """Four-point MOE over the span, MPa (EN 408, found); shear_mpa infinite: shear ignored.

    ValueError for sizes not above 0, loads beyond mid-span, or a shear modulus too low for the slope.
    """
    _above_nought(slope=slope_n_per_mm, span_mm=span_mm, a_mm=a_mm, width_mm=width_mm, depth_mm=depth_mm)
    if 2 * a_mm > span_mm:
        raise ValueError(f"expected loads within half the span, found a = {a_mm:g} of {span_mm:g} mm")
    if not shear_mpa > 0:
        raise ValueError(f"expected shear_mpa above 0, found {shear_mpa:g}")
    bending = 2 / slope_n_per_mm - 6 * a_mm / (5 * shear_mpa * width_mm * depth_mm)
    if bending <= 0:
        raise ValueError("the shear alone would bend the piece further than it bent")
    return (3 * a_mm * span_mm**2 - 4 * a_mm**3) / (2 * width_mm * depth_mm**3 * bending)


def moe_local(slope_n_per_mm: float, a_mm: float, gauge_mm: float, width_mm: float, depth_mm: float) -> float:
    """a l1^2 / (16 I) times the slope, MPa (EN 408; LOCAL_ORIGIN). ValueError for sizes not above 0."""
    _above_nought(slope=slope_n_per_mm, a_mm=a_mm, gauge_mm=gauge_mm, width_mm=width_mm, depth_mm=depth_mm)
    return a_mm * gauge_mm**2 * slope_n_per_mm / (16 * width_mm * depth_mm**3 / 12)


def small_clear(
    force_n: float, slope_n_per_mm: float, span_mm: float, width_mm: float, depth_mm: float
) -> tuple[float, float]:
    """(MOR, MOE) in MPa of a centre load (ISO 13061-3/-4, from memory). ValueError for sizes not above 0."""
    _above_nought(
        force_n=force_n, slope=slope_n_per_mm, span_mm=span_mm, width_mm=width_mm, depth_mm=depth_mm
    )
    mor = 3 * force_n * span_mm / (2 * width_mm * depth_mm**2)
    return mor, slope_n_per_mm * span_mm**3 / (4 * width_mm * depth_mm**3)


def moe_at_12_en384(moe: float, mc_pct: float) -> float | None:
    """E (1 + 0.01 (u - 12)), above 18 % as at 18 % (EN 384:2016, found); None below 8 % or without moisture."""
    if math.isnan(mc_pct) or mc_pct < 8:
        return None
    return moe * (1 + 0.01 * (min(mc_pct, 18.0) - 12))


def at_12_iso13061(value: float, mc_pct: float, *, strength: bool) -> float | None:
    """4 % (strength) or 2 % (MOE) per 1 % of moisture (ISO 13061, from memory); None without moisture."""
    if math.isnan(mc_pct):
        return None
    return value * (1 + (0.04 if strength else 0.02) * (mc_pct - 12))

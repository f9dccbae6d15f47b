"""Density at a moisture content, shrinkage, and the size a green board should have when dry.

Wood Handbook (FPL-GTR-282) eqs 4-7 and 4-9 (found, via a code transcription): shrinkage runs linearly from fibre
saturation to oven dry. Boards' width and thickness: Green 1989, FPL-RP-489 (found), "most species", 8-19 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
import numpy.typing as npt

from sawing.calc.frames import FloatArray
from sawing.calc.moisture import FSP_PCT

CELL_WALL_DENSITY: Final = 1.54  # g/cm3, Wood Handbook (from memory)
VOLUMETRIC_PER_GRAVITY: Final = 26.5  # % per unit of basic specific gravity, Wood Handbook (from memory)
DENSITY_KG_M3: Final = (250.0, 900.0)  # beyond these a mass or a size was misread (own)
UNEXPECTED_PCT: Final = 3.0  # percent points of shrinkage beside the expected one (own)


def shrinkage_pct(total_pct: npt.ArrayLike, mc_pct: npt.ArrayLike, fsp_pct: float = FSP_PCT) -> FloatArray:
    """Shrinkage in % of the green size at a moisture content (%), S0 (1 - M/FSP) below fibre saturation, else 0.

    `total_pct` is the shrinkage from green to oven dry, linear or volumetric. Raises ValueError for a negative
    moisture content or a total outside 0 to 50 %.
    """
    total, mc = np.broadcast_arrays(np.asarray(total_pct, float), np.asarray(mc_pct, float))
    if np.any(mc < 0) or np.any((total < 0) | (total > 50)):
        raise ValueError("moisture content from 0 % up and a total shrinkage of 0 to 50 %")
    return np.asarray(total * np.clip(1.0 - mc / fsp_pct, 0.0, None))


def density_kg_m3(
    basic_kg_m3: npt.ArrayLike, mc_pct: npt.ArrayLike, volumetric_pct: npt.ArrayLike, fsp_pct: float = FSP_PCT
) -> FloatArray:
    """Density in kg/m3 (mass and volume at M) from basic density, moisture content and total volumetric shrinkage."""
    shrunk = shrinkage_pct(volumetric_pct, mc_pct, fsp_pct)
    return np.asarray(
        np.asarray(basic_kg_m3, float) * (1 + np.asarray(mc_pct, float) / 100) / (1 - shrunk / 100)
    )


def basic_density_kg_m3(
    density: npt.ArrayLike, mc_pct: npt.ArrayLike, volumetric_pct: npt.ArrayLike, fsp_pct: float = FSP_PCT
) -> FloatArray:
    """Basic density (oven-dry mass on green volume, kg/m3) from the density in kg/m3 at a moisture content (%)."""
    shrunk = shrinkage_pct(volumetric_pct, mc_pct, fsp_pct)
    return np.asarray(np.asarray(density, float) * (1 - shrunk / 100) / (1 + np.asarray(mc_pct, float) / 100))


def general_volumetric_pct(basic_kg_m3: npt.ArrayLike) -> FloatArray:
    """The handbook's general estimate of total volumetric shrinkage (%) where nobody measured it (from memory)."""
    return np.asarray(VOLUMETRIC_PER_GRAVITY * np.asarray(basic_kg_m3, float) / 1000.0)


def most_moisture_pct(basic_kg_m3: npt.ArrayLike) -> FloatArray:
    """Moisture content (%) with every cavity full of water; more was misread. Formula from memory."""
    gravity = np.asarray(basic_kg_m3, float) / 1000.0
    return np.asarray(100.0 * (CELL_WALL_DENSITY - gravity) / (CELL_WALL_DENSITY * gravity))


class Shrinks(Protocol):
    """What tells the shrinkage of a board's width and thickness in % of green at a moisture content in %."""

    @property
    def name(self) -> str: ...

    def width_pct(self, mc_pct: npt.ArrayLike) -> FloatArray: ...

    def thickness_pct(self, mc_pct: npt.ArrayLike) -> FloatArray: ...


@dataclass(frozen=True)
class MostSpecies:
    """Green 1989, FPL-RP-489: Sw = 6.031 - 0.215 M, St = 5.062 - 0.181 M; never below 0.

    A default. Low-shrinkage species need their own coefficients (the paper says so), hybrids measured ones.
    """

    name: str = "most species (Green 1989), not these hybrids"

    def width_pct(self, mc_pct: npt.ArrayLike) -> FloatArray:
        """Shrinkage of the width in % of green at moisture contents in %."""
        return np.asarray(np.clip(6.031 - 0.215 * np.asarray(mc_pct, float), 0.0, None))

    def thickness_pct(self, mc_pct: npt.ArrayLike) -> FloatArray:
        """Shrinkage of the thickness in % of green at moisture contents in %."""
        return np.asarray(np.clip(5.062 - 0.181 * np.asarray(mc_pct, float), 0.0, None))


@dataclass(frozen=True)
class Measured:
    """Total shrinkage (green to oven dry, %) of width and thickness, measured; linear from fibre saturation."""

    total_width_pct: float
    total_thickness_pct: float
    fsp_pct: float = FSP_PCT
    name: str = "measured"

    def width_pct(self, mc_pct: npt.ArrayLike) -> FloatArray:
        """Shrinkage of the width in % of green at moisture contents in %."""
        return shrinkage_pct(self.total_width_pct, mc_pct, self.fsp_pct)

    def thickness_pct(self, mc_pct: npt.ArrayLike) -> FloatArray:
        """Shrinkage of the thickness in % of green at moisture contents in %."""
        return shrinkage_pct(self.total_thickness_pct, mc_pct, self.fsp_pct)


def size_at(size_mm: npt.ArrayLike, shrunk_pct: npt.ArrayLike, will_be_pct: npt.ArrayLike) -> FloatArray:
    """A size (mm) measured when so much was shrunk (%), at the time when so much will be: d (1 - S2) / (1 - S1)."""
    before, after = np.asarray(shrunk_pct, float), np.asarray(will_be_pct, float)
    return np.asarray(np.asarray(size_mm, float) * (1 - after / 100) / (1 - before / 100))


@dataclass(frozen=True)
class DrySize:
    """A board's dry size beside the expected one: mm, shrinkage in % of green, and what is odd in sentences."""

    green_mm: float
    dry_mm: float
    expected_mm: float
    shrunk_pct: float
    expected_pct: float
    concern: str


def compare_dry_size(green_mm: float, dry_mm: float, expected_pct: float, what: str) -> DrySize:
    """A measured dry width or thickness against the shrinkage expected at its moisture content.

    Raises ValueError for sizes that are not above 0.
    """
    if not (green_mm > 0 and dry_mm > 0):
        raise ValueError("sizes are above 0 mm")
    shrunk = 100.0 * (green_mm - dry_mm) / green_mm
    concern = ""
    if dry_mm > green_mm:
        concern = f"The dry {what} is above the green one: measured at another place, or swapped."
    elif shrunk > expected_pct + UNEXPECTED_PCT:
        concern = f"The {what} shrank {shrunk:.1f} %, {expected_pct:.1f} % expected: dressed, or misread?"
    elif shrunk < expected_pct - UNEXPECTED_PCT:
        concern = f"The {what} shrank {shrunk:.1f} %, {expected_pct:.1f} % expected: still wet inside?"
    return DrySize(
        green_mm, dry_mm, green_mm * (1 - expected_pct / 100), shrunk, float(expected_pct), concern
    )


def density_concern(density: float) -> str:
    """A sentence when a density in kg/m3 cannot well be, empty otherwise."""
    low, high = DENSITY_KG_M3
    if low <= density <= high:
        return ""
    return f"{density:.0f} kg/m³ is outside {low:.0f} to {high:.0f}: look at mass and size."

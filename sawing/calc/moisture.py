"""Moisture content of wood: oven-dry samples, meter readings and what makes one from the other.

Moisture content is on the oven-dry mass everywhere (EN 13183-1, ISO 13061-1, ASTM D4442; definition universal, from
memory): green conifers exceed 100 %.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from sawing.calc.frames import FloatArray

FSP_PCT: Final = 30.0  # fibre saturation as the Wood Handbook takes it (found)
CONSTANT_MASS_PCT_PER_2H: Final = 0.1  # EN 13183-1, from memory
LEAST_MC_PCT, MOST_MC_PCT = 3.0, 250.0  # beyond these a value was misread (own)
METER_LOW_PCT: Final = (
    7.0  # pin meters are useful from here to fibre saturation (found, an instrument manual)
)
METER_CALIBRATED_C: Final = 20.0
METER_SHIFT_PCT_PER_C: Final = 0.1  # 0.5 % for each 5 °C (found, the same manual; a rule of thumb)
CALIBRATION_PAIRS: Final = 30  # common practice
WET_BASIS_NEAR_PCT: Final = 0.15
LEAST_FSP_PCT: Final = 25.0  # "> 20" is not "above fibre saturation"
ABOVE_WORDS = re.compile(r"(?:>|≥|above|over)\s*(?:fsp|fibre saturation|(\d+)\s*%?)|fsp|ol", re.IGNORECASE)


def oven_dry_mc_pct(wet_g: npt.ArrayLike, dry_g: npt.ArrayLike) -> FloatArray:
    """Moisture content in %, 100 (wet - dry) / dry, of masses in g before and after drying at 103 ± 2 °C.

    Any one shape; NaN where a mass is missing. Raises ValueError for a mass that is not above 0 or a dry mass
    above the wet one.
    """
    wet, dry = np.broadcast_arrays(np.asarray(wet_g, float), np.asarray(dry_g, float))
    if np.any((wet <= 0) | (dry <= 0)):
        raise ValueError("masses are above 0 g")
    if np.any(dry > wet):
        raise ValueError("a sample does not gain mass in the oven: dry mass above wet mass")
    return np.asarray(100.0 * (wet - dry) / dry)


def wet_basis_pct(mc_pct: npt.ArrayLike) -> FloatArray:
    """The share of water in the wet mass (%), which is not the moisture content, from moisture content (%)."""
    mc = np.asarray(mc_pct, float)
    return np.asarray(100.0 * mc / (100.0 + mc))


def looks_wet_basis(stated_pct: float, wet_g: float, dry_g: float) -> bool:
    """Whether a stated figure (%) is the wet-basis one of these masses (g): the classic mistake."""
    mc = float(oven_dry_mc_pct(wet_g, dry_g))
    wet = float(wet_basis_pct(mc))
    return abs(stated_pct - wet) <= WET_BASIS_NEAR_PCT < abs(stated_pct - mc)


def is_constant_mass(earlier_g: float, later_g: float, hours: float = 2.0) -> bool:
    """Whether a sample is oven dry: two weighings (g) so many hours apart lose less than 0.1 % in 2 h.

    A gain counts like a loss. Raises ValueError for masses or hours that are not above 0, and for weighings less
    than 2 h apart, which say little.
    """
    if min(earlier_g, later_g) <= 0 or hours < 2.0:
        raise ValueError("two masses above 0 g, weighed at least 2 h apart")
    change_pct = 100.0 * abs(earlier_g - later_g) / later_g
    return change_pct * 2.0 / hours < CONSTANT_MASS_PCT_PER_2H


def sample_concerns(wet_g: float, dry_g: float, stated_pct: float | None = None) -> list[str]:
    """What is odd about an oven-dry sample, in sentences; empty when nothing is."""
    if not (wet_g > 0 and dry_g > 0):
        return ["A mass is missing or not above 0 g."]
    if dry_g > wet_g:
        return ["The dry mass is above the wet mass: were they swapped?"]
    mc = float(oven_dry_mc_pct(wet_g, dry_g))
    found = []
    if not LEAST_MC_PCT <= mc <= MOST_MC_PCT:
        found.append(f"{mc:.1f} % is outside {LEAST_MC_PCT:.0f} to {MOST_MC_PCT:.0f} %: look at the masses.")
    if stated_pct is not None and looks_wet_basis(stated_pct, wet_g, dry_g):
        found.append(f"{stated_pct:.1f} % is on the wet mass; on the dry mass it is {mc:.1f} %.")
    elif stated_pct is not None and abs(stated_pct - mc) > 0.5:
        found.append(f"{stated_pct:.1f} % is stated, but the masses give {mc:.1f} %.")
    return found


@dataclass(frozen=True)
class MeterConstants:
    """Constants of a pin meter's correction (form from memory, Garrahan; no values are verified, so none are here).

    MC = ((R + t0 - t1 T + t2 T^2) / (a0 a1^T) - b_species) / a_species, T in °C, R and MC in %.
    """

    t0: float
    t1: float
    t2: float
    a0: float
    a1: float
    a_species: float
    b_species: float

    def corrected_pct(self, reading_pct: npt.ArrayLike, temperature_c: npt.ArrayLike) -> FloatArray:
        """Moisture content (%) of readings (%) taken in wood of a temperature (°C), which is not left out."""
        r, t = np.broadcast_arrays(np.asarray(reading_pct, float), np.asarray(temperature_c, float))
        lifted = (r + self.t0 - self.t1 * t + self.t2 * t**2) / (self.a0 * self.a1**t)
        return np.asarray((lifted - self.b_species) / self.a_species)


def at_20_c_pct(reading_pct: npt.ArrayLike, temperature_c: npt.ArrayLike) -> FloatArray:
    """A meter's readings (%) as they would be at 20 °C: less 0.1 % per °C above, more below (rule of thumb).

    Where the wood's temperature is missing the reading stays as it is.
    """
    r, t = np.broadcast_arrays(np.asarray(reading_pct, float), np.asarray(temperature_c, float))
    shift = METER_SHIFT_PCT_PER_C * (t - METER_CALIBRATED_C)
    return np.asarray(r - np.where(np.isnan(shift), 0.0, shift))


@dataclass(frozen=True)
class Calibration:
    """Oven-dry moisture = intercept + slope x reading (%), of one hybrid with one meter and setting."""

    slope: float
    intercept_pct: float
    slope_se: float
    residual_sd_pct: float
    r2: float
    n: int
    lowest_pct: float
    highest_pct: float

    @property
    def enough(self) -> bool:
        """Whether it rests on the 30 pairs that common practice asks for."""
        return self.n >= CALIBRATION_PAIRS

    def corrected_pct(self, reading_pct: npt.ArrayLike) -> FloatArray:
        """Moisture content (%) of readings (%)."""
        return np.asarray(self.intercept_pct + self.slope * np.asarray(reading_pct, float))


def fit_calibration(reading_pct: npt.ArrayLike, oven_dry_pct: npt.ArrayLike) -> Calibration:
    """Least-squares line of oven-dry moisture (%) on meter reading (%), arrays of one length.

    Pairs with a missing value are passed over. Raises ValueError for fewer than three pairs, readings all alike, or
    a line that falls: more moisture, less reading, cannot be.
    """
    x, y = np.asarray(reading_pct, float), np.asarray(oven_dry_pct, float)
    both = np.isfinite(x) & np.isfinite(y)
    x, y = x[both], y[both]
    if len(x) < 3:
        raise ValueError("a calibration needs at least three pairs of reading and oven-dry sample")
    sxx = float(np.sum((x - x.mean()) ** 2))
    if sxx <= 1e-12:
        raise ValueError("the readings are all alike: nothing to calibrate on")
    slope = float(np.sum((x - x.mean()) * (y - y.mean()))) / sxx
    if slope <= 0:
        raise ValueError("oven-dry moisture does not rise with the reading: look for swapped columns")
    intercept = float(y.mean()) - slope * float(x.mean())
    rss = float(np.sum((y - intercept - slope * x) ** 2))
    total = float(np.sum((y - y.mean()) ** 2))
    sd = float(np.sqrt(rss / (len(x) - 2)))
    return Calibration(
        slope, intercept, sd / sxx**0.5, sd, 1.0 - rss / total, len(x), float(x.min()), float(x.max())
    )


@dataclass(frozen=True)
class Meter:
    """A meter reading read and corrected: a moisture content in %, or only that it is above fibre saturation."""

    mc_pct: float | None
    above_fsp: bool
    note: str = ""


def read_meter(
    text: str,
    temperature_c: float | None = None,
    constants: MeterConstants | None = None,
    fsp_pct: float = FSP_PCT,
) -> Meter:
    """A meter's reading as it was written down ("17.5", "17,5", "> 30", "> FSP"), corrected for temperature.

    With constants of the meter and species their form is used, which needs the temperature; without, the rule of
    thumb. From fibre saturation up the meter says no more than that, and no number is kept. Raises ValueError for
    what is neither a number nor a note of being above, and for readings that cannot be.
    """
    plain = text.strip()
    above = ABOVE_WORDS.fullmatch(plain)
    if above and (above[1] is None or float(above[1]) >= LEAST_FSP_PCT):
        return Meter(None, True)
    try:
        reading = float(plain.replace(",", "."))
    except ValueError:
        raise ValueError(f"{plain!r}: a number in %, or “> FSP” where the meter ran over") from None
    if not 0 < reading <= MOST_MC_PCT:
        raise ValueError(f"{plain}: readings lie above 0 and up to {MOST_MC_PCT:.0f} %")
    if constants is not None:
        if temperature_c is None:
            raise ValueError("the constants of this meter need the temperature of the wood")
        value = float(constants.corrected_pct(reading, temperature_c))
    else:
        value = float(at_20_c_pct(reading, np.nan if temperature_c is None else temperature_c))
    if value >= fsp_pct:
        return Meter(None, True)
    if value < LEAST_MC_PCT:
        raise ValueError(f"{plain}: {value:.1f} % after correction; wood in a stack does not get that dry")
    note = f"Below {METER_LOW_PCT:.0f} % a pin meter says little." if value < METER_LOW_PCT else ""
    return Meter(round(value, 2), False, note)


def all_alike(values_pct: npt.ArrayLike) -> bool:
    """Whether four or more readings (%) are one and the same number: a meter that hangs, or a copied column."""
    values = np.asarray(values_pct, float)
    values = values[np.isfinite(values)]
    return len(values) >= 4 and bool(np.all(values == values[0]))

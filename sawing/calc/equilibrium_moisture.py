"""Equilibrium moisture content of wood in air, and the seasons of a drying yard.

Hailwood-Horrobin equation as in the Wood Handbook (FPL-GTR-282, eq. 4-5), metric coefficients after Simpson 1998,
FPL-RN-0268 (both found). Simpson 1973 (found): average error 0.13 % MC, at most 0.9 % MC against the source table.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import optimize

from sawing.calc.frames import FloatArray

MONTHS: Final = 12
COLDEST_C, WARMEST_C = -30.0, 110.0  # beyond these a temperature was misread
FITTED_C: Final = (-1.0, 71.0)  # where the coefficients were fitted (found)
FITTED_RH_PCT: Final = (5.0, 95.0)


def emc_pct(temperature_c: npt.ArrayLike, rh_pct: npt.ArrayLike) -> FloatArray:
    """Equilibrium moisture content in % at temperatures in °C and relative humidities in %; any one shape.

    NaN for a missing value. Raises ValueError for a humidity outside 0 to 100 % or a temperature outside -30
    to 110 °C. `is_fitted` tells where the equation was fitted; outside it extrapolates.
    """
    t, rh = np.broadcast_arrays(np.asarray(temperature_c, float), np.asarray(rh_pct, float))
    if np.any((rh < 0) | (rh > 100)):
        raise ValueError("relative humidity lies between 0 and 100 %")
    if np.any((t < COLDEST_C) | (t > WARMEST_C)):
        raise ValueError(f"temperatures lie between {COLDEST_C:.0f} and {WARMEST_C:.0f} °C")
    h = rh / 100.0
    w = 349.0 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 0.00000273 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    kh = k * h
    bound = (k1 * kh + 2.0 * k1 * k2 * kh**2) / (1.0 + k1 * kh + k1 * k2 * kh**2)
    return np.asarray(1800.0 / w * (kh / (1.0 - kh) + bound))


def is_fitted(temperature_c: npt.ArrayLike, rh_pct: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Whether temperatures (°C) and humidities (%) lie where the equation was fitted."""
    t, rh = np.broadcast_arrays(np.asarray(temperature_c, float), np.asarray(rh_pct, float))
    inside = (t >= FITTED_C[0]) & (t <= FITTED_C[1])
    return np.asarray(inside & (rh >= FITTED_RH_PCT[0]) & (rh <= FITTED_RH_PCT[1]))


def rh_holding_pct(moisture_pct: float, temperature_c: float) -> float:
    """Relative humidity in % that holds wood at a moisture content (%) at a temperature (°C): the inverse.

    Raises ValueError when no humidity from 0 to 100 % does.
    """
    most = float(emc_pct(temperature_c, 100.0))
    if not 0.0 <= moisture_pct <= most:
        raise ValueError(
            f"no humidity holds {moisture_pct:g} % at {temperature_c:g} °C; at most {most:.1f} %"
        )
    return float(
        optimize.brentq(lambda rh: float(emc_pct(temperature_c, rh)) - moisture_pct, 0.0, 100.0, xtol=1e-10)
    )


@dataclass(frozen=True)
class YardClimate:
    """Monthly means of a place, January first: air temperature in °C and relative humidity in %.

    Raises ValueError unless there are twelve of each, all within what `emc_pct` takes.
    """

    temperature_c: tuple[float, ...]
    rh_pct: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.temperature_c) != MONTHS or len(self.rh_pct) != MONTHS:
            raise ValueError("a climate has twelve temperatures and twelve humidities, January first")
        if not np.all(np.isfinite(emc_pct(self.temperature_c, self.rh_pct))):
            raise ValueError("each month needs a temperature and a humidity")

    @property
    def emc_pct(self) -> tuple[float, ...]:
        """Equilibrium of each month's mean air in %. Days and nights differ; wood under cover evens them out."""
        return tuple(float(value) for value in emc_pct(self.temperature_c, self.rh_pct))

    @property
    def fitted(self) -> tuple[bool, ...]:
        """For each month, whether the equation was fitted there; frost extrapolates."""
        return tuple(bool(value) for value in is_fitted(self.temperature_c, self.rh_pct))


@dataclass(frozen=True)
class EquilibriumLine:
    """Equilibrium over the days after a start, in steps: values[j] % from edges_d[j] until edges_d[j + 1].

    edges_d begins at 0 and rises; the last value holds for good.
    """

    edges_d: FloatArray
    values_pct: FloatArray

    def at(self, days: npt.ArrayLike) -> FloatArray:
        """The equilibrium in % at days after the start; before the start that of the start."""
        place = np.searchsorted(self.edges_d, np.asarray(days, float), side="right") - 1
        return np.asarray(self.values_pct[np.clip(place, 0, None)])


def fixed_line(value_pct: float) -> EquilibriumLine:
    """The same equilibrium (%) at all times."""
    if not 0.0 <= value_pct <= 35.0:
        raise ValueError("an equilibrium lies between 0 and 35 %")
    return EquilibriumLine(np.array([0.0]), np.array([float(value_pct)]))


def seasonal_line(climate: YardClimate, start: dt.date, years: int = 4) -> EquilibriumLine:
    """The equilibrium of a climate month by month, from a date on for so many years."""
    edges, values = [0.0], [climate.emc_pct[start.month - 1]]
    year, month = start.year, start.month
    for _ in range(MONTHS * years):
        year, month = (year + 1, 1) if month == MONTHS else (year, month + 1)
        edges.append(float((dt.date(year, month, 1) - start).days))
        values.append(climate.emc_pct[month - 1])
    return EquilibriumLine(np.array(edges), np.array(values))

"""Shape and heartwood of logs, and their volume by every formula beside the one to prefer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sawing.calc import log_geometry as geometry
from sawing.calc.frames import FloatArray, numbers, texts
from sawing.calc.log_formulae import FormulaInfo, formulae
from sawing.calc.log_volume import log_measures, log_volumes

PREFERENCE = "sections, then Newton or centroid, then the cone frustum, then Smalian"


def log_shapes(logs: pd.DataFrame, bark_factor: float | None = None) -> pd.DataFrame:
    """Shape of each log, aligned to the rows of `logs` (columns of a logs file); NaN where not measured.

    Columns: taper_mm_per_m; sweep_share (of the small end's diameter), sweep_mm_per_m; ovality_small, ovality_large
    (smaller over larger reading, 1 is round); heart_share_small, heart_share_large (of the end's area),
    heart_share_volume (frustum of the heart over frustum of the log, not the mean of the two).
    Diameters under bark: those over bark are multiplied by `bark_factor`; without one the row's taper, share of sweep
    and heartwood shares are NaN. Definitions: sawing.calc.log_geometry.
    """
    measures, _ = log_measures(logs, bark_factor)
    unknown = (texts(logs, "bark").to_numpy() == "over") & (bark_factor is None)
    small, large = (np.where(unknown, np.nan, d) for d in (measures.small_mm, measures.large_mm))
    length, sweep = measures.length_m, numbers(logs, "sweep_mm")
    heart_small, heart_large = numbers(logs, "heart_sed_mm"), numbers(logs, "heart_led_mm")
    with np.errstate(invalid="ignore", divide="ignore"):
        return pd.DataFrame(
            {
                "taper_mm_per_m": geometry.taper_mm_per_m(large, small, length),
                "sweep_share": geometry.sweep_fraction(sweep, small),
                "sweep_mm_per_m": sweep / length,
                "ovality_small": _ovality(logs, "sed"),
                "ovality_large": _ovality(logs, "led"),
                "heart_share_small": geometry.heartwood_area_share(heart_small, small),
                "heart_share_large": geometry.heartwood_area_share(heart_large, large),
                "heart_share_volume": geometry.heartwood_volume_share(heart_small, heart_large, small, large),
            },
            index=logs.index,
        )


def _ovality(logs: pd.DataFrame, end: str) -> FloatArray:
    first, second = numbers(logs, f"{end}1_mm"), numbers(logs, f"{end}2_mm")
    result: FloatArray = np.minimum(first, second) / np.maximum(first, second)
    return result


@dataclass(frozen=True)
class Compared:
    """A log's volume by one formula (m3; NaN where it cannot be computed, with the reason), and how far it lies from
    the preferred one (share of it, signed)."""

    info: FormulaInfo
    volume_m3: float
    reason: str
    difference: float
    preferred: bool

    @property
    def percent(self) -> float:
        """The difference in %."""
        return 100 * self.difference


def preferred_formula(log: pd.DataFrame) -> str:
    """The formula to prefer for a log (a frame of one row): sections > centroid, Newton > cone frustum > Smalian.

    Each where its measures are there; two ends are always enough for the cone frustum, so Smalian comes last for its
    own sake only. Source of the order: what each formula is exact for (Briggs 1994, found), and that a flared butt
    measured at its two ends comes out 11 to 14 % too large (computed).
    """
    sections = texts(log, "sections_mm").iloc[0]
    if sections is not None and str(sections).strip():
        return "sections"
    if not np.isnan(numbers(log, "centroid_mm")[0]):
        return "centroid"
    if not np.isnan([numbers(log, "mid1_mm")[0], numbers(log, "mid2_mm")[0]]).all():
        return "newton"
    return "cone_frustum"


def volumes_compared(log: pd.DataFrame, bark_factor: float | None = None) -> list[Compared]:
    """The volume of one log (a frame of one row) by every formula, with its difference from the preferred one."""
    best = preferred_formula(log)
    by_name = {info.name: log_volumes(log, info.name, bark_factor) for info in formulae()}
    reference = float(by_name[best].volume_m3.iloc[0])
    found = []
    for info in formulae():
        volume = float(by_name[info.name].volume_m3.iloc[0])
        reason = "; ".join(f"{p.column}: expected {p.expected}" for p in by_name[info.name].problems)
        found.append(Compared(info, volume, reason, volume / reference - 1, info.name == best))
    return found

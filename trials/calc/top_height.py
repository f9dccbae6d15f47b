"""Top height: the height of the 100 fattest stems of a hectare, and which of two readings of that was taken.

New Zealand practice (Zhao, Mason, Brown 2006, NZ J. For. 51(1):23-27, found): the height-diameter curve, read
at the quadratic mean diameter of the 100 fattest stems a hectare (the reading at the mean top diameter: from
memory). The other definition in use is the mean of the measured heights of those stems; the two differ (Mason
2019, NZ J. For. 64(2):32-36, found), so the method always stands beside the figure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from trials.calc.height_curves import HeightCurve
from trials.calc.tree_frames import as_floats

TOP_STEMS_PER_HA = 100.0

TopMethod = Literal["curve at top diameter", "mean of measured heights"]


@dataclass(frozen=True)
class TopHeight:
    """Top height in m (NaN when it cannot be known), mean top diameter in mm, the number of stems it stands
    on, how many of them were measured for height, its method in words, and notes."""

    height_m: float
    mean_top_dbh_mm: float
    stems: int
    stems_measured: int
    method: str
    notes: tuple[str, ...] = ()


def top_height(
    dbh_mm: npt.ArrayLike,
    height_m: npt.ArrayLike,
    area_ha: float,
    curve: HeightCurve | None = None,
    method: TopMethod | None = None,
) -> TopHeight:
    """Top height of the live stems on an area.

    `dbh_mm` and `height_m`: arrays of the same length, one live stem each, NaN where not measured. The
    fattest round(100 x area) stems are taken, at least 1. On an area below 0.02 ha, which holds fewer than 2
    such stems, the result is called "dominant height, k stems". Without a `method`, the curve is read when
    there is one. ValueError for the curve method without a curve.
    """
    if method is None:
        method = "mean of measured heights" if curve is None else "curve at top diameter"
    if method == "curve at top diameter" and curve is None:
        raise ValueError("top height from the curve: expected a height-diameter curve")
    dbh, height = as_floats(dbh_mm), as_floats(height_m)
    # Among stems of equal diameter the taller ones come first, whatever the order of the rows.
    order = np.lexsort((np.nan_to_num(-height, nan=np.inf), np.nan_to_num(-dbh, nan=np.inf)))
    order = order[~np.isnan(dbh[order])]
    if not area_ha > 0 or not len(order):
        return TopHeight(math.nan, math.nan, 0, 0, method)
    share = TOP_STEMS_PER_HA * area_ha
    wanted = max(1, math.floor(share + 0.5 + 1e-9))
    top = order[:wanted]
    mean_top_dbh = float(np.sqrt(np.mean(dbh[top] ** 2)))
    measured = height[top][~np.isnan(height[top])]
    if method == "curve at top diameter" and curve is not None:
        value = float(curve.height_m(mean_top_dbh))
        notes = _curve_notes(curve, mean_top_dbh)
    else:
        value = float(measured.mean()) if len(measured) else math.nan
        lacking = len(top) - len(measured)
        notes = [f"top stems without a measured height: {lacking} of {len(top)}"] if lacking else []
    if len(top) < wanted:
        notes.append(f"fewer live stems with a diameter ({len(top)}) than top stems asked for ({wanted})")
    stems = f"{len(top)} stem{'' if len(top) == 1 else 's'}"
    named = f"dominant height, {stems} ({method})" if share < 2.0 - 1e-9 else method
    return TopHeight(value, mean_top_dbh, len(top), len(measured), named, tuple(notes))


def _curve_notes(curve: HeightCurve, dbh_mm: float) -> list[str]:
    notes = []
    if curve.is_borrowed:
        notes.append(f"height curve borrowed from {curve.fitted_on}")
    if bool(curve.is_outside_range(dbh_mm)):
        notes.append("mean top diameter outside the diameters of the height curve")
    return notes

"""How evenly a lot is dried: mean, spread and shares of its boards' moisture contents.

EN 14298 states a target, the lot's mean and the spread between pieces (scope found); its numbers here are from memory:
check them against the licensed copy. "Shipping dry": at least 97 % of the pieces at or below 24 % (found, a Finnish
timber information page).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

WITHIN: Final = (0.7, 1.3)  # of the target, for each piece (EN 14298, from memory)
SHARE_WITHIN: Final = 0.935
MEAN_WITHIN_PCT: Final = ((7.0, 9.0, 1.0), (10.0, 12.0, 1.5), (13.0, 15.0, 2.0), (16.0, 18.0, 2.5))
SHIPPING_PCT: Final = 24.0
SHIPPING_SHARE: Final = 0.97
FEW_BOARDS: Final = 10  # below this a share of boards says little (own)


@dataclass(frozen=True)
class Spread:
    """Moisture contents (%) of a lot's boards, one each; shares 0 to 1.

    `mean_within` and `pieces_within` compare with EN 14298's numbers from memory; None where the target is in none of
    its bands. `above_fsp` counts boards known only to be above fibre saturation: they count in the shares, not in the
    mean.
    """

    n: int
    above_fsp: int
    mean_pct: float
    sd_pct: float
    lowest_pct: float
    highest_pct: float
    target_pct: float
    share_at_target: float
    share_within: float
    share_shipping_dry: float
    mean_within: bool | None
    pieces_within: bool
    shipping_dry: bool

    @property
    def few(self) -> bool:
        """Whether there are too few boards for a share to say much."""
        return self.n + self.above_fsp < FEW_BOARDS


def mean_tolerance_pct(target_pct: float) -> float | None:
    """How far the lot's mean may lie from the target (percent points); None between and beyond the bands.

    From memory. Targets are whole numbers there: 9.4 counts as 9.
    """
    for low, high, tolerance in MEAN_WITHIN_PCT:
        if low - 0.5 <= target_pct < high + 0.5:
            return tolerance
    return None


def spread(mc_pct: npt.ArrayLike, target_pct: float, above_fsp: int = 0) -> Spread | None:
    """The spread of a lot from one moisture content (%) a board; None without any.

    Missing values are passed over. Raises ValueError for a target outside 4 to 30 %.
    """
    if not 4.0 <= target_pct <= 30.0:
        raise ValueError("a target lies between 4 and 30 %")
    values = np.asarray(mc_pct, float)
    values = values[np.isfinite(values)]
    n, total = len(values), len(values) + above_fsp
    if n == 0:
        return None
    mean = float(values.mean())
    within = (values >= WITHIN[0] * target_pct) & (values <= WITHIN[1] * target_pct)
    tolerance = mean_tolerance_pct(target_pct)
    shipping = float(np.sum(values <= SHIPPING_PCT)) / total
    return Spread(
        n=n,
        above_fsp=above_fsp,
        mean_pct=mean,
        sd_pct=float(values.std(ddof=1)) if n > 1 else float("nan"),
        lowest_pct=float(values.min()),
        highest_pct=float(values.max()),
        target_pct=target_pct,
        share_at_target=float(np.sum(values <= target_pct)) / total,
        share_within=float(within.sum()) / total,
        share_shipping_dry=shipping,
        mean_within=None if tolerance is None or above_fsp else abs(mean - target_pct) <= tolerance + 1e-9,
        pieces_within=float(within.sum()) / total >= SHARE_WITHIN,
        shipping_dry=shipping >= SHIPPING_SHARE,
    )

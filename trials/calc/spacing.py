"""Spacing of a site as people write it ("3 × 2"), and the ground that a planted position stands for."""

from __future__ import annotations

import re
from dataclasses import dataclass

LEAST_M, MOST_M = 0.2, 30.0  # our own: nursery beds to wide parkland; beyond it something else was written
_NUMBER = r"(\d+(?:[.,]\d+)?)"
_WRITTEN = re.compile(rf"\s*{_NUMBER}\s*m?\s*(?:×|x|X|\*|by)\s*{_NUMBER}\s*m?\s*")
M2_PER_HA = 10_000.0


@dataclass(frozen=True)
class Spacing:
    """Distance between rows and between the trees of a row, both in m."""

    between_rows_m: float
    within_rows_m: float

    def plot_ha(self, positions: int) -> float:
        """Ground of a plot of so many planted positions, in ha, its border halfway to the neighbours.
        ValueError for fewer than one position."""
        if positions < 1:
            raise ValueError(f"{positions} positions: expected at least one")
        return self.between_rows_m * self.within_rows_m * positions / M2_PER_HA


def read_spacing(text: str) -> Spacing | None:
    """The spacing in "3 × 2", "2.5 x 2,5 m" and the like: between rows first, then within rows, in m.

    None where the text says anything else, or distances no stand is planted at (below 0.2 or above 30 m).
    """
    found = _WRITTEN.fullmatch(text)
    if found is None:
        return None
    between, within = (float(part.replace(",", ".")) for part in found.groups())
    if not (LEAST_M <= between <= MOST_M and LEAST_M <= within <= MOST_M):
        return None
    return Spacing(between, within)

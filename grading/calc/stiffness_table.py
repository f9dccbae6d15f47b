"""Taps on boards as a table: density, velocity and dynamic MOE as tapped, and at 12 % moisture."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import pandas as pd

from grading.calc.stiffness import (
    MOISTURE_RULES,
    concerns,
    density_at_12_kg_m3,
    density_kg_m3,
    dynamic_moe_gpa,
    moe_at_12_gpa,
    velocity_m_s,
)
from sawing.calc.frames import numbers

COMPUTED: Final = (
    "length_used_m",
    "density_used_kg_m3",
    "velocity_m_s",
    "moe_gpa",
    "moe12_gpa",
    "density12_kg_m3",
)


def stiffness_table(taps: pd.DataFrame, rule: str = "en384") -> pd.DataFrame:
    """The taps with what follows from them, row for row.

    :param taps: resonance_hz, harmonic, second_hz, length_m, mass_kg, density_kg_m3, mc_pct, and of the board
        board_length_m, board_width_mm, board_thickness_mm (dry where measured); NaN where missing.
    :param rule: one of `MOISTURE_RULES`, the same for a whole study.
    :returns: the same columns with `COMPUTED` and `concerns` (tuple of sentences). NaN where something is missing: no
        moisture, no value at 12 %; neither mass nor density, no MOE.
    :raises ValueError: an unknown rule.
    """
    if rule not in MOISTURE_RULES:
        raise ValueError(f"unknown rule {rule!r}; one of {', '.join(MOISTURE_RULES)}")
    board = ("board_length_m", "board_width_mm", "board_thickness_mm")
    names = (
        "resonance_hz",
        "harmonic",
        "second_hz",
        "length_m",
        "mass_kg",
        "density_kg_m3",
        "mc_pct",
        *board,
    )
    columns = [numbers(taps, name) for name in names]
    found = [_one(*values, rule=rule) for values in zip(*columns, strict=True)]
    table = pd.DataFrame(found, columns=[*COMPUTED, "concerns"], index=taps.index)
    return pd.concat([taps, table], axis=1)


def _one(
    hz: float,
    harmonic: float,
    second: float,
    length: float,
    mass: float,
    density: float,
    mc: float,
    board_length: float,
    width: float,
    thickness: float,
    *,
    rule: str,
) -> tuple[float | tuple[str, ...], ...]:
    """What follows from one tap, in the order of `COMPUTED`, and what looks odd."""
    odd: list[str] = []
    used = board_length if math.isnan(length) else length
    if math.isnan(density) and not any(map(math.isnan, (mass, used, width, thickness))):
        density = density_kg_m3(mass, used, width, thickness)
    mode = 1 if math.isnan(harmonic) else int(harmonic)
    velocity = math.nan if math.isnan(used) else velocity_m_s(used, hz, mode)
    known = not (math.isnan(density) or math.isnan(velocity))
    moe = dynamic_moe_gpa(density, velocity) if known else math.nan
    moe12 = density12 = math.nan
    if math.isnan(mc):
        odd.append("No moisture: nothing is brought to 12 %.")
    else:
        try:
            density12 = math.nan if math.isnan(density) else density_at_12_kg_m3(density, mc)
            moe12 = moe_at_12_gpa(moe, mc, rule) if known else math.nan
        except ValueError as why:
            odd.append(f"Not brought to 12 %: {why}.")
    if not math.isnan(velocity):
        given = None if math.isnan(density) else density
        odd += concerns(velocity, given, None if math.isnan(second) else second, hz)
    return used, density, velocity, moe, moe12, density12, tuple(odd)


def latest_of_each(table: pd.DataFrame) -> pd.DataFrame:
    """One tap a board: of those with an MOE the latest day, of these the one entered last. Sorted by board."""
    order = table.assign(
        _known=table["moe_gpa"].notna(), _day=pd.to_datetime(table["read_on"]), _at=np.arange(len(table))
    )
    order = order.sort_values(["board", "_known", "_day", "_at"], na_position="first")
    return order.groupby("board", sort=True).tail(1).drop(columns=["_known", "_day", "_at"])

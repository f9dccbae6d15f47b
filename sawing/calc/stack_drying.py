"""All that is computed about one stack from its readings: curve, moisture today, date of the target, spread."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from sawing.calc.drying_curve import CurveRefusedError, DryingCurve, fit_curve
from sawing.calc.drying_quality import Spread, spread
from sawing.calc.drying_range import Estimate, TargetDates, estimate_at, replicate, target_dates
from sawing.calc.equilibrium_moisture import EquilibriumLine, YardClimate, seasonal_line
from sawing.calc.moisture import all_alike

MOST_ABOVE_SHARE: Final = (
    0.05  # of a day's meter readings; more, and the rest of the day is a selection (own)
)
VISIT_DAYS: Final = 14  # readings of so many days count as one look at the stack (own)
RECENT_DAYS: Final = 30
FEW_READ: Final = 5  # boards; fewer say little of a stack (own)


@dataclass(frozen=True)
class StackDrying:
    """A stack at a day: None where there is nothing to say, and `refused` why there is no curve.

    `used` marks the readings the curve was fitted to, aligned to the frame of readings.
    """

    start: dt.date
    today: dt.date
    line: EquilibriumLine | None
    curve: DryingCurve | None
    refused: str
    drawn: str
    now: Estimate | None
    dates: TargetDates | None
    spread: Spread | None
    used: pd.Series[bool]
    notes: tuple[str, ...]


def dry_stack(
    readings: pd.DataFrame,
    climate: YardClimate | None,
    start: dt.date,
    today: dt.date,
    target_pct: float | None = None,
) -> StackDrying:
    """What is known of a stack.

    `readings`: board, read_on (date), mc_pct (%; NaN above fibre saturation), above_fsp (bool), method ("meter" or
    "oven_dry"), any order. The curve begins at `start` or at the first reading, whichever is earlier.
    """
    if len(readings):
        start = min(start, *readings["read_on"])
    line = seasonal_line(climate, start) if climate is not None else None
    used, notes = usable(readings)
    silent_d = (today - max(readings["read_on"])).days if len(readings) else 0
    if silent_d > RECENT_DAYS:
        notes.append(
            f"No reading since {max(readings['read_on'])}: what stands for today is the curve drawn on, "
            "without an interval."
        )
    chosen = readings[used]
    days = np.array([(day - start).days for day in chosen["read_on"]], dtype=float)
    values = chosen["mc_pct"].to_numpy(dtype=float)
    curve, refused, drawn, now, dates = None, "", "", None, None
    try:
        if line is None:
            raise CurveRefusedError("Give the stack a yard with a climate: the curve needs its equilibrium.")
        curve = fit_curve(days, values, line, chosen["board"].nunique())
    except CurveRefusedError as why:
        refused = str(why)
    if curve is not None:
        again = replicate(curve, days, values, chosen["board"].to_numpy())
        drawn = again.drawn if again is not None else ""
        now = estimate_at(
            curve, again if silent_d <= RECENT_DAYS else None, float(max(0, (today - start).days))
        )
        dates = target_dates(curve, again, target_pct, start) if target_pct is not None else None
    return StackDrying(
        start, today, line, curve, refused, drawn, now, dates, latest_spread(readings, target_pct), used,
        (*notes, *_hanging(readings)),
    )  # fmt: skip


def usable(readings: pd.DataFrame) -> tuple[pd.Series[bool], list[str]]:
    """Which readings a curve may be fitted to, and what is left out in words.

    On a day when more than a twentieth of the meter readings stood above fibre saturation, the boards with a number
    are the dry ones of that day: none of its meter readings is used.
    """
    used = readings["mc_pct"].notna()
    meter = readings["method"] == "meter"
    share = readings["above_fsp"].astype(float).where(meter).groupby(readings["read_on"]).transform("mean")
    selected = used & meter & (share > MOST_ABOVE_SHARE)
    notes = []
    if selected.any():
        days = readings.loc[selected, "read_on"].nunique()
        notes.append(
            f"{int(selected.sum())} meter readings of {days} {'day' if days == 1 else 'days'} are shown but not "
            "used for the curve: other boards stood above fibre saturation then, so these were the dry ones."
        )
    return used & ~selected, notes


def latest_spread(readings: pd.DataFrame, target_pct: float | None) -> Spread | None:
    """The spread over boards of the last look at the stack: each board's last reading of the last fourteen days."""
    if readings.empty or target_pct is None or not 4.0 <= target_pct <= 30.0:
        return None
    last = max(readings["read_on"])
    recent = readings[[(last - day).days < VISIT_DAYS for day in readings["read_on"]]]
    each = recent.sort_values("read_on", kind="stable").groupby("board", sort=False).tail(1)
    return spread(each["mc_pct"].to_numpy(dtype=float), target_pct, int(each["above_fsp"].sum()))


def _hanging(readings: pd.DataFrame) -> list[str]:
    found = []
    for day, of_day in readings[readings["method"] == "meter"].groupby("read_on"):
        if all_alike(of_day["mc_pct"].to_numpy(dtype=float)):
            found.append(f"All {len(of_day)} meter readings of {day} are the same: did the meter hang?")
    return found


def release_warnings(drying: StackDrying, readings: pd.DataFrame, boards: int, on: dt.date) -> list[str]:
    """Why releasing a stack on a day needs a second thought, in sentences; empty when nothing speaks against it.

    `boards`: how many are in the stack.
    """
    if readings.empty:
        return ["No board of this stack was ever read."]
    found = []
    recent = readings[[0 <= (on - day).days <= RECENT_DAYS for day in readings["read_on"]]]
    read = int(recent["board"].nunique())
    if read < min(FEW_READ, boards):
        found.append(
            f"{read} of {boards} boards were read within the last {RECENT_DAYS} days: too few to judge."
        )
    target = drying.spread.target_pct if drying.spread else None
    if target is not None and drying.spread is not None:
        s = drying.spread
        if s.mean_pct > target or s.above_fsp:
            wet = f" and {s.above_fsp} above fibre saturation" if s.above_fsp else ""
            found.append(
                f"At the last look the mean was {s.mean_pct:.1f} %{wet}; the target is {target:g} %."
            )
        elif s.share_at_target < 1:
            above = round((1 - s.share_at_target) * (s.n + s.above_fsp))
            found.append(
                f"{above} of {s.n + s.above_fsp} boards were above the target of {target:g} % when last read."
            )
    elif target is None:
        found.append("The stack has no target to compare with.")
    return found

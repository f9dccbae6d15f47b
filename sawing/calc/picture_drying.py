"""The drying of a stack drawn: readings, the fitted curve, the equilibrium of the place, the target and its dates."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from portal.calc.shown import HARD
from portal.calc.svg import WIDE, Drawing, Scale, ticks
from sawing.calc.drying_curve import DryingCurve
from sawing.calc.drying_range import HORIZON_D, TargetDates
from sawing.calc.equilibrium_moisture import EquilibriumLine

LEFT, RIGHT = 40.0, 14.0
LEAST_SPAN_D: Final = 60


@dataclass(frozen=True)
class ReadingDot:
    """A reading: date, moisture content in % or None for "above fibre saturation", whether oven dry."""

    read_on: dt.date
    mc_pct: float | None
    oven_dry: bool = False


def drying_picture(
    readings: Sequence[ReadingDot],
    line: EquilibriumLine | None,
    start: dt.date,
    *,
    name: str,
    title: str,
    note: str = "",
    curve: DryingCurve | None = None,
    dates: TargetDates | None = None,
    target_pct: float | None = None,
    today: dt.date | None = None,
    width: int = WIDE,
) -> str:
    """SVG of moisture content (%) over the months since `start`, day 0 of the line and of the curve.

    Meter readings are crosses, oven-dry samples diamonds, readings above fibre saturation small marks at the upper
    edge. The curve is solid as far as there are readings and dashed beyond; the range of dates for the target is a
    bar on the target's line. Raises ValueError without readings and without a curve.
    """
    if not readings and curve is None:
        raise ValueError("nothing to draw: no readings yet")
    last = _last_day(readings, start, curve, dates, today)
    drawing = Drawing(name, width, title, _words(readings, line, dates, start))
    top = drawing.heading(note) + 16.0
    bottom = top + (230.0 if drawing.narrow else 300.0)
    known = [r.mc_pct for r in readings if r.mc_pct is not None]
    highest = max(
        [*known, *([float(line.values_pct.max())] if line else []), *([curve.start_pct] if curve else [])]
    )
    y_ticks = ticks(0.0, highest)
    x = Scale(0.0, last, LEFT, width - RIGHT)
    y = Scale(y_ticks[0], y_ticks[-1], bottom, top)
    _axes(drawing, x, y, y_ticks, start)
    if line is not None:
        drawing.path(_steps(line, x, y, last), "open-stem")
    if target_pct is not None:
        drawing.line(x.start, y(target_pct), x.end, y(target_pct), "reference")
    if curve is not None:
        _curve(drawing, curve, x, y, last)
    _readings(drawing, readings, x, y, start)
    if dates is not None:
        _range(drawing, dates, x, y, start, last)
    if today is not None and 0 < (today - start).days < last:
        drawing.line(x((today - start).days), y.start, x((today - start).days), y.end, "grid")
    above = any(r.mc_pct is None for r in readings)
    _key(drawing, bottom + 40, _signs(curve is not None, line is not None, above, target_pct))
    drawing.height = bottom + (94.0 if drawing.narrow else 58.0)
    return drawing.svg("drying")


def _last_day(
    readings: Sequence[ReadingDot],
    start: dt.date,
    curve: DryingCurve | None,
    dates: TargetDates | None,
    today: dt.date | None,
) -> float:
    """The last day drawn: what there is and a month of the future, within three years."""
    days = [float((r.read_on - start).days) for r in readings]
    wanted = [LEAST_SPAN_D, *days, *([curve.last_d] if curve else [])]
    for date in (dates.latest or dates.best, dates.best) if dates else ():
        if date is not None:
            wanted.append(float((date - start).days) + 14)
    if today is not None:
        wanted.append(min(float((today - start).days), max(wanted) + 180))
    return min(max(wanted) * 1.04, HORIZON_D)


def _axes(drawing: Drawing, x: Scale, y: Scale, y_ticks: Sequence[float], start: dt.date) -> None:
    for value in y_ticks:
        drawing.line(x.start, y(value), x.end, y(value), "grid")
        drawing.text(x.start - 6, y(value) + 4, f"{value:g}", "small quiet-text", "end")
    drawing.text(0, y.end - 10, "moisture content, %", "small quiet-text")
    months = _months(start, x.high)
    apart = math.ceil(len(months) / (5 if drawing.narrow else 11))
    for place, (day, label) in enumerate(months):
        drawing.line(x(day), y.start, x(day), y.start + 4, "axis")
        if place % apart == 0 and x(day) < x.end - 14:
            drawing.text(x(day), y.start + 18, label, "small quiet-text", "middle")
    drawing.line(x.start, y.start, x.end, y.start, "axis")


def _months(start: dt.date, last_d: float) -> list[tuple[float, str]]:
    """The firsts of months within the picture: day after the start, and its label; January with its year."""
    found: list[tuple[float, str]] = []
    year, month = start.year, start.month
    while True:
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
        first = dt.date(year, month, 1)
        day = float((first - start).days)
        if day > last_d:
            return found
        found.append((day, f"{first:%b %Y}" if month == 1 or not found else f"{first:%b}"))


def _steps(line: EquilibriumLine, x: Scale, y: Scale, last: float) -> str:
    ends = [*line.edges_d[1:], math.inf]
    parts = []
    for begin, end, value in zip(line.edges_d, ends, line.values_pct, strict=True):
        if begin >= last:
            break
        parts.append(f"{x(float(begin)):.1f} {y(float(value)):.1f}H{x(min(float(end), last)):.1f}")
    return "M" + "L".join(parts)


def _curve(drawing: Drawing, curve: DryingCurve, x: Scale, y: Scale, last: float) -> None:
    for begin, end, css in ((0.0, curve.last_d, "interval"), (curve.last_d, last, "interval few")):
        if end > begin:
            at = np.linspace(begin, end, 80)
            points = zip(at, curve.at(at), strict=True)
            drawing.path("M" + "L".join(f"{x(float(d)):.1f} {y(float(m)):.1f}" for d, m in points), css)


def _readings(drawing: Drawing, readings: Sequence[ReadingDot], x: Scale, y: Scale, start: dt.date) -> None:
    crosses, diamonds, above = [], [], set()
    for reading in readings:
        day = x(float((reading.read_on - start).days))
        if reading.mc_pct is None:
            above.add(f"M{day - 3:.1f} {y.end + 4:.1f}l3-4 3 4")
        elif reading.oven_dry:
            diamonds.append(f"M{day:.1f} {y(reading.mc_pct) - 4:.1f}l4 4-4 4-4-4z")
        else:
            crosses.append(f"M{day - 2.5:.1f} {y(reading.mc_pct):.1f}h5m-2.5-2.5v5")
    for marks, css in ((crosses, "leader"), (sorted(above), "leader"), (diamonds, "ruler")):
        if marks:
            drawing.path("".join(marks), css)


def _range(drawing: Drawing, dates: TargetDates, x: Scale, y: Scale, start: dt.date, last: float) -> None:
    if dates.best is None:
        return
    level = y(dates.target_pct)
    best = x(min(float((dates.best - start).days), last))
    if dates.earliest is not None:
        low = x(max(0.0, float((dates.earliest - start).days)))
        high = x(min(float((dates.latest - start).days), last)) if dates.latest else x(last)
        drawing.line(low, level, high, level, "ground")
        for edge in (low, high):
            drawing.line(edge, level - 5, edge, level + 5, "ground")
    drawing.line(best, level - 9, best, level + 9, "ground")


def _signs(curve: bool, line: bool, above: bool, target_pct: float | None) -> list[tuple[str, str]]:
    """What is drawn, as (class, words)."""
    signs = [("interval", "fitted mean")] if curve else []
    signs += [("open-stem", "equilibrium")] if line else []
    signs += [("leader", "meter"), ("ruler", "oven dry")]
    signs += [("above", "above 30" + HARD + "%")] if above else []
    return signs + ([("reference", f"target {target_pct:g}{HARD}%")] if target_pct is not None else [])


def _key(drawing: Drawing, y: float, signs: Sequence[tuple[str, str]]) -> None:
    """The signs in words, two columns on a phone."""
    columns = 2 if drawing.narrow else len(signs)
    for place, (css, words) in enumerate(signs):
        left, foot = (place % columns) * (drawing.width / columns), y + 18 * (place // columns)
        if css == "leader":
            drawing.path(f"M{left + 9:.1f} {foot - 4:.1f}h6m-3-3v6", css)
        elif css == "above":
            drawing.path(f"M{left + 9:.1f} {foot - 2:.1f}l3-4 3 4", "leader")
        elif css == "ruler":
            drawing.path(f"M{left + 12:.1f} {foot - 8:.1f}l4 4-4 4-4-4z", css)
        else:
            drawing.line(left, foot - 4, left + 24, foot - 4, css)
        drawing.text(left + 30, foot, words, "small")


def _words(
    readings: Sequence[ReadingDot], line: EquilibriumLine | None, dates: TargetDates | None, start: dt.date
) -> str:
    known = [r.mc_pct for r in readings if r.mc_pct is not None]
    said = [f"Stacked on {start.isoformat()}; {len(readings)} readings"]
    if known:
        said[0] += f" from {max(known):.0f} to {min(known):.0f} %"
    if line is not None:
        said.append(f"Equilibrium from {line.values_pct.min():.1f} to {line.values_pct.max():.1f} %")
    if dates is not None:
        said.append(dates.words.rstrip("."))
    return ". ".join(said) + "."

"""Growth curves drawn: a line a clone through its means, with intervals, and the fitted form beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from portal.calc.svg import NARROW, TYPE_SIZES, Drawing, Scale, shortened, ticks
from trials.calc.clone_growth import CloneGrowth

LEFT, BELOW, LINE = 46.0, 40.0, 15.0


def growth_picture(
    growth: CloneGrowth,
    drawn: Sequence[str],
    colours: Mapping[str, str],
    *,
    title: str,
    unit: str,
    width: int,
    note: str = "",
) -> str:
    """SVG of the means of the clones in `drawn` over age in years; "" where none has a mean.

    `colours`: class of each clone ("clone-3"). Bars: intervals of the means; dashed: the fitted form, within its
    ages. A clone's code stands at the end of its line.
    """
    points = growth.table[growth.table["clone"].isin(list(drawn))]
    if points.empty:
        return ""
    drawing = Drawing("growth", width, title, _said(points, unit))
    top = drawing.heading(note) + 18.0
    bottom = top + (230.0 if width <= NARROW else 320.0)
    right = 62.0 if width <= NARROW else 96.0
    largest = float(np.nanmax(points[["mean", "high"]].to_numpy(dtype=float)))
    x_ticks = ticks(0.0, max(float(points["age_years"].max()), 1.0))
    y_ticks = ticks(0.0, largest if largest > 0 else 1.0)
    x = Scale(x_ticks[0], x_ticks[-1], LEFT, width - right)
    y = Scale(y_ticks[0], y_ticks[-1], bottom, top)
    _axes(drawing, x, y, x_ticks, y_ticks, unit)
    ends = []
    for clone, of_clone in points.groupby("clone", sort=True):
        _form(drawing, growth, str(clone), x, y)
        _clone(drawing, of_clone, colours.get(str(clone), "clone-none"), str(clone), x, y)
        ends.append((y(float(of_clone["mean"].iloc[-1])), str(clone)))
    for at, clone in _apart(ends, top, bottom):
        label = shortened(clone, TYPE_SIZES["small"], right - 10)
        drawing.text(x.end + 8, at + 4, label, f"small {colours.get(clone, '')}")
    drawing.height = bottom + BELOW
    return drawing.svg()


def _said(points: pd.DataFrame, unit: str) -> str:
    last = points.groupby("clone", sort=True).last()
    said = [
        f"{clone}: {row['mean']:.4g} {unit} at {row['age_years']:.1f} years ({int(row['n_trees'])} trees)"
        for clone, row in last.iterrows()
    ]
    return "; ".join(said) + "."


def _axes(
    drawing: Drawing, x: Scale, y: Scale, x_ticks: list[float], y_ticks: list[float], unit: str
) -> None:
    for value in y_ticks:
        drawing.line(x.start, y(value), x.end, y(value), "grid")
        drawing.text(x.start - 6, y(value) + 4, f"{value:g}", "small quiet-text", "end")
    for value in x_ticks:
        drawing.line(x(value), y.start, x(value), y.start + 4, "axis")
        drawing.text(x(value), y.start + 18, f"{value:g}", "small quiet-text", "middle")
    drawing.line(x.start, y.start, x.end, y.start, "axis")
    drawing.text(x.end, y.start + 34, "age from planting, years", "small quiet-text", "end")
    drawing.text(0, y.end - 10, unit, "small quiet-text")


def _form(drawing: Drawing, growth: CloneGrowth, clone: str, x: Scale, y: Scale) -> None:
    form = growth.forms.get(clone)
    if form is None:
        return
    ages = np.linspace(form.first, form.last, 50)
    sizes = form.size(ages)
    places = [f"{x(float(a)):.1f} {y(float(s)):.1f}" for a, s in zip(ages, sizes, strict=True)]
    drawing.path("M" + "L".join(places), "reference")


def _clone(drawing: Drawing, points: pd.DataFrame, css: str, clone: str, x: Scale, y: Scale) -> None:
    places = [(x(float(a)), y(float(m))) for a, m in zip(points["age_years"], points["mean"], strict=True)]
    line = "M" + "L".join(f"{px:.1f} {py:.1f}" for px, py in places)
    if len(places) > 1:
        drawing.path(line, "growth-case")
        drawing.path(line, f"growth {css}", clone)
    for (px, py), low, high in zip(places, points["low"], points["high"], strict=True):
        if np.isfinite(low) and np.isfinite(high):
            drawing.line(px, min(y(float(low)), y.start), px, max(y(float(high)), y.end), "interval")
        drawing.ellipse(px, py, 4.5, 4.5, f"mark {css}")


def _apart(ends: Sequence[tuple[float, str]], top: float, bottom: float) -> list[tuple[float, str]]:
    """Labels pushed apart so that each has its line, from above; those that fall below are pushed up again."""
    placed: list[tuple[float, str]] = []
    for at, clone in sorted(ends):
        placed.append((max(at, placed[-1][0] + LINE) if placed else max(at, top), clone))
    limit = bottom
    lifted: list[tuple[float, str]] = []
    for at, clone in reversed(placed):
        lifted.append((min(at, limit), clone))
        limit = lifted[-1][0] - LINE
    return lifted[::-1]

"""Stiffness drawn: how many boards lie where, with the limits of classes; the spectrum of a tap with its peaks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from portal.calc.svg import WIDE, Drawing, Scale, ticks

Floats = npt.NDArray[np.float64]
TALL: Final = 190.0
BIN_GPA: Final = 0.5


def stiffness_bars(
    moe_gpa: Floats,
    limits: Sequence[tuple[str, float]],
    *,
    name: str,
    title: str,
    note: str = "",
    width: int = WIDE,
) -> str:
    """How many boards have which MOE, in steps of half a GPa; `limits`: (class, least MOE), drawn as lines."""
    values = moe_gpa[np.isfinite(moe_gpa)]
    said = (
        f"{len(values)} boards from {values.min():.1f} to {values.max():.1f} GPa"
        if len(values)
        else "No board"
    )
    drawing = Drawing(name, width, title, f"{said}.")
    y = drawing.heading(note) + 18
    low = np.floor(values.min() / BIN_GPA) * BIN_GPA if len(values) else 0.0
    high = np.ceil((values.max() + 1e-9) / BIN_GPA) * BIN_GPA if len(values) else 1.0
    edges = np.arange(low, max(high, low + BIN_GPA) + BIN_GPA / 2, BIN_GPA)
    heights, _ = np.histogram(values, edges)
    along = Scale(float(edges[0]), float(edges[-1]), 36.0, width - 12.0)
    steps = ticks(0, max(1.0, float(heights.max(initial=1))), 4)
    up = Scale(0.0, steps[-1], y + TALL, y)
    for step in steps:
        drawing.line(along.start, up(step), along.end, up(step), "grid")
        drawing.text(30, up(step) + 4, f"{step:g}", "small", "end")
    for left, right, n in zip(edges[:-1], edges[1:], heights, strict=True):
        if n:
            x0, x1 = along(float(left)), along(float(right))
            drawing.rect(
                x0 + 1,
                up(float(n)),
                x1 - x0 - 2,
                up(0) - up(float(n)),
                "stiffness-bar",
                f"{left:g} to {right:g} GPa: {n}",
            )
    last = -100.0
    for code, limit in limits:
        if along.low <= limit <= along.high:
            drawing.line(along(limit), y - 4, along(limit), up(0), "reference")
            if along(limit) - last > 30:
                drawing.text(along(limit), y - 7, code, "small", "middle")
                last = along(limit)
    _foot(drawing, along, up(0), "GPa")
    return drawing.svg("stiffness")


def spectrum_picture(
    hz: Floats,
    heights: Floats,
    peaks: Sequence[tuple[str, float]],
    *,
    name: str,
    title: str,
    note: str = "",
    band_hz: tuple[float, float] | None = None,
    width: int = WIDE,
) -> str:
    """The spectrum of a tap, heights relative to the highest peak; `peaks`: (word, Hz), drawn as lines; `band_hz`:
    where
    a first mode is plausible, shaded."""
    drawing = Drawing(name, width, title, "Peaks: " + "; ".join(f"{w} {f:.0f} Hz" for w, f in peaks) + ".")
    y = drawing.heading(note) + 18
    most = min(
        float(hz.max(initial=1.0)), max([3.2 * f for _, f in peaks], default=float(hz.max(initial=1.0)))
    )
    along, up = Scale(0.0, most, 10.0, width - 12.0), Scale(0.0, 1.0, y + TALL, y)
    if band_hz:
        x0, x1 = along(max(0.0, band_hz[0])), along(min(most, band_hz[1]))
        drawing.rect(
            x0, y, max(0.0, x1 - x0), TALL, "plausible-band", "plausible for the first mode of this length"
        )
    inside = hz <= most
    if inside.sum() > 1:
        points = "L".join(
            f"{along(float(a)):.1f} {up(min(1.0, float(b))):.1f}"
            for a, b in zip(hz[inside], heights[inside], strict=True)
        )
        drawing.path(f"M{points}", "spectrum-line")
    for word, at in peaks:
        if at <= most:
            drawing.line(along(at), y, along(at), up(0), "reference")
            drawing.text(along(at) + 3, y - 5, word, "small")
    _foot(drawing, along, up(0), "Hz")
    return drawing.svg("spectrum")


def _foot(drawing: Drawing, along: Scale, y: float, unit: str) -> None:
    drawing.line(along.start, y, along.end, y, "axis")
    for tick in ticks(along.low, along.high, 6 if drawing.narrow else 10):
        if along.low <= tick <= along.high:
            drawing.text(along(tick), y + 16, f"{tick:g}", "small", "middle")
    drawing.text(along.end, y + 32, unit, "small quiet-text", "end")
    drawing.height = y + 40

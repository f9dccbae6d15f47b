"""A height curve drawn over the heights it was fitted to, with its band for one more tree."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from portal.calc.svg import NARROW, Drawing, Scale, ticks
from trials.calc.height_curves import HeightCurve
from trials.calc.tree_frames import as_floats

LEFT, RIGHT, BELOW = 46.0, 12.0, 40.0


def height_picture(
    dbh_mm: npt.ArrayLike, height_m: npt.ArrayLike, curve: HeightCurve, *, width: int, note: str = ""
) -> str:
    """SVG of measured heights in m over diameters in mm as crosses, the curve as a line and its band dashed.

    `dbh_mm` and `height_m`: arrays of one length; rows without both are not drawn. The curve is drawn over the
    diameters it was fitted to.
    """
    dbh, height = as_floats(dbh_mm), as_floats(height_m)
    both = np.isfinite(dbh) & np.isfinite(height)
    dbh, height = dbh[both], height[both]
    title = f"Height rises with diameter: {curve.method}"
    text = (
        f"{len(dbh)} trees of {curve.least_dbh_mm:.0f} to {curve.most_dbh_mm:.0f} mm; expected heights from "
        f"{float(curve.height_m(curve.least_dbh_mm)):.1f} to {float(curve.height_m(curve.most_dbh_mm)):.1f} m."
    )
    drawing = Drawing("height-curve", width, title, text)
    top = drawing.heading(note) + 14.0
    bottom = top + (220.0 if width <= NARROW else 300.0)
    across = np.linspace(curve.least_dbh_mm, curve.most_dbh_mm, 60)
    low, high = curve.band_m(across)
    x_ticks = ticks(float(min(dbh.min(), across[0])), float(max(dbh.max(), across[-1])))
    y_ticks = ticks(0.0, float(max(height.max(), np.nanmax(high))))
    x = Scale(x_ticks[0], x_ticks[-1], LEFT, width - RIGHT)
    y = Scale(y_ticks[0], y_ticks[-1], bottom, top)
    _axes(drawing, x, y, x_ticks, y_ticks)
    crosses = "".join(f"M{x(d) - 2.5:.1f} {y(h):.1f}h5m-2.5-2.5v5" for d, h in zip(dbh, height, strict=True))
    drawing.path(crosses, "leader")
    drawing.path(_line(x, y, across, curve.height_m(across)), "interval")
    for edge in (low, high):
        drawing.path(_line(x, y, across, edge), "reference")
    drawing.height = bottom + BELOW
    return drawing.svg()


def _axes(drawing: Drawing, x: Scale, y: Scale, x_ticks: list[float], y_ticks: list[float]) -> None:
    for value in y_ticks:
        drawing.line(x.start, y(value), x.end, y(value), "grid")
        drawing.text(x.start - 6, y(value) + 4, f"{value:g}", "small quiet-text", "end")
    for value in x_ticks:
        drawing.line(x(value), y.start, x(value), y.start + 4, "axis")
        drawing.text(x(value), y.start + 18, f"{value:g}", "small quiet-text", "middle")
    drawing.line(x.start, y.start, x.end, y.start, "axis")
    drawing.text(x.end, y.start + 34, "diameter at breast height, mm", "small quiet-text", "end")
    drawing.text(0, y.end - 10, "height, m", "small quiet-text")


def _line(x: Scale, y: Scale, at: npt.NDArray[np.float64], values: npt.NDArray[np.float64]) -> str:
    known = [(x(float(d)), y(float(h))) for d, h in zip(at, values, strict=True) if np.isfinite(h)]
    return "M" + "L".join(f"{px:.1f} {py:.1f}" for px, py in known) if known else ""

"""The picture of estimates by clone: dots with their intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from grading.calc.picture_out_turn import sample_words
from portal.calc import shown
from portal.calc.svg import TYPE_SIZES, WIDE, Drawing, Scale, shortened, text_width, ticks

LABEL, SMALL = TYPE_SIZES["label"], TYPE_SIZES["small"]


@dataclass(frozen=True)
class Dot:
    """An estimate with its interval; None where it is not known. `css` is the clone's class ("clone-2")."""

    name: str
    estimate: float | None
    low: float | None
    high: float | None
    n_trees: int
    n_boards: int
    css: str = ""
    control: bool = False


def interval_dots(
    rows: Sequence[Dot],
    *,
    name: str,
    title: str,
    note: str = "",
    unit: str = "%",
    digits: int = 1,
    reference: float | None = None,
    reference_name: str = "all clones",
    few_trees: int = 5,
    width: int = WIDE,
) -> str:
    """Estimates by clone as dots with their intervals, in the order given.

    With unit "%" values are shares and written in percent; any other unit is written as it is. Controls are
    squares. Rows of fewer than `few_trees` trees are hollow and dashed: for information, not for ranking.
    """
    factor = 100.0 if unit == "%" else 1.0
    values = [
        v * factor for r in rows for v in (r.estimate, r.low, r.high) if v is not None and math.isfinite(v)
    ]
    if reference is not None and math.isfinite(reference):
        values.append(reference * factor)
    said = "; ".join(
        f"{r.name}: {_dot_words(r, factor, unit, digits)} ({sample_words(r.n_trees, r.n_boards)})"
        for r in rows
    )
    drawing = Drawing(name, width, title, f"{said}." if said else "No clone has an estimate yet.")
    y = drawing.heading(note)
    if not values:
        drawing.text(0, y + 14, "No clone has an estimate yet.", "label")
        drawing.height = y + 26
        return drawing.svg("intervals")
    spread = max(values) - min(values) or max(abs(values[0]), 1.0) * 0.1
    marks = ticks(min(values) - spread * 0.03, max(values) + spread * 0.03, 4 if drawing.narrow else 6)
    left, right = (8.0, width - 8.0) if drawing.narrow else (160.0, width - 182.0)
    scale = Scale(marks[0], marks[-1], left, right)
    step = 60.0 if drawing.narrow else 40.0
    bottom = y + 20 + step * len(rows)
    _axis(drawing, scale, marks, y, bottom, unit)
    if reference is not None and math.isfinite(reference):
        _reference(drawing, scale(reference * factor), y, bottom, reference_name)
    for i, row in enumerate(rows):
        _dot_row(drawing, row, scale, y + 20 + step * i, factor, unit, digits, row.n_trees < few_trees)
    drawing.height = bottom + (36 if reference is not None else 20)
    if any(r.n_trees < few_trees for r in rows):
        drawing.text(
            0,
            drawing.height + 8,
            f"Hollow: fewer than {few_trees} trees, for information only.",
            "small quiet-text",
        )
        drawing.height += 16
    return drawing.svg("intervals")


def _dot_words(row: Dot, factor: float, unit: str, digits: int) -> str:
    if row.estimate is None or not math.isfinite(row.estimate):
        return "no estimate"
    value = f"{shown.number(row.estimate * factor, digits)}{shown.HARD}{unit}"
    low, high = shown.as_number(row.low), shown.as_number(row.high)
    if low is None or high is None:
        return f"{value}, no interval"
    return f"{value} ({shown.interval(low * factor, high * factor, digits)})"


def _axis(drawing: Drawing, scale: Scale, marks: Sequence[float], y: float, bottom: float, unit: str) -> None:
    digits = 0 if all(float(m).is_integer() for m in marks) else 1 if marks[1] - marks[0] >= 0.1 else 2
    for i, mark in enumerate(marks):
        x = scale(mark)
        drawing.line(x, y + 14, x, bottom, "grid")
        anchor = (
            "middle"
            if not drawing.narrow
            else "start"
            if i == 0
            else "end"
            if i == len(marks) - 1
            else "middle"
        )
        words = shown.number(mark, digits) or ""
        drawing.text(
            x,
            y + 8,
            f"{words}{shown.HARD}{unit}" if i == len(marks) - 1 else words,
            "small quiet-text",
            anchor,
        )


def _reference(drawing: Drawing, x: float, y: float, bottom: float, words: str) -> None:
    drawing.line(x, y + 14, x, bottom + 4, "reference")
    half = text_width(words, SMALL) / 2
    drawing.text(min(max(x, half), drawing.width - half), bottom + 17, words, "small", "middle")


def _dot_row(
    drawing: Drawing, row: Dot, scale: Scale, y: float, factor: float, unit: str, digits: int, few: bool
) -> None:
    words = _dot_words(row, factor, unit, digits)
    label = f"{row.name} (control)" if row.control else row.name
    if drawing.narrow:
        drawing.rect(0, y - 2, drawing.width, 34, "behind")
    drawing.text(
        0, y + 12, shortened(label, LABEL, drawing.width - 190 if drawing.narrow else 150), "label strong"
    )
    drawing.text(0, y + 27, sample_words(row.n_trees, row.n_boards), "small quiet-text")
    middle = y + 42 if drawing.narrow else y + 15
    drawing.text(drawing.width, y + 12 if drawing.narrow else middle + 4, words, "small", "end")
    if row.estimate is None or not math.isfinite(row.estimate):
        return
    low, high = shown.as_number(row.low), shown.as_number(row.high)
    if low is not None and high is not None:
        a, b = scale(low * factor), scale(high * factor)
        drawing.line(a, middle, b, middle, "interval few" if few else "interval")
        for x in (a, b):
            drawing.line(x, middle - 5, x, middle + 5, "interval")
    _mark(
        drawing,
        row,
        scale(row.estimate * factor),
        middle,
        f"{row.name}: {words}, {sample_words(row.n_trees, row.n_boards)}",
        few,
    )


def _mark(drawing: Drawing, row: Dot, x: float, y: float, note: str, few: bool) -> None:
    """A dot, for a control a square; both as rectangles, so that hatches lie on them alike."""
    css = f"mark {row.css}{' few' if few else ''}"
    radius = 0.0 if row.control else 6.5
    drawing.rect(x - 6.5, y - 6.5, 13, 13, css, note, rx=radius)
    if "again" in row.css.split() and not few:
        drawing.rect(
            x - 6.5, y - 6.5, 13, 13, "overlay", note, rx=radius, fill=drawing.hatch("rising", row.css)
        )

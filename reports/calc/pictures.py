"""Pictures of recovery, drawn from figures: the balance of wood, the out-turn by grade, intervals by clone.

Each function returns one SVG element as text, laid out for `width` user units (portal.calc.svg.WIDE or NARROW);
a page shows one or the other with {% picture wide narrow %} and a table of the same figures beside it.
Shares are fractions 0…1, volumes m³. Marks carry words, places or hatches besides their colours.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from portal.calc import shown
from portal.calc.svg import NARROW, TYPE_SIZES, WIDE, Drawing, Scale, shortened, text_width, ticks

__all__ = ["NARROW", "WIDE", "Bar", "Dot", "Part", "Share", "balance_bar", "interval_dots", "out_turn"]

LABEL, SMALL = TYPE_SIZES["label"], TYPE_SIZES["small"]
LOSS_HATCHES = ("rising", "falling", "crossed", "level")


@dataclass(frozen=True)
class Part:
    """A part of the round wood. kind: "graded", "boards" (sawn, not in a grade), "kerf", "loss" or "unknown"."""

    name: str
    volume_m3: float
    kind: str


@dataclass(frozen=True)
class Share:
    """One grade's share of a bar; `css` is its class from {% grade_colour %} ("grade-4", "grade-9 reject")."""

    name: str
    share: float
    css: str


@dataclass(frozen=True)
class Bar:
    """One clone's out-turn: shares in the order of the grades, best first."""

    name: str
    shares: Sequence[Share]
    n_trees: int
    n_boards: int
    css: str = ""


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


# The balance ------------------------------------------------------------------------------------


def balance_bar(
    parts: Sequence[Part],
    *,
    name: str,
    title: str = "",
    note: str = "",
    total_m3: float | None = None,
    width: int = WIDE,
) -> str:
    """One bar from round wood to graded boards, each part named with its volume and its share of the round wood.

    Widths are proportional to volumes. A part below zero (more boards than log) has no width: it is listed with
    its sign. `total_m3` is the round wood, by default the sum of the parts.

    Raises:
        ValueError: without parts, for a volume that is not finite, or for round wood that is not above 0.
    """
    total = sum(p.volume_m3 for p in parts) if total_m3 is None else total_m3
    if (
        not parts
        or not all(math.isfinite(p.volume_m3) for p in parts)
        or not (math.isfinite(total) and total > 0)
    ):
        raise ValueError("a balance needs parts with known volumes and round wood above 0 m³")
    graded = sum(p.volume_m3 for p in parts if p.kind == "graded")
    title = title or f"{shown.percent(graded / total)} of the round wood became graded boards"
    words = "; ".join(f"{p.name} {_volume_and_share(p, total)}" for p in parts)
    drawing = Drawing(name, width, title, f"Round wood {shown.cubic_metres(total)}, of which: {words}.")
    drawing.text(
        0, (y := drawing.heading(note)) + 10, f"Round wood, under bark: {shown.cubic_metres(total)}", "label"
    )
    y += 20
    bar_width = width - 1.0 if drawing.narrow else width * 0.56
    centres = _balance_segments(drawing, parts, total, y, bar_width)
    if drawing.narrow:
        drawing.height = _balance_list(drawing, parts, total, y + 58)
    else:
        drawing.height = _balance_leaders(drawing, parts, total, y, bar_width, centres)
    return drawing.svg("balance")


def _volume_and_share(part: Part, total: float) -> str:
    return f"{shown.cubic_metres(part.volume_m3)}, {shown.percent(part.volume_m3 / total)}"


def _balance_fills(drawing: Drawing, parts: Sequence[Part]) -> list[str]:
    """Hatch of each part: losses take turns, so that neighbours differ without colour."""
    fills, losses = [], 0
    for part in parts:
        if part.kind == "loss":
            fills.append(drawing.hatch(LOSS_HATCHES[losses % len(LOSS_HATCHES)]))
            losses += 1
        else:
            fills.append(drawing.hatch("dotted") if part.kind == "kerf" else "")
    return fills


def _balance_segments(
    drawing: Drawing, parts: Sequence[Part], total: float, y: float, bar_width: float
) -> list[float | None]:
    """Draw the bar; the middle of each segment, None for parts without a width."""
    centres: list[float | None] = []
    scale = max(total, sum(max(0.0, p.volume_m3) for p in parts))  # an over-full balance still fits the sheet
    x = 0.5
    for part, fill in zip(parts, _balance_fills(drawing, parts), strict=True):
        wide = bar_width * max(0.0, part.volume_m3) / scale
        note = f"{part.name}: {_volume_and_share(part, total)}"
        if wide > 0:
            drawing.rect(x, y, wide, 40, f"segment {part.kind}", note)
            if fill:
                drawing.rect(x, y, wide, 40, "overlay", note, fill=fill)
        centres.append(x + wide / 2 if wide > 0 else None)
        x += wide
    drawing.rect(0.5, y, bar_width, 40, "frame")
    return centres


def _balance_list(drawing: Drawing, parts: Sequence[Part], total: float, y: float) -> float:
    """On a phone: under the bar one line a part, in the order of the bar."""
    for part, fill in zip(parts, _balance_fills(drawing, parts), strict=True):
        drawing.rect(0.5, y, 16, 12, f"segment {part.kind}")
        if fill:
            drawing.rect(0.5, y, 16, 12, "overlay", fill=fill)
        drawing.text(24, y + 11, shortened(part.name, LABEL, drawing.width - 150), "label")
        drawing.text(
            drawing.width - 62, y + 11, shown.cubic_metres(part.volume_m3) or "", "small quiet-text", "end"
        )
        drawing.text(
            drawing.width, y + 11, shown.percent(part.volume_m3 / total) or "", "label strong", "end"
        )
        y += 24
    return y


def _balance_leaders(
    drawing: Drawing,
    parts: Sequence[Part],
    total: float,
    y: float,
    bar_width: float,
    centres: Sequence[float | None],
) -> float:
    """On a sheet: names at the right, the rightmost part highest, so that no two leaders cross."""
    row, label_x = y + 14.0, bar_width + 34
    # Rows begin beside the bar; a leader needs to leave the bar at its foot, so the first row lies below it.
    row = y + 58
    for part, centre in reversed(list(zip(parts, centres, strict=True))):
        if centre is not None:
            drawing.path(f"M{centre:.1f} {y + 40:.1f}V{row - 4:.1f}H{label_x - 6:.1f}", "leader")
        drawing.text(label_x, row, shortened(part.name, LABEL, drawing.width - label_x - 128), "label")
        drawing.text(
            drawing.width - 62, row, shown.cubic_metres(part.volume_m3) or "", "small quiet-text", "end"
        )
        drawing.text(drawing.width, row, shown.percent(part.volume_m3 / total) or "", "label strong", "end")
        row += 23
    return row - 8


# The out-turn -----------------------------------------------------------------------------------


def out_turn(bars: Sequence[Bar], *, name: str, title: str, note: str = "", width: int = WIDE) -> str:
    """Shares by grade of each clone's boards as one bar a clone, best grade at the left.

    Widths are proportional to shares; a bar whose shares sum to less than 1 stays open at its right end.

    Raises:
        ValueError: for a share below 0, not finite, or shares of one bar that sum to more than 1.
    """
    for bar in bars:
        if any(not (math.isfinite(s.share) and s.share >= 0) for s in bar.shares):
            raise ValueError(f"{bar.name}: a share is missing or below 0")
        if sum(s.share for s in bar.shares) > 1 + 1e-6:
            raise ValueError(f"{bar.name}: shares sum to more than 1")
    said = "; ".join(
        f"{b.name} ({_sample(b)}): " + ", ".join(f"{s.name} {shown.percent(s.share)}" for s in b.shares)
        for b in bars
    )
    drawing = Drawing(name, width, title, f"Shares by grade, best first. {said}.")
    y = _grade_key(drawing, bars, drawing.heading(note))
    left = 0.5 if drawing.narrow else 150.0
    bar_width = width - left - 0.5
    for bar in bars:
        if drawing.narrow:
            _bar_name(drawing, bar, 0, y + 12)
            drawing.text(width, y + 12, _sample(bar), "small quiet-text", "end")
            _bar_segments(drawing, bar, left, y + 18, bar_width, 26)
            y += 56
        else:
            _bar_name(drawing, bar, 0, y + 13)
            drawing.text(0, y + 28, _sample(bar), "small quiet-text")
            _bar_segments(drawing, bar, left, y, bar_width, 30)
            y += 42
    drawing.height = y
    return drawing.svg("out-turn")


def _sample(row: Bar | Dot) -> str:
    return f"{shown.counted(row.n_trees, 'tree')}, {shown.counted(row.n_boards, 'board')}"


def _bar_name(drawing: Drawing, bar: Bar, x: float, y: float) -> None:
    if bar.css:
        drawing.rect(x + 0.5, y - 10, 10, 10, f"mark {bar.css}")
        if "again" in bar.css.split():
            drawing.rect(x + 0.5, y - 10, 10, 10, "overlay", fill=drawing.hatch("rising"))
    drawing.text(x + (17 if bar.css else 0), y, shortened(bar.name, LABEL, 130), "label strong")


def _grade_key(drawing: Drawing, bars: Sequence[Bar], y: float) -> float:
    """The grades with their swatches, in order, wrapped; the y below them."""
    seen: dict[str, str] = {}
    for bar in bars:
        for share in bar.shares:
            seen.setdefault(share.name, share.css)
    x = 0.0
    for grade, css in seen.items():
        wide = 20 + text_width(grade, SMALL) + 14
        if x and x + wide > drawing.width:
            x, y = 0.0, y + 20
        _grade_rect(drawing, x + 0.5, y, 13, 12, css)
        drawing.text(x + 20, y + 10, grade, "small")
        x += wide
    return y + 28


def _grade_rect(
    drawing: Drawing, x: float, y: float, width: float, height: float, css: str, note: str = ""
) -> None:
    drawing.rect(x, y, width, height, f"mark {css}", note)
    if "reject" in css.split():
        drawing.rect(x, y, width, height, "overlay on-mark", note, fill=drawing.hatch("rising"))


def _bar_segments(drawing: Drawing, bar: Bar, x: float, y: float, bar_width: float, height: float) -> None:
    drawing.rect(x, y, bar_width, height, "frame open-end")
    for share in bar.shares:
        wide = bar_width * share.share
        if wide <= 0:
            continue
        _grade_rect(
            drawing, x, y, wide, height, share.css, f"{bar.name}, {share.name}: {shown.percent(share.share)}"
        )
        for words in (shown.percent(share.share, 0) or "", shown.number(100 * share.share, 0) or ""):
            if text_width(words, SMALL) + 6 <= wide and "reject" not in share.css.split():
                drawing.text(
                    x + wide / 2, y + height / 2 + 4.5, words, f"small on-mark {share.css}", "middle"
                )
                break
        x += wide


# Intervals --------------------------------------------------------------------------------------


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
    said = "; ".join(f"{r.name}: {_dot_words(r, factor, unit, digits)} ({_sample(r)})" for r in rows)
    drawing = Drawing(name, width, title, f"{said}." if said else "No clone has an estimate yet.")
    y = drawing.heading(note)
    if not values:
        drawing.text(0, y + 14, "No clone has an estimate yet.", "label")
        drawing.height = y + 26
        return drawing.svg("intervals")
    spread = max(values) - min(values) or max(abs(values[0]), 1.0) * 0.1
    marks = ticks(min(values) - spread * 0.03, max(values) + spread * 0.03, 4 if drawing.narrow else 6)
    left, right = (8.0, width - 8.0) if drawing.narrow else (150.0, width - 196.0)
    scale = Scale(marks[0], marks[-1], left, right)
    step = 46.0 if drawing.narrow else 30.0
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
        drawing.rect(0, y - 2, drawing.width, 18, "behind")
        drawing.text(
            0, y + 12, shortened(label, LABEL, drawing.width - text_width(words, SMALL) - 8), "label strong"
        )
        drawing.text(drawing.width, y + 12, words, "small", "end")
        middle = y + 28
    else:
        drawing.text(0, y + 13, shortened(label, LABEL, 142), "label strong")
        drawing.text(drawing.width, y + 6, words, "small", "end")
        drawing.text(drawing.width, y + 21, _sample(row), "small quiet-text", "end")
        middle = y + 9
    if row.estimate is None or not math.isfinite(row.estimate):
        return
    low, high = shown.as_number(row.low), shown.as_number(row.high)
    if low is not None and high is not None:
        a, b = scale(low * factor), scale(high * factor)
        drawing.line(a, middle, b, middle, "interval few" if few else "interval")
        for x in (a, b):
            drawing.line(x, middle - 5, x, middle + 5, "interval")
    _mark(drawing, row, scale(row.estimate * factor), middle, f"{row.name}: {words}, {_sample(row)}", few)


def _mark(drawing: Drawing, row: Dot, x: float, y: float, note: str, few: bool) -> None:
    """A dot, for a control a square; both as rectangles, so that hatches lie on them alike."""
    css = f"mark {row.css}{' few' if few else ''}"
    radius = 0.0 if row.control else 6.5
    drawing.rect(x - 6.5, y - 6.5, 13, 13, css, note, rx=radius)
    if "again" in row.css.split() and not few:
        drawing.rect(x - 6.5, y - 6.5, 13, 13, "overlay", note, rx=radius, fill=drawing.hatch("rising"))

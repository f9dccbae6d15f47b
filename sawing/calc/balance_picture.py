"""The picture of the balance: one bar from round wood to graded boards. Volumes in m³."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from portal.calc import shown
from portal.calc.svg import TYPE_SIZES, WIDE, Drawing, shortened, text_width

LABEL = TYPE_SIZES["label"]
LOSS_HATCHES = ("rising", "falling", "crossed", "level")


@dataclass(frozen=True)
class Part:
    """A part of the round wood. kind: "graded", "boards" (in no grade), "kerf", "loss" or "unknown"."""

    name: str
    volume_m3: float
    kind: str


def balance_bar(
    parts: Sequence[Part],
    *,
    name: str,
    title: str = "",
    note: str = "",
    total_m3: float | None = None,
    width: int = WIDE,
) -> str:
    """One bar from round wood to graded boards, each part named with its volume and its share.

    Widths are proportional to volumes. A part below zero (more boards than log) has no width: it is listed
    with its sign. `total_m3` is the round wood, by default the sum of the parts.

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
    bar_width = width - 1.0 if drawing.narrow else _room_for_bar(parts, width)
    centres = _balance_segments(drawing, parts, total, y, bar_width)
    if drawing.narrow:
        drawing.height = _balance_list(drawing, parts, total, y + 58)
    else:
        drawing.height = _balance_leaders(drawing, parts, total, y, bar_width, centres)
    return drawing.svg("balance")


def _room_for_bar(parts: Sequence[Part], width: float) -> float:
    """Width that the longest name, the volumes and the shares beside it leave for the bar."""
    longest = max(text_width(p.name, LABEL) for p in parts)
    return min(max(width - 34 - longest - 132, width * 0.36), width * 0.56)


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

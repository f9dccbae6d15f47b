"""The picture of a flitch: its outline, where it is docked, the boards edged from it. Sizes in mm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from portal.calc import shown
from portal.calc.svg import TYPE_SIZES, WIDE, Drawing, Scale, shortened, ticks
from sawing.calc.dock_flitch import Flitch, Floats
from sawing.calc.dock_results import Docked, DockedBoard
from sawing.calc.dock_rules import Rules

SMALL = TYPE_SIZES["small"]
DRAWN_WIDER = (1, 2, 3, 4, 5, 6, 8, 10)
HIGHEST = {True: 150.0, False: 190.0}
"""Height of a flitch in a narrow and in a wide picture."""


@dataclass(frozen=True)
class CutBoard:
    """A board that was cut: length and width in mm, and which end of the flitch it came from ("butt", "top"), None
    where only the order of the pieces is known."""

    code: str
    length_mm: float
    width_mm: float
    end: str | None = None
    href: str = ""


@dataclass(frozen=True)
class _Place:
    """Where a flitch is drawn: along and across, and how many times larger across."""

    along: Scale
    across: Scale
    times: int
    top: float
    foot: float


def flitch_picture(
    flitch: Flitch,
    docked: Docked,
    rules: Rules,
    *,
    name: str,
    title: str,
    note: str = "",
    cut: Sequence[CutBoard] = (),
    width: int = WIDE,
) -> str:
    """The flitch with its best plan, and below it with what was cut, if any is given.

    Across, sizes are drawn larger by a factor that is written there. What becomes no board is hatched. The places
    of cut boards are not measured: they are drawn from the end they came from, in the middle of the flitch there.
    """
    drawing = Drawing(name, width, title, _words(flitch, docked, cut))
    y = drawing.heading(note)
    place = _place(flitch, drawing, y + 12)
    drawing.text(0, y + 4, "Best plan", "small strong")
    _outline(drawing, flitch, place)
    for board in docked.boards:
        _planned(drawing, board, rules, place)
    _docks(drawing, docked, place)
    foot = _axis(drawing, flitch, place)
    if cut:
        place = _place(flitch, drawing, foot + 30)
        drawing.text(0, foot + 22, "As cut; places along the flitch inferred", "small strong")
        _outline(drawing, flitch, place)
        for board_cut, start in _laid(flitch, cut):
            _cut(drawing, flitch, board_cut, start, place)
        foot = _axis(drawing, flitch, place)
    words = (
        f"Across drawn {place.times} times larger; hatched: no board."
        if place.times > 1
        else "To scale; hatched: no board."
    )
    drawing.text(0, foot + 16, shortened(words, SMALL, width), "small quiet-text")
    drawing.height = foot + 24
    return drawing.svg("flitch")


def _words(flitch: Flitch, docked: Docked, cut: Sequence[CutBoard]) -> str:
    boards = "; ".join(
        f"{b.start_mm:.0f} to {b.end_mm:.0f} mm, {' and '.join(f'{w:g}' for w in b.widths_mm)} mm wide"
        for b in docked.boards
    )
    done = "; ".join(f"{b.code}: {b.length_mm:.0f} by {b.width_mm:.0f} mm" for b in cut)
    plan = f"Boards of the best plan: {boards}." if boards else "No board fits."
    return f"Flitch of {flitch.length_mm:.0f} mm. {plan}" + (f" Cut: {done}." if done else "")


def _place(flitch: Flitch, drawing: Drawing, top: float) -> _Place:
    edges = flitch.edges_mm
    low, high = float(edges.min()), float(edges.max())
    along = Scale(float(flitch.x_mm[0]), float(flitch.x_mm[-1]), 6.0, drawing.width - 6.0)
    per_mm = (drawing.width - 12.0) / flitch.length_mm
    room = HIGHEST[drawing.narrow]
    tall = max(high - low, 1.0)
    times = max((t for t in DRAWN_WIDER if tall * per_mm * t <= room), default=1)
    foot = top + tall * per_mm * times
    return _Place(along, Scale(low, high, foot, top), times, top, foot)


def _path(x: Floats, y: Floats, place: _Place) -> str:
    points = [f"{place.along(float(a)):.1f} {place.across(float(b)):.1f}" for a, b in zip(x, y, strict=True)]
    return "L".join(points)


def _outline(drawing: Drawing, flitch: Flitch, place: _Place) -> None:
    x = flitch.x_mm
    left, right = flitch.left_mm, np.maximum(flitch.right_mm, flitch.left_mm)
    around = f"{_path(x, left, place)}L{_path(x[::-1], right[::-1], place)}"
    shape = f"M{around}Z"
    drawing.path(shape, "flitch-wood")
    drawing.element(
        "polygon", points=around.replace("L", " "), class_="overlay", fill=drawing.hatch("rising")
    )
    drawing.path(shape, "flitch-edge", "narrow face, free of wane")
    for wide in (flitch.left_wide_mm, flitch.right_wide_mm):
        if wide is not None:
            drawing.path(f"M{_path(x, wide, place)}", "open-end", "wide face")


def _planned(drawing: Drawing, board: DockedBoard, rules: Rules, place: _Place) -> None:
    """The boards of one piece, side by side in its strip, in the middle of what is available."""
    need = rules.need_mm(board.widths_mm)
    edge = board.intercept_mm + max(0.0, board.available_mm - need) / 2 + rules.edger_clearance_mm / 2
    for width in board.widths_mm:
        green = width * (1 + rules.width_oversize_pct / 100)
        _strip(
            drawing,
            place,
            (board.start_mm, board.end_mm),
            (edge, board.slope, green),
            f"{board.length_mm / 1000:.1f} m × {width:g}",
            f"{board.start_mm:.0f} to {board.end_mm:.0f} mm: {width:g} mm wide of {board.available_mm:.0f} mm",
        )
        edge += green + rules.edger_kerf_mm


def _strip(
    drawing: Drawing,
    place: _Place,
    span: tuple[float, float],
    line: tuple[float, float, float],
    label: str,
    words: str,
) -> None:
    """A straight strip: along `span`, its left edge line[0] + line[1] x, line[2] wide."""
    (start, end), (edge, slope, width) = span, line
    corners = [
        (start, edge + slope * start),
        (end, edge + slope * end),
        (end, edge + slope * end + width),
        (start, edge + slope * start + width),
    ]
    path = "L".join(f"{place.along(x):.1f} {place.across(y):.1f}" for x, y in corners)
    drawing.path(f"M{path}Z", "flitch-board", words)
    middle = (start + end) / 2
    room = place.along(end) - place.along(start) - 6
    y = place.across(edge + slope * middle + width / 2) + 4
    drawing.text(place.along(middle), y, shortened(label, SMALL, room), "small over", "middle")


def _docks(drawing: Drawing, docked: Docked, place: _Place) -> None:
    for before, after in zip(docked.boards, docked.boards[1:], strict=False):
        x = place.along((before.end_mm + after.start_mm) / 2)
        drawing.line(x, place.top - 6, x, place.foot + 6, "dock-line")


def _axis(drawing: Drawing, flitch: Flitch, place: _Place) -> float:
    """A scale in m from the butt end below the flitch; the y of its foot."""
    y = place.foot + 12
    first = float(flitch.x_mm[0])
    drawing.line(place.along(first), y, place.along(float(flitch.x_mm[-1])), y, "axis")
    marks = ticks(0.0, flitch.length_mm / 1000, 4 if drawing.narrow else 8)
    for mark in marks:
        if mark * 1000 > flitch.length_mm + 1e-6:
            continue
        x = place.along(first + mark * 1000)
        drawing.line(x, y, x, y + 4, "axis")
        text = "butt" if mark == 0 else f"{mark:g}{shown.HARD}m"
        anchor = "start" if mark == 0 else "end" if x > drawing.width - 20 else "middle"
        drawing.text(x, y + 17, text, "small quiet-text", anchor)
    return y + 20


def _laid(flitch: Flitch, cut: Sequence[CutBoard]) -> list[tuple[CutBoard, float]]:
    """Where each cut board begins: from the butt on, those of the top end back from it."""
    butt, top = float(flitch.x_mm[0]), float(flitch.x_mm[-1])
    placed = []
    last = len(cut) - 1
    for number, board in enumerate(cut):
        at_top = board.end == "top" or (board.end is None and number == last and number > 0)
        if at_top:
            top -= board.length_mm
            placed.append((board, top))
        else:
            placed.append((board, butt))
            butt += board.length_mm
    return placed


def _cut(drawing: Drawing, flitch: Flitch, board: CutBoard, start: float, place: _Place) -> None:
    middle = (flitch.left_mm + flitch.right_mm) / 2
    end = start + board.length_mm
    inside = (flitch.x_mm >= start) & (flitch.x_mm <= end)
    at = float(middle[inside].mean()) if inside.any() else float(np.interp(start, flitch.x_mm, middle))
    if not math.isfinite(at):
        return
    words = f"{board.code}: {board.length_mm / 1000:.1f} m × {board.width_mm:.0f} mm, cut"
    with drawing.link(board.href, words):
        _strip(
            drawing,
            place,
            (start, end),
            (at - board.width_mm / 2, 0.0, board.width_mm),
            f"{board.length_mm / 1000:.1f} m × {board.width_mm:.0f}",
            words,
        )

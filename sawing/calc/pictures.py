"""Pictures of logs: the log end with its boards, and the stem with its logs.

Each function returns one SVG element as text, laid out for `width` user units (portal.calc.svg.WIDE or NARROW).
Sizes are mm on the log end, metres along the stem. Heartwood and sapwood are drawn in their two colours.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from portal.calc import shown
from portal.calc.svg import NARROW, TYPE_SIZES, WIDE, Drawing, Scale, shortened, text_width, ticks

__all__ = ["NARROW", "WIDE", "EndBoard", "SawnPiece", "StemLog", "log_end", "placed_by_flitch", "stem"]

LABEL, SMALL = TYPE_SIZES["label"], TYPE_SIZES["small"]
DRAWN_WIDER = (1, 2, 5, 10, 20, 50)


@dataclass(frozen=True)
class EndBoard:
    """A board on the log end: its rectangle in mm from the pith, x to the right, y upwards, from the lower left.

    `label` is the short word inside the rectangle, `words` what hovering tells, `css` a class from
    {% grade_colour %} or {% clone_colour %}.
    """

    code: str
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    label: str = ""
    words: str = ""
    href: str = ""
    css: str = ""


@dataclass(frozen=True)
class SawnPiece:
    """A board as the tally knows it: flitch and piece give its order, not its measured place."""

    code: str
    flitch: int
    piece: int
    thickness_mm: float
    width_mm: float
    label: str = ""
    words: str = ""
    href: str = ""
    css: str = ""


@dataclass(frozen=True)
class StemLog:
    """A log in its tree; lengths in m, diameters and sweep in mm, None where not measured."""

    code: str
    bottom_m: float
    length_m: float
    led_mm: float
    sed_mm: float
    sweep_mm: float | None = None
    href: str = ""
    css: str = ""


# The log end ------------------------------------------------------------------------------------


def placed_by_flitch(pieces: Iterable[SawnPiece], kerf_mm: float = 0.0) -> list[EndBoard]:
    """Rectangles for the boards of a live-sawn log, inferred from the order of flitches and pieces.

    Flitches lie one above the other, lowest number lowest, `kerf_mm` apart; the pieces of a flitch lie side by
    side. Both are centred on the pith, which is a guess: say so on the picture (log_end(inferred=True)).

    Raises:
        ValueError: for a size that is not above 0 or a kerf below 0.
    """
    rows: dict[int, list[SawnPiece]] = {}
    for piece in pieces:
        if not (piece.thickness_mm > 0 and piece.width_mm > 0):
            raise ValueError(f"{piece.code}: thickness and width must be above 0 mm")
        rows.setdefault(piece.flitch, []).append(piece)
    if not kerf_mm >= 0:
        raise ValueError(f"kerf of {kerf_mm!r} mm: expected 0 or more")
    heights = {flitch: max(p.thickness_mm for p in row) for flitch, row in rows.items()}
    y = -(sum(heights.values()) + kerf_mm * (len(rows) - 1)) / 2
    boards = []
    for flitch in sorted(rows):
        row = sorted(rows[flitch], key=lambda p: p.piece)
        x = -(sum(p.width_mm for p in row) + kerf_mm * (len(row) - 1)) / 2
        for p in row:
            boards.append(EndBoard(p.code, x, y, p.width_mm, p.thickness_mm, p.label, p.words, p.href, p.css))
            x += p.width_mm + kerf_mm
        y += heights[flitch] + kerf_mm
    return boards


def log_end(
    diameter_mm: float,
    heart_mm: float | None,
    boards: Sequence[EndBoard],
    *,
    name: str,
    title: str,
    note: str = "",
    diameter2_mm: float | None = None,
    inferred: bool = False,
    width: int = WIDE,
) -> str:
    """The end of a log to scale: sapwood, heartwood, pith, and every board at its place.

    `diameter2_mm` is the reading at right angles (drawn upright). Heartwood is None where it was not measured,
    which the picture says. Boards link to their pages.

    Raises:
        ValueError: for a diameter that is not above 0 or heartwood wider than the log.
    """
    upright = diameter_mm if diameter2_mm is None else diameter2_mm
    if not (diameter_mm > 0 and upright > 0) or not (math.isfinite(diameter_mm) and math.isfinite(upright)):
        raise ValueError("a log end needs diameters above 0 mm")
    heart = shown.as_number(heart_mm)
    if heart is not None and not 0 <= heart <= max(diameter_mm, upright):
        raise ValueError(f"heartwood of {heart:g} mm does not fit a log of {diameter_mm:g} mm")
    drawing = Drawing(name, width, title, _end_words(diameter_mm, upright, heart, boards, inferred))
    y = drawing.heading(note)
    size = min(width, 480) - 2.0
    reach = max(diameter_mm, upright, *(2 * r for b in boards for r in _reach(b)), 1.0)
    scale = size / reach
    cx, cy = (width / 2 if drawing.narrow else size / 2 + 1), y + upright_space(reach, upright, scale) / 2 + 1
    drawing.ellipse(cx, cy, diameter_mm * scale / 2, upright * scale / 2, "sapwood")
    if heart:
        ratio = heart / math.sqrt(diameter_mm * upright)
        drawing.ellipse(cx, cy, diameter_mm * ratio * scale / 2, upright * ratio * scale / 2, "heartwood")
    for board in boards:
        _end_board(drawing, board, cx, cy, scale)
    drawing.path(f"M{cx - 6:.1f} {cy:.1f}h12M{cx:.1f} {cy - 6:.1f}v12", "pith")
    bottom = cy + upright_space(reach, upright, scale) / 2 + 12
    drawing.height = _end_legend(drawing, diameter_mm, upright, heart, inferred, scale, y, bottom, size)
    return drawing.svg("log-end")


def upright_space(reach_mm: float, upright_mm: float, scale: float) -> float:
    """Height that the log end and its boards need, in user units."""
    return max(upright_mm, reach_mm) * scale


def _reach(board: EndBoard) -> tuple[float, float]:
    return (
        max(abs(board.x_mm), abs(board.x_mm + board.width_mm)),
        max(abs(board.y_mm), abs(board.y_mm + board.height_mm)),
    )


def _diameters(diameter: float, upright: float) -> str:
    both = (
        f"{shown.number(diameter, 0)} × {shown.number(upright, 0)}"
        if upright != diameter
        else shown.number(diameter, 0)
    )
    return f"{both}{shown.HARD}mm"


def _end_words(
    diameter: float, upright: float, heart: float | None, boards: Sequence[EndBoard], inferred: bool
) -> str:
    heart_words = f"heartwood {heart:.0f} mm" if heart is not None else "heartwood not measured"
    places = " Places inferred from the order of flitches and pieces." if inferred else ""
    codes = ", ".join(f"{b.code}{f' ({b.words})' if b.words else ''}" for b in boards)
    return f"Log end {_diameters(diameter, upright)}, {heart_words}. {len(boards)} boards: {codes or 'none'}.{places}"


def _end_board(drawing: Drawing, board: EndBoard, cx: float, cy: float, scale: float) -> None:
    x, y = cx + board.x_mm * scale, cy - (board.y_mm + board.height_mm) * scale
    wide, high = board.width_mm * scale, board.height_mm * scale
    note = f"{board.code}: {board.words}" if board.words else board.code
    with drawing.link(board.href, note):
        drawing.rect(x, y, wide, high, f"board {f'mark {board.css}' if board.css else 'plain'}", note)
        if {"reject", "again"} & set(board.css.split()):
            drawing.rect(x, y, wide, high, "overlay on-mark", note, fill=drawing.hatch("rising"))
        label = shortened(board.label, SMALL, wide - 4) if board.label else ""
        if label and high >= 13 and wide >= 14:
            plate = text_width(label, SMALL) + 6
            if "reject" in board.css.split():
                drawing.rect(x + (wide - plate) / 2, y + high / 2 - 7, plate, 14, f"mark plate {board.css}")
            drawing.text(
                x + wide / 2,
                y + high / 2 + 4.3,
                label,
                f"small {f'on-mark {board.css}' if board.css else ''}",
                "middle",
            )


def _end_legend(
    drawing: Drawing,
    diameter: float,
    upright: float,
    heart: float | None,
    inferred: bool,
    scale: float,
    top: float,
    bottom: float,
    size: float,
) -> float:
    """Sizes in words and a line of 100 mm, beside the log end on a sheet, under it on a phone."""
    x, y = (0.0, bottom) if drawing.narrow else (size + 34, top)
    lines = [f"Log {_diameters(diameter, upright)}, under bark"]
    lines.append(f"Heartwood {heart:.0f}{shown.HARD}mm" if heart is not None else "Heartwood not measured")
    if inferred:
        lines += ["Places inferred from the", "order of flitches and pieces"]
    for i, line in enumerate(lines):
        css = ("sapwood", "heartwood" if heart is not None else "unmeasured", "", "")[i]
        if css:
            drawing.rect(x + 0.5, y + 3 + 21 * i, 13, 12, css)
        drawing.text(x + (21 if css else 0), y + 14 + 21 * i, line, "small")
    y += 21 * len(lines) + 12
    drawing.path(f"M{x + 0.5:.1f} {y:.1f}v8m0-4h{100 * scale:.1f}m0-4v8", "ruler")
    drawing.text(x + 100 * scale + 8, y + 8, f"100{shown.HARD}mm", "small")
    return max(bottom, y + 20)


# The stem ---------------------------------------------------------------------------------------


def stem(
    logs: Sequence[StemLog],
    *,
    name: str,
    title: str,
    note: str = "",
    tree_height_m: float | None = None,
    width: int = WIDE,
) -> str:
    """The tree upright with its logs at their heights. Across, sizes are drawn larger by a factor written there.

    Sweep bends a log by its measured deviation, drawn larger by the same factor. What lies between logs stays
    open and dashed.

    Raises:
        ValueError: without logs, or for a length or diameter that is not above 0.
    """
    if not logs or any(not (log.length_m > 0 and log.led_mm > 0 and log.sed_mm > 0) for log in logs):
        raise ValueError("a stem needs logs with lengths and diameters above 0")
    logs = sorted(logs, key=lambda log: log.bottom_m)
    top = max(*(log.bottom_m + log.length_m for log in logs), tree_height_m or 0.0)
    drawing = Drawing(name, width, title, _stem_words(logs, tree_height_m))
    y = drawing.heading(note)
    marks = ticks(0.0, top, 6)
    high = min(520.0, max(260.0, 62.0 * len(logs)))
    along = Scale(0.0, marks[-1], y + 8 + high, y + 8)
    per_m = high / marks[-1]
    largest = max(max(log.led_mm, log.sed_mm) + 2 * (log.sweep_mm or 0.0) for log in logs) / 1000
    across = max(f for f in DRAWN_WIDER if f == 1 or largest * per_m * f <= 130)
    middle = 112.0 if drawing.narrow else 140.0
    _height_axis(drawing, along, marks)
    drawing.line(30, along(0), middle + 90, along(0), "ground")
    _gaps(drawing, logs, along, middle, tree_height_m)
    label_x = middle + 84
    places = _label_places([along(log.bottom_m + log.length_m / 2) for log in logs], 36.0)
    for log, place in zip(logs, places, strict=True):
        _stem_log(drawing, log, along, middle, per_m * across / 1000, place, label_x)
    foot = max(along(0), *places) + 30
    words = (
        f"Across, sizes and sweep are drawn {across} times larger than along the stem."
        if across > 1
        else "To scale."
    )
    drawing.text(
        0,
        foot,
        shortened(words, SMALL, width) if not drawing.narrow else f"Across drawn {across} times larger.",
        "small quiet-text",
    )
    drawing.height = foot + 8
    return drawing.svg("stem")


def _stem_words(logs: Sequence[StemLog], tree_height_m: float | None) -> str:
    said = "; ".join(f"{log.code}: from {log.bottom_m:.2f} m, {_log_words(log)}" for log in logs)
    height = f"Tree height {tree_height_m:.1f} m. " if tree_height_m else ""
    return f"{height}{len(logs)} logs from the butt: {said}."


def _log_words(log: StemLog) -> str:
    sweep = f", sweep {log.sweep_mm:.0f}{shown.HARD}mm" if log.sweep_mm is not None else ""
    return f"{log.length_m:.2f}{shown.HARD}m, {log.led_mm:.0f} to {log.sed_mm:.0f}{shown.HARD}mm{sweep}"


def _height_axis(drawing: Drawing, along: Scale, marks: Sequence[float]) -> None:
    for mark in marks:
        y = along(mark)
        drawing.line(30, y, 36, y, "axis")
        last = mark == marks[-1]
        drawing.text(
            26,
            y + 4,
            f"{shown.number(mark, 0 if float(mark).is_integer() else 1)}{'' if not last else shown.HARD + 'm'}",
            "small quiet-text",
            "end",
        )
    drawing.line(36, along(marks[0]), 36, along(marks[-1]), "axis")


def _gaps(
    drawing: Drawing, logs: Sequence[StemLog], along: Scale, middle: float, tree_height_m: float | None
) -> None:
    ends = [0.0, *(log.bottom_m + log.length_m for log in logs)]
    starts = [*(log.bottom_m for log in logs), tree_height_m or ends[-1]]
    for end, start in zip(ends, starts, strict=True):
        if start - end > 0.02:
            drawing.line(middle, along(end), middle, along(start), "open-stem")


def _label_places(wanted: Sequence[float], apart: float) -> list[float]:
    """Heights of labels (page y, falling from butt to top) near the wanted ones, at least `apart` units apart."""
    places = list(wanted)
    for i, (lower, upper) in enumerate(pairwise(wanted), start=1):
        del lower, upper
        places[i] = min(places[i], places[i - 1] - apart)
    return places


def _stem_log(
    drawing: Drawing, log: StemLog, along: Scale, middle: float, per_mm: float, label_y: float, label_x: float
) -> None:
    low, high = along(log.bottom_m), along(log.bottom_m + log.length_m)
    butt, top = log.led_mm * per_mm / 2, log.sed_mm * per_mm / 2
    # A parabola through both ends whose apex lies the sweep away has its control point twice as far.
    bow = 2 * (log.sweep_mm or 0.0) * per_mm
    half, mean = (low + high) / 2, (butt + top) / 2
    outline = (
        f"M{middle - butt:.1f} {low:.1f}Q{middle - mean + bow:.1f} {half:.1f} {middle - top:.1f} {high:.1f}"
        f"H{middle + top:.1f}Q{middle + mean + bow:.1f} {half:.1f} {middle + butt:.1f} {low:.1f}Z"
    )
    note = f"{log.code}: {_log_words(log)}"
    with drawing.link(log.href, note):
        drawing.path(outline, f"log {f'mark {log.css}' if log.css else 'sapwood'}", note)
        drawing.path(
            f"M{middle + mean + bow / 2 + 3:.1f} {half:.1f}L{label_x - 6:.1f} {label_y:.1f}", "leader"
        )
        space = drawing.width - label_x
        drawing.text(label_x, label_y - 1, shortened(log.code, LABEL, space), "label strong")
        drawing.text(label_x, label_y + 14, shortened(_log_words(log), SMALL, space), "small quiet-text")

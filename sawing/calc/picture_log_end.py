"""The picture of a log end: sapwood, heartwood, pith and every board at its place. Sizes in mm."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from portal.calc import shown
from portal.calc.svg import TYPE_SIZES, WIDE, Drawing, shortened, text_width

SMALL = TYPE_SIZES["small"]
RULERS_MM = (1, 10, 20, 50, 100, 200, 500)


@dataclass(frozen=True)
class EndBoard:
    """A board on the log end: a rectangle in mm from the pith, x to the right, y up, its lower left first.

    `label` is the short word inside the rectangle, `words` what hovering tells, `css` a class from
    {% grade_colour %} or {% clone_colour %}. `angle_deg` turns the rectangle about its middle, anticlockwise.
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
    angle_deg: float = 0.0


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


def placed_by_flitch(pieces: Iterable[SawnPiece], kerf_mm: float = 0.0) -> list[EndBoard]:
    """Rectangles for the boards of a live-sawn log, inferred from the order of flitches and pieces.

    Flitches lie one above the other, lowest number lowest, `kerf_mm` apart; the pieces of a flitch lie side
    by side. Both are centred on the pith, which is a guess: say so on the picture (log_end(inferred=True)).

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
    bark: str = "under bark",
    width: int = WIDE,
) -> str:
    """The end of a log to scale: sapwood, heartwood, pith, and every board at its place.

    `bark` says where the diameters were taken, `diameter2_mm` is the reading at right angles (drawn upright).
    Heartwood is None where it was not measured, which the picture says. Boards link to their pages.

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
    size = min(width, 440) - 2.0
    reach = max(diameter_mm, upright, *(2 * r for b in boards for r in _reach(b)), 1.0)
    scale = size / reach
    cx, cy = (width / 2 if drawing.narrow else size / 2 + 1), y + upright_space(reach, upright, scale) / 2 + 1
    drawing.ellipse(cx, cy, diameter_mm * scale / 2, upright * scale / 2, "sapwood")
    ratio = (heart or 0.0) / math.sqrt(diameter_mm * upright)
    if heart:
        drawing.ellipse(cx, cy, diameter_mm * ratio * scale / 2, upright * ratio * scale / 2, "heartwood")
    for board in boards:
        _end_board(drawing, board, cx, cy, scale)
    if heart and boards:  # boards hide the heartwood: its boundary is drawn once more above them
        for css in ("heart-case", "heart-line"):
            drawing.ellipse(cx, cy, diameter_mm * ratio * scale / 2, upright * ratio * scale / 2, css)
    for board in boards:
        _end_label(drawing, board, cx, cy, scale)
    drawing.path(f"M{cx - 6:.1f} {cy:.1f}h12M{cx:.1f} {cy - 6:.1f}v12", "pith")
    bottom = cy + upright_space(reach, upright, scale) / 2 + 12
    drawing.height = _end_legend(
        drawing, f"Log {_diameters(diameter_mm, upright)}, {bark}", heart, inferred, scale, y, bottom, size
    )
    return drawing.svg("log-end")


def upright_space(reach_mm: float, upright_mm: float, scale: float) -> float:
    """Height that the log end and its boards need, in user units."""
    return max(upright_mm, reach_mm) * scale


def _reach(board: EndBoard) -> tuple[float, float]:
    if board.angle_deg:  # the circle about a turned board holds it
        middle = board.x_mm + board.width_mm / 2, board.y_mm + board.height_mm / 2
        far = math.hypot(*middle) + math.hypot(board.width_mm, board.height_mm) / 2
        return far, far
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
    sizes = _diameters(diameter, upright)
    places = " Places inferred from the order of flitches and pieces." if inferred else ""
    codes = ", ".join(f"{b.code}{f' ({b.words})' if b.words else ''}" for b in boards)
    return f"Log end {sizes}, {heart_words}. {len(boards)} boards: {codes or 'none'}.{places}"


def _end_board(drawing: Drawing, board: EndBoard, cx: float, cy: float, scale: float) -> None:
    x, y = cx + board.x_mm * scale, cy - (board.y_mm + board.height_mm) * scale
    wide, high = board.width_mm * scale, board.height_mm * scale
    note = f"{board.code}: {board.words}" if board.words else board.code
    turn = (
        f"rotate({-board.angle_deg:.1f} {x + wide / 2:.1f} {y + high / 2:.1f})" if board.angle_deg else None
    )
    with drawing.link(board.href, note):
        css = f"board {f'mark {board.css}' if board.css else 'plain'}"
        drawing.rect(x, y, wide, high, css, note, transform=turn)
        if {"reject", "again"} & set(board.css.split()):
            hatch = drawing.hatch("rising", board.css)
            drawing.rect(x, y, wide, high, "overlay on-mark", note, fill=hatch, transform=turn)


def _end_label(drawing: Drawing, board: EndBoard, cx: float, cy: float, scale: float) -> None:
    """The short word of a board in its middle, above all lines; left out where it does not fit."""
    wide, high = board.width_mm * scale, board.height_mm * scale
    x, y = cx + (board.x_mm + board.width_mm / 2) * scale, cy - (board.y_mm + board.height_mm / 2) * scale
    if not board.label or high < 13 or wide < 14:
        return
    label = shortened(board.label, SMALL, wide - 4)
    if "reject" in board.css.split():
        plate = text_width(label, SMALL) + 6
        drawing.rect(x - plate / 2, y - 7, plate, 14, f"mark plate {board.css}")
    css = f"small over on-mark {board.css}" if board.css else "small over"
    drawing.text(x, y + 4.3, label, css, "middle")


def _end_legend(
    drawing: Drawing,
    sizes: str,
    heart: float | None,
    inferred: bool,
    scale: float,
    top: float,
    bottom: float,
    size: float,
) -> float:
    """Sizes in words and a line of 100 mm, beside the log end on a sheet, under it on a phone."""
    x, y = (0.0, bottom) if drawing.narrow else (size + 34, top)
    lines = [sizes]
    lines.append(f"Heartwood {heart:.0f}{shown.HARD}mm" if heart is not None else "Heartwood not measured")
    if inferred:
        lines += ["Places inferred from the", "order of flitches and pieces"]
    for i, line in enumerate(lines):
        css = ("sapwood", "heartwood" if heart is not None else "unmeasured", "", "")[i]
        if css:
            drawing.rect(x + 0.5, y + 3 + 21 * i, 13, 12, css)
        drawing.text(x + (21 if css else 0), y + 14 + 21 * i, line, "small")
    y += 21 * len(lines) + 12
    length = max(mm for mm in RULERS_MM if mm == RULERS_MM[0] or mm * scale <= 160)
    drawing.path(f"M{x + 0.5:.1f} {y:.1f}v8m0-4h{length * scale:.1f}m0-4v8", "ruler")
    drawing.text(x + length * scale + 8, y + 8, f"{length}{shown.HARD}mm", "small")
    return max(bottom, y + 20)

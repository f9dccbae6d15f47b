"""Label sheets as PDF: modules as crisp rectangles of whole printer dots, with marks to cut, join and put on.

The columns of a sheet for the top end are printed from right to left (`Sheet.corner`): put on, both ends of a log count
their columns in the same direction, as one looks along the log from the butt.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable

from reportlab.lib.colors import black
from reportlab.pdfgen.canvas import Canvas

from portal.cautions import caution_text
from portal.codes.symbols import BoolArray, label_symbol
from portal.pdf_text import fitted, lines_of, printable
from sawing.calc.label_code import END_WORDS
from sawing.calc.label_lattice import DOT_MM, SYMBOL_MODULES
from sawing.labels.sheet_layout import FRAME_DOTS, PAGE_DOTS, Sheet, Tile, tiles

POINTS_PER_DOT = 72 / 300
HAIRLINE, LINE = 1, 2  # dots
SMALL, USUAL, LARGE = 25, 33, 50  # type sizes in dots: 6, 8, 12 points
CHECK_MM = 100
END_IN_CAPITALS = tuple(word.upper() for word in END_WORDS)


def sheets_pdf(sheets: Iterable[Sheet], title: str) -> bytes:
    """A PDF (A4) of label sheets one after the other, each over as many pages as its log needs.

    Every module is a rectangle whose sides are whole printer dots of 1/300 inch, at whole dots of the page; print it
    at its own size. Each page bears the log, the end, a line to check the scale, and caution C2.
    """
    out = io.BytesIO()
    canvas = Canvas(
        out, pagesize=tuple(d * POINTS_PER_DOT for d in PAGE_DOTS), pageCompression=1, invariant=1
    )
    canvas.setTitle(printable(title))
    for sheet in sheets:
        pages = tiles(sheet)
        for number, tile in enumerate(pages, 1):
            canvas.scale(POINTS_PER_DOT, POINTS_PER_DOT)
            canvas.setFillColor(black)
            _furniture(canvas, sheet, number, len(pages))
            _tile(canvas, sheet, tile)
            canvas.showPage()
    canvas.save()
    return out.getvalue()


def _tile(canvas: Canvas, sheet: Sheet, tile: Tile) -> None:
    """The part of the sheet on this page. The page's origin is moved to the sheet's middle, by whole dots."""
    left, bottom, right, top = FRAME_DOTS
    x = left + (PAGE_DOTS[0] - left - right - (tile.right - tile.left)) // 2 - tile.left
    y = bottom + (PAGE_DOTS[1] - bottom - top - (tile.top - tile.bottom)) // 2 - tile.bottom
    canvas.saveState()
    canvas.translate(x, y)
    _join_marks(canvas, tile)
    clip = canvas.beginPath()
    clip.rect(tile.left, tile.bottom, tile.right - tile.left, tile.top - tile.bottom)
    canvas.clipPath(clip, stroke=0, fill=0)
    _modules(canvas, sheet, tile)
    _outline(canvas, sheet)
    _pith_mark(canvas, sheet)
    canvas.restoreState()


def _modules(canvas: Canvas, sheet: Sheet, tile: Tile) -> None:
    side = SYMBOL_MODULES * sheet.dots
    drawn: list[str] = []
    for row, col in sheet.cells:
        x, y = sheet.corner(row, col)
        if tile.left <= x and x + side <= tile.right and tile.bottom <= y and y + side <= tile.top:
            drawn += _symbol(label_symbol(sheet.text(row, col)), x, y, sheet.dots)
    # Whole numbers, written as such: the library's own rectangles would format every one as a decimal.
    canvas.addLiteral("\n".join([*drawn, "f"]) if drawn else "")


def _symbol(modules: BoolArray, x: int, y: int, dots: int) -> list[str]:
    """One rectangle for each run of dark modules in a line; the first line of modules is the upper one."""
    drawn = []
    for line, row in enumerate(modules.tolist()):
        bottom = y + (len(row) - 1 - line) * dots
        start = None
        for place, dark in enumerate([*row, False]):
            if dark and start is None:
                start = place
            elif not dark and start is not None:
                drawn.append(f"{x + start * dots} {bottom} {(place - start) * dots} {dots} re")
                start = None
    return drawn


def _outline(canvas: Canvas, sheet: Sheet) -> None:
    """The line to cut along, the wood's edge, degrees clockwise from the top, and what sheet this is."""
    outer, wood = sheet.outline_dots, sheet.wood_dots
    canvas.setLineWidth(LINE)
    canvas.circle(0, 0, outer - LINE, stroke=1, fill=0)
    for degree in range(0, 360, 10):
        turn = math.radians(degree)
        length = 45 if degree % 90 == 0 else 25 if degree % 30 == 0 else 12
        canvas.line(
            math.sin(turn) * (outer - length), math.cos(turn) * (outer - length),
            math.sin(turn) * outer, math.cos(turn) * outer,
        )  # fmt: skip
        if degree % 30 == 0 and degree % 180:
            canvas.setFont("Helvetica", SMALL)
            at = outer - length - 22
            canvas.drawCentredString(math.sin(turn) * at, math.cos(turn) * at - 9, f"{degree}°")
    band = outer - wood
    name = f"{sheet.log} · {END_IN_CAPITALS[sheet.end]} · {sheet.serial:05d}"
    room = 2 * math.sqrt(max(0.0, outer**2 - (wood + band * 0.65) ** 2)) - 100
    for words, y in ((f"TOP OF LOG · {name}", outer - 45 - SMALL), (name, -(outer - 25))):
        canvas.setFont("Helvetica-Bold", SMALL)
        canvas.drawCentredString(0, y, fitted(words, "Helvetica-Bold", SMALL, room))
    canvas.setFillColor(black)
    arrow = canvas.beginPath()
    arrow.moveTo(0, outer - 4)
    arrow.lineTo(-18, outer - 42)
    arrow.lineTo(18, outer - 42)
    arrow.close()
    canvas.drawPath(arrow, stroke=0, fill=1)


def _pith_mark(canvas: Canvas, sheet: Sheet) -> None:
    """Four angles in the gaps around the middle cell: its quiet zone of one module stays light."""
    out = sheet.pitch / 2
    canvas.setLineWidth(LINE)
    for sx in (-1, 1):
        for sy in (-1, 1):
            canvas.line(sx * out, sy * out, sx * (out - 2.5 * sheet.dots), sy * out)
            canvas.line(sx * out, sy * out, sx * out, sy * (out - 2.5 * sheet.dots))
            canvas.line(sx * out, sy * out, sx * (out + 2 * sheet.dots), sy * out)
            canvas.line(sx * out, sy * out, sx * out, sy * (out + 2 * sheet.dots))


def _join_marks(canvas: Canvas, tile: Tile) -> None:
    """Corners to trim to, and where the middle lines of the sheet leave this page, to lay pages together."""
    if tile.n_across * tile.n_down == 1:
        return
    canvas.setLineWidth(HAIRLINE)
    for x, outward in ((tile.left, -1), (tile.right, 1)):
        for y, upward in ((tile.bottom, -1), (tile.top, 1)):
            canvas.line(x + outward * 12, y, x + outward * 60, y)
            canvas.line(x, y + upward * 12, x, y + upward * 60)
    # The middle lines are marked outside the page's part only: inside they would run through codes.
    for x, outward in ((tile.left, -1), (tile.right, 1)):
        if tile.bottom <= 0 <= tile.top:
            canvas.line(x + outward * 12, 0, x + outward * 60, 0)
            canvas.circle(x + outward * 36, 0, 14)
    for y, upward in ((tile.bottom, -1), (tile.top, 1)):
        if tile.left <= 0 <= tile.right:
            canvas.line(0, y + upward * 12, 0, y + upward * 60)
            canvas.circle(0, y + upward * 36, 14)


def _furniture(canvas: Canvas, sheet: Sheet, number: int, of: int) -> None:
    """What stands above and below the sheet on every page."""
    left, right, top = FRAME_DOTS[0], PAGE_DOTS[0] - FRAME_DOTS[2], PAGE_DOTS[1]
    canvas.setFont("Helvetica-Bold", LARGE)
    name = f"Log {sheet.log}, {END_WORDS[sheet.end]} end, serial number {sheet.serial:05d}"
    canvas.drawString(left, top - 130, fitted(name, "Helvetica-Bold", LARGE, right - left - 330))
    canvas.setFont("Helvetica", USUAL)
    canvas.drawRightString(right, top - 130, f"Page {number} of {of}")
    about = (
        f"For an end of {sheet.diameter_mm:.0f} mm. Boards of {sheet.thickness_mm:g} × {sheet.width_mm:g} mm and more "
        f"keep {sheet.fewest} or more whole codes ({sheet.torn_mm:g} mm spoilt at each face). "
        f"Codes {SYMBOL_MODULES * sheet.dots * DOT_MM:.1f} mm, {sheet.pitch * DOT_MM:.2f} mm apart.",
        "Cut out along the circle, lay pages together at the crosses. Arrow to the top of the log, marked cell over "
        "the pith; scan the code over the pith.",
        "North lies at ______° clockwise from the arrow.",
    )
    y = top - 185
    for line in about:
        canvas.drawString(left, y, fitted(line, "Helvetica", USUAL, right - left))
        y -= 42
    _check_line(canvas, left, 235)
    canvas.setFont("Helvetica", SMALL)
    for place, line in enumerate(lines_of(f"C2: {caution_text('C2')}", "Helvetica", SMALL, right - left)):
        canvas.drawString(left, 120 - place * 32, line)


def _check_line(canvas: Canvas, x: int, y: int) -> None:
    length = CHECK_MM / DOT_MM
    canvas.setLineWidth(LINE)
    canvas.line(x, y, x + length, y)
    for tick in range(0, CHECK_MM + 1, 10):
        height = 24 if tick % 50 == 0 else 12
        canvas.line(x + tick / DOT_MM, y, x + tick / DOT_MM, y + height)
    canvas.setFont("Helvetica", USUAL)
    words = f"{CHECK_MM} mm: measure it. Print at 100 %, never fitted to the page."
    canvas.drawString(x, y - 42, words)

"""Tree tags as PDF: one tag a tree, with a QR of the tree's code and the code in letters, to cut out.

The symbol holds the tree's code and nothing else: what the field page and every scan field look for.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from portal.codes.symbols import qr
from portal.pdf_text import fitted, printable

PAGE_MM: Final = (210.0, 297.0)
DOT: Final = 72 / 300  # modules are whole dots of a 300 dpi printer
QUIET_MODULES: Final = 4  # ISO/IEC 18004


@dataclass(frozen=True)
class TagSize:
    """How tags lie on a page of A4: so many across and down, each with its sides in mm."""

    name: str
    across: int
    down: int
    width_mm: float
    height_mm: float

    @property
    def a_page(self) -> int:
        return self.across * self.down


SIZES: Final = {
    "small": TagSize("24 a page", 3, 8, 64, 34),
    "large": TagSize("10 a page", 2, 5, 97, 54),
}


@dataclass(frozen=True)
class Tag:
    """One tree: its code, its place, its number in the walk, and its clone where that is to be shown."""

    code: str
    site: str
    row: int
    col: int
    block: str
    order: int
    clone: str = ""


def tags_pdf(tags: Iterable[Tag], size: TagSize, title: str) -> bytes:
    """A PDF (A4) of tags in the order given, line by line, with light lines to cut along."""
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(PAGE_MM[0] * mm, PAGE_MM[1] * mm), pageCompression=1, invariant=1)
    canvas.setTitle(printable(title))
    left = (PAGE_MM[0] - size.across * size.width_mm) / 2
    top = PAGE_MM[1] - (PAGE_MM[1] - size.down * size.height_mm) / 2
    place = -1
    for number, tag in enumerate(tags):
        place = number % size.a_page
        if number and not place:
            canvas.showPage()
        line, column = divmod(place, size.across)
        x, y = left + column * size.width_mm, top - (line + 1) * size.height_mm
        _tag(canvas, tag, size, x * mm, y * mm)
    if place < 0:
        canvas.drawString(left * mm, top * mm, "No trees.")
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _tag(canvas: Canvas, tag: Tag, size: TagSize, x: float, y: float) -> None:
    width, height = size.width_mm * mm, size.height_mm * mm
    canvas.setLineWidth(0.3)
    canvas.setStrokeGray(0.6)
    canvas.rect(x, y, width, height)
    side = _symbol(canvas, tag.code, x, y, height)
    left, room = x + side + 1 * mm, width - side - 3 * mm
    _code(canvas, tag.code, left, y + height * 0.66, room, height * 0.24)
    small = height / 34 * 3.2
    words = [f"Site {tag.site}", f"Row {tag.row}, column {tag.col}", f"Block {tag.block}"]
    if tag.clone:
        words[2] += f" · {tag.clone}"
    for place, line in enumerate(words):
        canvas.setFont("Helvetica", small)
        canvas.drawString(left, y + height * (0.44 - 0.13 * place), fitted(line, "Helvetica", small, room))
    canvas.setFont("Helvetica", small * 0.8)
    canvas.drawRightString(x + width - 2 * mm, y + 1.5 * mm, str(tag.order))


def _symbol(canvas: Canvas, code: str, x: float, y: float, height: float) -> float:
    """Draw the QR at the left of a tag; the width it takes with its quiet zone, in points."""
    modules = qr(code)
    count = len(modules)
    dots = int(height / DOT / (count + 2 * QUIET_MODULES))
    side = count * dots
    quiet = (round(height / DOT) - side) // 2
    canvas.saveState()
    canvas.translate(round(x / DOT) * DOT, round(y / DOT) * DOT)
    canvas.scale(DOT, DOT)
    drawn = [
        f"{quiet + col * dots} {quiet + (count - 1 - row) * dots} {dots} {dots} re"
        for row in range(count)
        for col in range(count)
        if modules[row, col]
    ]
    canvas.addLiteral("\n".join([*drawn, "f"]))
    canvas.restoreState()
    return (side + 2 * quiet) * DOT


def _code(canvas: Canvas, code: str, x: float, y: float, room: float, largest: float) -> None:
    """The code as large as its room allows, in two lines where one would be hard to read."""
    text = printable(code)
    size = min(largest, largest * room / max(stringWidth(text, "Helvetica-Bold", largest), 1))
    if size >= largest / 2:
        canvas.setFont("Helvetica-Bold", size)
        canvas.drawString(x, y, text)
        return
    half = (len(text) + 1) // 2
    parts = (text[:half], text[half:])
    widest = max(stringWidth(part, "Helvetica-Bold", largest) for part in parts)
    size = min(largest / 2, largest * room / widest)
    canvas.setFont("Helvetica-Bold", size)
    for place, part in enumerate(parts):
        canvas.drawString(x, y + (0.6 - place * 1.1) * size, part)

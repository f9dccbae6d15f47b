"""Reading our own PDFs back: pages as pictures of their filled rectangles, and their text.

A small and slow interpreter of what such pages use (q Q cm re f W n, text), written apart from what draws them.
"""

import base64
import re
import zlib
from dataclasses import dataclass, field

import numpy as np

NUMBER = r"[-+]?\d*\.?\d+"


@dataclass
class Page:
    """Filled rectangles as (x, y, width, height) in points from the lower left, and the words."""

    rectangles: list[tuple[float, float, float, float]] = field(default_factory=list)
    words: list[str] = field(default_factory=list)

    @property
    def text(self) -> str:
        return " ".join(self.words)

    def picture(self, pixels_per_inch: int = 300, size_mm: tuple[float, float] = (210, 297)) -> np.ndarray:
        """The page as grey values, dark where a rectangle is filled; sides are rounded to whole pixels."""
        scale = pixels_per_inch / 72
        width, height = (round(mm / 25.4 * pixels_per_inch) for mm in size_mm)
        paper = np.full((height, width), 255, np.uint8)
        for x, y, w, h in self.rectangles:
            left, right = round(x * scale), round((x + w) * scale)
            top, bottom = height - round((y + h) * scale), height - round(y * scale)
            paper[max(top, 0) : max(bottom, 0), max(left, 0) : max(right, 0)] = 0
        return paper


def pages_of(pdf: bytes) -> list[Page]:
    """The pages of a PDF in the order of their content streams."""
    found = []
    for head, body in re.findall(rb"<<([^>]*?)>>\s*stream\r?\n(.*?)endstream", pdf, re.S):
        if b"FlateDecode" not in head:
            continue
        data = body.strip()
        if b"ASCII85Decode" in head:
            data = (
                base64.a85decode(data, adobe=True) if data.startswith(b"<~") else base64.a85decode(data[:-2])
            )
        found.append(_page(zlib.decompress(data).decode("latin-1")))
    return found


def _page(content: str) -> Page:
    page, matrix, stack = Page(), np.eye(3), []
    waiting: list[tuple[float, float, float, float]] = []
    for line in _operations(content):
        *arguments, operator = line
        if operator == "q":
            stack.append(matrix)
        elif operator == "Q":
            matrix = stack.pop()
        elif operator == "cm":
            a, b, c, d, e, f = map(float, arguments)
            matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
        elif operator == "re":
            x, y, w, h = map(float, arguments)
            (x0, y0, _), (x1, y1, _) = np.array([x, y, 1]) @ matrix, np.array([x + w, y + h, 1]) @ matrix
            waiting.append((min(x0, x1), min(y0, y1), abs(x1 - x0), abs(y1 - y0)))
        elif operator in ("f", "f*", "F"):
            page.rectangles += waiting
            waiting = []
        elif operator in ("n", "S", "B"):
            waiting = []
        elif operator == "Tj":
            page.words.append(_string(arguments[0]))
    return page


def _operations(content: str) -> list[list[str]]:
    tokens = re.findall(r"\((?:\\.|[^\\()])*\)|<<.*?>>|\[.*?\]|[^\s()\[\]]+", content, re.S)
    operations, line = [], []
    for token in tokens:
        line.append(token)
        if not re.fullmatch(NUMBER, token) and token[0] not in "(/[<":
            operations.append(line)
            line = []
    return operations


def _string(token: str) -> str:
    text = re.sub(r"\\([0-7]{3})", lambda m: chr(int(m[1], 8)), token[1:-1])
    return re.sub(r"\\(.)", r"\1", text).encode("latin-1", "replace").decode("cp1252", "replace")

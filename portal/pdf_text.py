"""Text on printed pages: only letters the page's type has, lines that fit."""

from __future__ import annotations

from reportlab.pdfbase.pdfmetrics import stringWidth


def printable(text: str) -> str:
    """The text in the letters of the built-in types (western European); others become question marks."""
    return text.encode("cp1252", "replace").decode("cp1252")


def fitted(text: str, font: str, size: float, width: float) -> str:
    """The printable text, or its beginning and an ellipsis where it is wider than a line."""
    whole = printable(text)
    if stringWidth(whole, font, size) <= width:
        return whole
    letters = whole
    while letters and stringWidth(f"{letters}…", font, size) > width:
        letters = letters[:-1]
    return f"{letters.rstrip()}…"


def lines_of(text: str, font: str, size: float, width: float) -> list[str]:
    """The printable text in lines of whole words that fit a width; a word wider than it is shortened."""
    lines: list[str] = []
    for word in printable(text).split():
        if lines and stringWidth(f"{lines[-1]} {word}", font, size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(fitted(word, font, size, width))
    return lines

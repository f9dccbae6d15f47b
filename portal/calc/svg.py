"""Drawing SVG from data: escaping, text, scales, hatches. Classes only, no inline style.

Colours, strokes and type sizes live in the stylesheet pictures.css, so that light, dark and printed paper
draw the same picture. Lengths are user units of the viewBox; at the width a layout is made for, one unit is
one pixel of the page.
"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Final

WIDE: Final = 720  # layout for a sheet of paper or a screen
NARROW: Final = 360  # layout for a phone
TYPE_SIZES: Final = {"title": 16.0, "label": 13.0, "small": 12.0}  # as in pictures.css
EM: Final = (
    0.6  # mean width of a letter in em; wide system faces come near it, so estimates err to the safe side
)

_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_UNSAFE_ID = re.compile(r"[^A-Za-z0-9_-]")


def escape(text: object) -> str:
    """Text fit for XML content and quoted attributes; characters that XML forbids become U+FFFD."""
    return html.escape(_FORBIDDEN.sub("\ufffd", str(text)), quote=True)


def safe_href(href: str) -> str:
    """An address within the site or on the web; anything that could run a script becomes empty."""
    plain = href.strip()
    if plain.startswith(("/", "#", "?", "http://", "https://")) and not plain.startswith(("//", "/\\")):
        return plain
    return ""


def text_width(text: str, size: float) -> float:
    """Estimated width of a text in user units."""
    return len(text) * size * EM


def wrap(text: str, size: float, width: float) -> list[str]:
    """Lines of whole words that fit a width; a longer word stands alone on its line."""
    lines: list[str] = []
    for word in text.split(" "):
        if lines and text_width(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def shortened(text: str, size: float, width: float) -> str:
    """The text, or its beginning and an ellipsis where it would not fit a width."""
    if text_width(text, size) <= width:
        return text
    letters = max(1, int(width / (size * EM)) - 1)
    return text[:letters].rstrip() + "…"


@dataclass(frozen=True)
class Scale:
    """Maps a value range onto a line; `low` and `high` may be equal only for an empty picture."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        if self.high == self.low:
            return (self.start + self.end) / 2
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)


def ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round values (1, 2 or 5 times a power of ten apart) that cover a range from outside.

    Raises:
        ValueError: unless low < high, both finite.
    """
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise ValueError(f"no range from {low!r} to {high!r}")
    rough = (high - low) / max(1, about)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m for m in (1.0, 2.0, 5.0, 10.0) if m * power >= rough * 0.999) * power
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(i * step, 10) for i in range(first, last + 1)]


def _number(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def _attributes(values: dict[str, object]) -> str:
    parts = []
    for name, value in values.items():
        if value is None or value == "":
            continue
        text = _number(value) if isinstance(value, float) else str(value)
        parts.append(f' {name.rstrip("_").replace("_", "-")}="{escape(text)}"')
    return "".join(parts)


@dataclass
class Drawing:
    """A picture under way. `name` makes ids unique on a page; width and height are the viewBox."""

    name: str
    width: float
    title: str
    description: str
    height: float = 0.0
    linked: bool = False
    _parts: list[str] = field(default_factory=list)
    _hatches: dict[str, str] = field(default_factory=dict)

    @property
    def prefix(self) -> str:
        return f"{_UNSAFE_ID.sub('-', self.name)}-{int(self.width)}"

    @property
    def narrow(self) -> bool:
        return self.width < (WIDE + NARROW) / 2

    def element(self, tag: str, content: str = "", **attributes: object) -> None:
        body = f">{content}</{tag}>" if content else "/>"
        self._parts.append(f"<{tag}{_attributes(attributes)}{body}")

    def rect(
        self, x: float, y: float, width: float, height: float, class_: str, note: str = "", **more: object
    ) -> None:
        title = f"<title>{escape(note)}</title>" if note else ""
        self.element(
            "rect",
            title,
            x=float(x),
            y=float(y),
            width=float(width),
            height=float(height),
            class_=class_,
            **more,
        )

    def line(self, x1: float, y1: float, x2: float, y2: float, class_: str) -> None:
        self.element("line", x1=float(x1), y1=float(y1), x2=float(x2), y2=float(y2), class_=class_)

    def ellipse(self, cx: float, cy: float, rx: float, ry: float, class_: str) -> None:
        self.element("ellipse", cx=float(cx), cy=float(cy), rx=float(rx), ry=float(ry), class_=class_)

    def path(self, d: str, class_: str, note: str = "", **more: object) -> None:
        self.element("path", f"<title>{escape(note)}</title>" if note else "", d=d, class_=class_, **more)

    def text(self, x: float, y: float, text: str, class_: str = "label", anchor: str = "") -> None:
        self.element("text", escape(text), x=float(x), y=float(y), class_=class_, text_anchor=anchor)

    @contextmanager
    def link(self, href: str, label: str) -> Iterator[None]:
        """Elements drawn inside belong to a link; an unsafe or empty address makes no link."""
        href = safe_href(href)
        if href:
            self.linked = True
            self._parts.append(f'<a href="{escape(href)}" aria-label="{escape(label)}">')
        yield
        if href:
            self._parts.append("</a>")

    def heading(self, note: str) -> float:
        """Write the title and a line of unit, n and date; the y below them, where the picture begins."""
        y = 6.0
        for line in wrap(self.title, TYPE_SIZES["title"], self.width):
            y += 20
            self.text(0, y - 4, line, "title")
        for line in wrap(note, TYPE_SIZES["small"], self.width) if note else ():
            y += 17
            self.text(0, y - 3, line, "small quiet-text")
        return y + 10

    def hatch(self, kind: str, css: str = "") -> str:
        """The fill attribute of a hatch: rising, falling, crossed, dotted or level.

        `css` is the class of the mark it lies on: its lines then take the ink that is read on that mark.
        """
        paths = {
            "rising": "M-1 1l2-2M0 7l7-7M6 8l2-2",
            "falling": "M-1 6l2 2M0 0l7 7M6-1l2 2",
            "crossed": "M0 7l7-7M0 0l7 7",
            "dotted": "M1.5 1.5h1.4M5 5h1.4",
            "level": "M0 3.5h7",
        }
        id_ = _UNSAFE_ID.sub("-", f"{self.prefix}-{kind} {css}".strip())
        on_mark = f" on-mark {css}" if css else ""
        self._hatches[id_] = (
            f'<pattern id="{id_}" width="7" height="7" patternUnits="userSpaceOnUse">'
            f'<path d="{paths[kind]}" class="hatch {kind}{escape(on_mark)}"/></pattern>'
        )
        return f"url(#{id_})"

    def svg(self, class_: str = "") -> str:
        """The finished picture as one SVG element."""
        defs = f"<defs>{''.join(self._hatches.values())}</defs>" if self._hatches else ""
        role = (
            "group" if self.linked else "img"
        )  # an image hides its links from screen readers, a group does not
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing {escape(class_)}" role="{role}" '
            f'viewBox="0 0 {_number(self.width)} {_number(self.height)}" '
            f'aria-labelledby="{self.prefix}-title {self.prefix}-desc">'
            f'<title id="{self.prefix}-title">{escape(self.title)}</title>'
            f'<desc id="{self.prefix}-desc">{escape(self.description)}</desc>'
            f"{defs}{''.join(self._parts)}</svg>"
        )

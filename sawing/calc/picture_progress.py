"""The picture of a study's progress: one bar a stage, from felled to graded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from portal.calc import shown
from portal.calc.svg import TYPE_SIZES, WIDE, Drawing, shortened

LABEL, SMALL = TYPE_SIZES["label"], TYPE_SIZES["small"]


@dataclass(frozen=True)
class StageBar:
    """How far a stage is: `done` of `of` pieces of one kind (`what`, in the singular); links to both lists."""

    title: str
    what: str
    done: int
    of: int
    href_done: str = ""
    href_left: str = ""

    @property
    def left(self) -> int:
        return self.of - self.done

    @property
    def words(self) -> str:
        """ "12 of 18 logs", or that there is none."""
        if not self.of:
            return f"no {self.what} yet"
        return f"{shown.number(self.done, 0)} of {shown.counted(self.of, self.what)}"


def progress(bars: Sequence[StageBar], *, name: str, title: str, note: str = "", width: int = WIDE) -> str:
    """Stages from above in their order; the filled part is done, what is missing stays open and is named.

    Raises:
        ValueError: without stages, or for more done than there is.
    """
    if not bars or any(not 0 <= bar.done <= bar.of for bar in bars):
        raise ValueError("progress needs stages, each with at most as much done as there is")
    drawing = Drawing(name, width, title, "; ".join(f"{bar.title}: {bar.words}" for bar in bars) + ".")
    y = drawing.heading(note) + 2
    for bar in bars:
        y = _narrow_row(drawing, bar, y) if drawing.narrow else _wide_row(drawing, bar, y)
    drawing.height = y + 4
    return drawing.svg("progress-stages")


def _wide_row(drawing: Drawing, bar: StageBar, y: float) -> float:
    drawing.text(0, y + 16, shortened(bar.title, LABEL, 112), "label strong")
    _bar(drawing, bar, 120, y, drawing.width - 120 - 260)
    x = drawing.width - 248
    drawing.text(x, y + 16, shortened(bar.words, LABEL, 150), "label")
    if bar.left:
        drawing.text(drawing.width, y + 16, f"{shown.number(bar.left, 0)} missing", "small quiet-text", "end")
    return y + 34


def _narrow_row(drawing: Drawing, bar: StageBar, y: float) -> float:
    drawing.text(0, y + 12, bar.title, "label strong")
    drawing.text(drawing.width, y + 12, bar.words, "small", "end")
    _bar(drawing, bar, 0, y + 18, drawing.width - 2)
    return y + 52


def _bar(drawing: Drawing, bar: StageBar, x: float, y: float, length: float) -> None:
    full = length * bar.done / bar.of if bar.of else 0.0
    left = f"{bar.title}: {shown.counted(bar.left, bar.what)} missing"
    with drawing.link(bar.href_left if bar.left else "", left):
        drawing.rect(x + 1 + full, y, length - full, 22, "segment" if bar.of else "segment unknown", left)
    if full:
        done = f"{bar.title}: {bar.words}"
        with drawing.link(bar.href_done, done):
            drawing.rect(x + 1, y, full, 22, "segment graded", done)

"""The picture of the out-turn: shares by grade, one bar a clone. Shares are fractions 0…1."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from portal.calc import shown
from portal.calc.svg import TYPE_SIZES, WIDE, Drawing, shortened, text_width

LABEL, SMALL = TYPE_SIZES["label"], TYPE_SIZES["small"]


@dataclass(frozen=True)
class Share:
    """One grade's share of a bar; `css` is its class from {% grade_colour %}, as "grade-9 reject"."""

    name: str
    share: float
    css: str


@dataclass(frozen=True)
class Bar:
    """One clone's out-turn: shares in the order of the grades, best first."""

    name: str
    shares: Sequence[Share]
    n_trees: int
    n_boards: int
    css: str = ""


def out_turn(bars: Sequence[Bar], *, name: str, title: str, note: str = "", width: int = WIDE) -> str:
    """Shares by grade of each clone's boards as one bar a clone, best grade at the left.

    Widths are proportional to shares; a bar whose shares sum to less than 1 stays open at its right end.

    Raises:
        ValueError: for a share below 0, not finite, or shares of one bar that sum to more than 1.
    """
    for bar in bars:
        if any(not (math.isfinite(s.share) and s.share >= 0) for s in bar.shares):
            raise ValueError(f"{bar.name}: a share is missing or below 0")
        if sum(s.share for s in bar.shares) > 1 + 1e-6:
            raise ValueError(f"{bar.name}: shares sum to more than 1")
    said = "; ".join(
        f"{b.name} ({sample_words(b.n_trees, b.n_boards)}): "
        + ", ".join(f"{s.name} {shown.percent(s.share)}" for s in b.shares)
        for b in bars
    )
    drawing = Drawing(name, width, title, f"Shares by grade, best first. {said}.")
    y = _grade_key(drawing, bars, drawing.heading(note))
    left = 0.5 if drawing.narrow else 150.0
    bar_width = width - left - 0.5
    for bar in bars:
        if drawing.narrow:
            _bar_name(drawing, bar, 0, y + 12)
            drawing.text(width, y + 12, sample_words(bar.n_trees, bar.n_boards), "small quiet-text", "end")
            _bar_segments(drawing, bar, left, y + 18, bar_width, 26)
            y += 56
        else:
            _bar_name(drawing, bar, 0, y + 13)
            drawing.text(0, y + 28, sample_words(bar.n_trees, bar.n_boards), "small quiet-text")
            _bar_segments(drawing, bar, left, y, bar_width, 30)
            y += 42
    drawing.height = y
    return drawing.svg("out-turn")


def _bar_name(drawing: Drawing, bar: Bar, x: float, y: float) -> None:
    if bar.css:
        drawing.rect(x + 0.5, y - 10, 10, 10, f"mark {bar.css}")
        if "again" in bar.css.split():
            drawing.rect(x + 0.5, y - 10, 10, 10, "overlay", fill=drawing.hatch("rising", bar.css))
    drawing.text(x + (17 if bar.css else 0), y, shortened(bar.name, LABEL, 130), "label strong")


def _grade_key(drawing: Drawing, bars: Sequence[Bar], y: float) -> float:
    """The grades with their swatches, in order, wrapped; the y below them."""
    seen: dict[str, str] = {}
    for bar in bars:
        for share in bar.shares:
            seen.setdefault(share.name, share.css)
    x = 0.0
    for grade, css in seen.items():
        wide = 20 + text_width(grade, SMALL) + 14
        if x and x + wide > drawing.width:
            x, y = 0.0, y + 20
        _grade_rect(drawing, x + 0.5, y, 13, 12, css)
        drawing.text(x + 20, y + 10, grade, "small")
        x += wide
    return y + 28


def _grade_rect(
    drawing: Drawing, x: float, y: float, width: float, height: float, css: str, note: str = ""
) -> None:
    drawing.rect(x, y, width, height, f"mark {css}", note)
    if "reject" in css.split():
        drawing.rect(x, y, width, height, "overlay on-mark", note, fill=drawing.hatch("rising", css))


def _bar_segments(drawing: Drawing, bar: Bar, x: float, y: float, bar_width: float, height: float) -> None:
    drawing.rect(x, y, bar_width, height, "frame open-end")
    for share in bar.shares:
        wide = bar_width * share.share
        if wide <= 0:
            continue
        _grade_rect(
            drawing, x, y, wide, height, share.css, f"{bar.name}, {share.name}: {shown.percent(share.share)}"
        )
        for words in (shown.percent(share.share, 0) or "", shown.number(100 * share.share, 0) or ""):
            if text_width(words, SMALL) + 6 <= wide and "reject" not in share.css.split():
                drawing.text(
                    x + wide / 2, y + height / 2 + 4.5, words, f"small on-mark {share.css}", "middle"
                )
                break
        x += wide


def sample_words(n_trees: int, n_boards: int) -> str:
    """How many trees and boards stand behind a mark."""
    return f"{shown.counted(n_trees, 'tree')}, {shown.counted(n_boards, 'board')}"

"""A board unfolded: its two faces and two edges with the features on them, and the pieces graded on it. In mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import pandas as pd

from grading.calc.feature_kinds import BY_CODE
from grading.calc.typed_features import SHORT_OF
from portal.calc.svg import TYPE_SIZES, WIDE, Drawing, Scale, shortened, ticks
from sawing.calc.frames import numbers, texts

SMALL: Final = TYPE_SIZES["small"]
TIMES: Final = (1, 2, 3, 4, 5, 6, 8, 10, 12)
HIGHEST: Final = {True: 78.0, False: 96.0}
"""How high a face may be drawn in a narrow and in a wide picture."""
SURFACES: Final = (("edge1", "Edge 1"), ("face1", "Face 1"), ("edge2", "Edge 2"), ("face2", "Face 2"))
LABELLED: Final = 60
"""With more features than this, letters are left out."""


@dataclass(frozen=True)
class GradedPiece:
    """A piece to outline on both faces: mm from the butt end and from edge 1. `label`: its rule set and grade."""

    label: str
    from_mm: float
    to_mm: float
    from_edge_mm: float
    to_edge_mm: float


@dataclass(frozen=True)
class _Strip:
    """Where a surface is drawn."""

    across: Scale
    top: float
    foot: float


def board_picture(
    length_mm: float,
    width_mm: float,
    thickness_mm: float,
    features: pd.DataFrame,
    pieces: Sequence[GradedPiece] = (),
    *,
    name: str,
    title: str,
    note: str = "",
    deciding: frozenset[int] = frozenset(),
    width: int = WIDE,
) -> str:
    """The board with its features (columns of a features file) and graded pieces, as an SVG element.

    Across, sizes are drawn larger by a factor that is written there. Each surface is a rectangle of class `board-face`
    with data-surface, data-length and data-across, by which a page turns a tap into a place. `deciding`: positions in
    `features` that are drawn with a ring.
    """
    drawing = Drawing(name, width, title, _words(length_mm, width_mm, features))
    y = drawing.heading(note)
    along = Scale(0.0, length_mm, 44.0, width - 6.0)
    per_mm = (width - 50.0) / length_mm
    times = max((t for t in TIMES if width_mm * per_mm * t <= HIGHEST[drawing.narrow]), default=1)
    strips: dict[str, _Strip] = {}
    for surface, word in SURFACES:
        across = width_mm if surface.startswith("face") else thickness_mm
        tall = max(10.0, across * per_mm * times)
        y += 4
        strips[surface] = _Strip(Scale(0.0, across, y, y + tall), y, y + tall)
        drawing.text(0, y + tall / 2 + 4, word, "small")
        drawing.rect(
            along.start,
            y,
            along.end - along.start,
            tall,
            "board-face",
            data_surface=surface,
            data_length=float(length_mm),
            data_across=float(across),
        )
        y += tall
    _pieces(drawing, pieces, along, strips)
    _features(drawing, features, along, strips, deciding)
    foot = _axis(drawing, along, y)
    words = f"Across drawn {times} times larger." if times > 1 else "To scale."
    drawing.text(0, foot + 14, shortened(words, SMALL, width), "small quiet-text")
    drawing.height = foot + 22
    return drawing.svg("board-map")


def _words(length_mm: float, width_mm: float, features: pd.DataFrame) -> str:
    seen = features[numbers(features, "size_mm") != 0] if len(features) else features
    kinds = texts(seen, "kind").map(lambda k: BY_CODE[k].title if k in BY_CODE else k).value_counts()
    listed = ", ".join(f"{n} {kind}" for kind, n in kinds.items())
    return f"Board of {length_mm:.0f} by {width_mm:.0f} mm. {listed or 'No feature on record'}."


def _pieces(drawing: Drawing, pieces: Sequence[GradedPiece], along: Scale, strips: dict[str, _Strip]) -> None:
    for at, piece in enumerate(pieces):
        for surface in ("face1", "face2"):
            across = strips[surface].across
            x0, x1 = along(piece.from_mm), along(piece.to_mm)
            y0, y1 = across(piece.from_edge_mm), across(piece.to_edge_mm)
            drawing.rect(x0, y0, x1 - x0, y1 - y0, f"graded-piece piece-{at % 4}", piece.label)
            if surface == "face1":
                room = shortened(piece.label, SMALL, max(30.0, x1 - x0 - 8))
                drawing.text(x0 + 4, y0 + 13 + 13 * (at % 3), room, "small strong")


def _features(
    drawing: Drawing,
    features: pd.DataFrame,
    along: Scale,
    strips: dict[str, _Strip],
    deciding: frozenset[int],
) -> None:
    x, y, long, wide, size = (
        numbers(features, n) for n in ("x_mm", "y_mm", "length_mm", "width_mm", "size_mm")
    )
    labelled = (size != 0).sum() <= LABELLED
    for at, (kind, face) in enumerate(zip(texts(features, "kind"), texts(features, "face"), strict=True)):
        if size[at] == 0 or kind not in BY_CODE:
            continue
        extent = next((v for v in (wide[at], size[at]) if v == v), 4.0)
        for surface in _surfaces(face):
            strip = strips[surface]
            if x[at] != x[at]:
                continue
            middle = y[at] if y[at] == y[at] else (strip.across.high / 2)
            spread = extent if BY_CODE[kind].measure == "across" else min(extent, 6.0)
            if y[at] != y[at]:
                spread = strip.across.high
            reach = long[at] if long[at] == long[at] else extent
            rx = max(2.0, (along(reach) - along(0)) / 2)
            ry = max(2.0, (strip.across(min(spread, strip.across.high)) - strip.top) / 2)
            cx, cy = along(min(max(x[at], 0), along.high)), strip.across(min(middle, strip.across.high))
            words = _feature_words(kind, x[at], extent)
            class_ = f"feature {BY_CODE[kind].group}" + (" deciding" if at in deciding else "")
            drawing.element(
                "ellipse",
                f"<title>{words}</title>",
                cx=float(cx),
                cy=float(cy),
                rx=float(rx),
                ry=float(ry),
                class_=f"{class_} {kind}",
            )
            if labelled:
                beside = cx + rx + 1 if cx + rx + 18 < drawing.width else cx - rx - 16
                drawing.text(beside, min(cy + 4, strip.foot - 1), SHORT_OF[kind], "small feature-word")


def _surfaces(face: str) -> tuple[str, ...]:
    return ("face1", "face2") if face == "piece" else (face,)


def _feature_words(kind: str, x: float, extent: float) -> str:
    return f"{BY_CODE[kind].title} {extent:g} mm at {x:.0f} mm"


def _axis(drawing: Drawing, along: Scale, y: float) -> float:
    for tick in ticks(0, along.high, 6 if drawing.narrow else 10):
        if tick <= along.high + 1:
            at = along(tick)
            drawing.line(at, y, at, y + 5, "axis")
            drawing.text(at, y + 18, f"{tick:.0f}", "small", "middle")
    drawing.text(0, y + 18, "mm", "small quiet-text")
    return y + 18

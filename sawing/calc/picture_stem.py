"""The picture of a stem: the tree upright with its logs. Lengths in m, diameters and sweep in mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from portal.calc import shown
from portal.calc.svg import TYPE_SIZES, WIDE, Drawing, Scale, shortened, ticks

LABEL, SMALL = TYPE_SIZES["label"], TYPE_SIZES["small"]
DRAWN_WIDER = (1, 2, 5, 10, 20, 50)


@dataclass(frozen=True)
class StemLog:
    """A log in its tree; lengths in m, diameters and sweep in mm, None where not measured.

    `boards`: what came out of it, in words ("9 boards, 0.121 m³"), written beside it.
    """

    code: str
    bottom_m: float
    length_m: float
    led_mm: float
    sed_mm: float
    sweep_mm: float | None = None
    heart_led_mm: float | None = None
    heart_sed_mm: float | None = None
    href: str = ""
    css: str = ""
    boards: str = ""


def stem(
    logs: Sequence[StemLog],
    *,
    name: str,
    title: str,
    note: str = "",
    tree_height_m: float | None = None,
    width: int = WIDE,
) -> str:
    """The tree upright with its logs; across, sizes are drawn larger by a factor that is written there.

    Sweep bends a log by its measured deviation, drawn larger by the same factor and always to the right: its
    direction is not measured. What lies between logs stays open and dashed.

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
    high = min(560.0, max(360.0, 62.0 * len(logs)))
    along = Scale(0.0, marks[-1], y + 8 + high, y + 8)
    per_m = high / marks[-1]
    largest = max(max(log.led_mm, log.sed_mm) + 2 * (log.sweep_mm or 0.0) for log in logs) / 1000
    across = max(f for f in DRAWN_WIDER if f == 1 or largest * per_m * f <= 130)
    middle = 112.0 if drawing.narrow else 150.0
    _height_axis(drawing, along, marks)
    drawing.line(44, along(0), middle + 78, along(0), "ground")
    _gaps(drawing, logs, along, middle, tree_height_m)
    label_x = middle + (78 if drawing.narrow else 100)
    apart = (52.0 if drawing.narrow else 38.0) + (15.0 if any(log.boards for log in logs) else 0.0)
    places = _label_places([along(log.bottom_m + log.length_m / 2) for log in logs], apart)
    for log, place in zip(logs, places, strict=True):
        _stem_log(drawing, log, along, middle, per_m * across / 1000, place, label_x)
    foot = (
        max(along(0), *(place + (15 if log.boards else 0) for log, place in zip(logs, places, strict=True)))
        + 30
    )
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
    said = "; ".join(f"{log.code}: from {log.bottom_m:.2f} m, {_with_boards(log)}" for log in logs)
    height = f"Tree height {tree_height_m:.1f} m. " if tree_height_m else ""
    return f"{height}{len(logs)} logs from the butt: {said}."


def _log_words(log: StemLog) -> str:
    sweep = f", sweep {log.sweep_mm:.0f}{shown.HARD}mm" if log.sweep_mm is not None else ""
    return f"{log.length_m:.2f}{shown.HARD}m, {log.led_mm:.0f} to {log.sed_mm:.0f}{shown.HARD}mm{sweep}"


def _with_boards(log: StemLog) -> str:
    return f"{_log_words(log)}, {log.boards}" if log.boards else _log_words(log)


def _height_axis(drawing: Drawing, along: Scale, marks: Sequence[float]) -> None:
    for mark in marks:
        y = along(mark)
        drawing.line(44, y, 50, y, "axis")
        words = shown.number(mark, 0 if float(mark).is_integer() else 1) or ""
        drawing.text(
            40,
            y + 4,
            f"{words}{shown.HARD}m" if mark == marks[-1] else words,
            "small quiet-text",
            "end",
        )
    drawing.line(50, along(marks[0]), 50, along(marks[-1]), "axis")


def _gaps(
    drawing: Drawing, logs: Sequence[StemLog], along: Scale, middle: float, tree_height_m: float | None
) -> None:
    ends = [0.0, *(log.bottom_m + log.length_m for log in logs)]
    starts = [*(log.bottom_m for log in logs), tree_height_m or ends[-1]]
    for end, start in zip(ends, starts, strict=True):
        if start - end > 0.02:
            drawing.line(middle, along(end), middle, along(start), "open-stem")
    if tree_height_m and tree_height_m > ends[-1]:
        drawing.line(middle - 7, along(tree_height_m), middle + 7, along(tree_height_m), "axis")
        words = f"{shown.number(tree_height_m, 1)}{shown.HARD}m tall"
        drawing.text(middle + 13, along(tree_height_m) + 4, words, "small quiet-text")


def _label_places(wanted: Sequence[float], apart: float) -> list[float]:
    """Heights of labels (page y, falling from butt to top) near the wanted ones, at least `apart` apart."""
    places = list(wanted)
    for i in range(1, len(places)):
        places[i] = min(places[i], places[i - 1] - apart)
    return places


def _outline(
    middle: float, low: float, high: float, butt_mm: float, top_mm: float, sweep_mm: float, per_mm: float
) -> str:
    """Path of a log seen from the side, bent to the right by its sweep."""
    butt, top = butt_mm * per_mm / 2, top_mm * per_mm / 2
    half, mean = (low + high) / 2, (butt + top) / 2
    # A parabola through both ends whose apex lies the sweep away has its control point twice as far.
    bow = 2 * sweep_mm * per_mm
    return (
        f"M{middle - butt:.1f} {low:.1f}Q{middle - mean + bow:.1f} {half:.1f} {middle - top:.1f} {high:.1f}"
        f"H{middle + top:.1f}Q{middle + mean + bow:.1f} {half:.1f} {middle + butt:.1f} {low:.1f}Z"
    )


def _stem_log(
    drawing: Drawing, log: StemLog, along: Scale, middle: float, per_mm: float, label_y: float, label_x: float
) -> None:
    low, high = along(log.bottom_m), along(log.bottom_m + log.length_m)
    sweep = log.sweep_mm or 0.0
    note = f"{log.code}: {_with_boards(log)}"
    with drawing.link(log.href, note):
        css = f"mark {log.css}" if log.css else "sapwood"
        drawing.path(_outline(middle, low, high, log.led_mm, log.sed_mm, sweep, per_mm), f"log {css}", note)
        if log.heart_led_mm is not None and log.heart_sed_mm is not None and not log.css:
            core = _outline(middle, low, high, log.heart_led_mm, log.heart_sed_mm, sweep, per_mm)
            drawing.path(core, "heart-core", note)
        edge = middle + ((log.led_mm + log.sed_mm) / 4 + sweep) * per_mm
        drawing.path(f"M{edge + 3:.1f} {(low + high) / 2:.1f}L{label_x - 6:.1f} {label_y:.1f}", "leader")
        space = drawing.width - label_x
        drawing.text(label_x, label_y - 1, shortened(log.code, LABEL, space), "label strong")
        lines = _log_words(log).split(", sweep") if drawing.narrow else [_log_words(log)]
        lines = [f"sweep{line}" if i else line for i, line in enumerate(lines)]
        for i, words in enumerate([*lines, log.boards] if log.boards else lines):
            drawing.text(label_x, label_y + 14 + 15 * i, shortened(words, SMALL, space), "small quiet-text")

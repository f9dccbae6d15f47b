"""The pictures of a log's and of a tree's page."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from portal.calc import shown
from portal.calc.svg import NARROW, WIDE
from sawing.board_colours import PLAIN, BoardColours, Colouring
from sawing.calc.balance import LogBalance
from sawing.calc.balance_picture import Part, balance_bar
from sawing.calc.pictures import EndBoard, StemLog, log_end, stem
from sawing.end_places import EndScene, end_scene
from sawing.links import log_url
from sawing.models import Study


@dataclass(frozen=True)
class LogEnd:
    """A log end drawn wide and narrow; the key of its colours, why there is none, how many boards have no place."""

    wide: str
    narrow: str
    key: tuple[tuple[str, str], ...]
    missing: str
    scene: EndScene


def log_end_of(
    study: Study, log: Mapping[str, Any], boards: pd.DataFrame, colouring: Colouring = PLAIN
) -> LogEnd | None:
    """The end of a log with its boards, in the colours asked for; None where the heartwood reading is mistaken."""
    scene = end_scene(study, log, boards)
    first, second = scene.diameters
    if scene.heart_mm is not None and scene.heart_mm > max(first, second):
        return None  # the page lists it among its measures
    colours = colouring.colours(scene)
    placed = [_coloured(b, colours) for b in scene.placed]
    if scene.inferred:
        where = "places inferred from flitches and pieces; boards from thicker wood may reach beyond it"
    else:
        where = "places read from the boards’ codes, looked at from the butt"

    def draw(name: str, width: int) -> str:
        return log_end(
            first,
            scene.heart_mm,
            placed,
            name=name,
            title="Where do the boards lie in the log?",
            note=f"{scene.end_words}; {where}",
            diameter2_mm=None if second == first else second,
            inferred=scene.inferred,
            bark=f"{log['bark']} bark",
            width=width,
        )

    return LogEnd(
        draw("log-end-wide", WIDE), draw("log-end-narrow", NARROW), colours.key, colours.missing, scene
    )


def _coloured(board: EndBoard, colours: BoardColours) -> EndBoard:
    css, words = colours.by_board.get(board.code, ("", ""))
    return replace(board, css=css, words=f"{board.words}; {words}" if words else board.words)


def stems(study: Study, tree: str, logs: Sequence[Any], height_m: float | None = None) -> tuple[str, str]:
    """A felled tree upright with its logs and what came out of them, wide and narrow.

    :param logs: from sawing.queries.logs_of, with their boards counted.
    """
    drawn = [
        StemLog(
            log.code,
            log.bottom_m,
            log.length_m,
            log.led1_mm,
            log.sed1_mm,
            log.sweep_mm,
            log.heart_led_mm,
            log.heart_sed_mm,
            log_url(study, log.code),
            boards=f"{shown.counted(log.n_boards, 'board')}, {shown.cubic_metres(log.board_volume_m3)}"
            if log.n_boards
            else "",
        )
        for log in logs
    ]
    height = shown.as_number(height_m)
    title = f"How was tree {tree} cut into logs?"
    return (
        stem(drawn, name="stem-wide", title=title, tree_height_m=height, width=WIDE),
        stem(drawn, name="stem-narrow", title=title, tree_height_m=height, width=NARROW),
    )


@dataclass(frozen=True)
class Balance:
    """A balance drawn wide and narrow, and the rows of its table twin."""

    wide: str
    narrow: str
    rows: list[dict[str, Any]]


def balance_picture(
    name: str, found: LogBalance, boards: int, urls: Mapping[str, str] | None = None
) -> Balance:
    """Where the wood of one or more logs went, in actual green volume (m3).

    :param urls: address behind the parts "boards" and "round wood".
    """
    sums = found.parts.sum(numeric_only=True).to_dict()
    total = float(sums["log_volume_m3"])
    parts = wood_parts(sums, bool(found.parts["kerf_m3"].notna().any()))
    title = f"{shown.percent(sums['boards_m3'] / total)} of {name} became boards"
    note = f"{shown.cubic_metres(total)} of round wood under bark, {shown.counted(boards, 'board')}, actual green size"

    def draw(width: int, layout: str) -> str:
        return balance_bar(
            parts, name=f"balance-{layout}", title=title, note=note, total_m3=total, width=width
        )

    given = urls or {}
    whole = {
        "name": "Round wood under bark",
        "volume_m3": total,
        "share": 100.0,
        "url": given.get("round wood", ""),
    }
    rows = [whole] + [
        {
            "name": p.name,
            "volume_m3": p.volume_m3,
            "share": 100 * p.volume_m3 / total,
            "url": given.get(p.kind, given.get("other", "")),
        }
        for p in parts
    ]
    return Balance(draw(WIDE, "wide"), draw(NARROW, "narrow"), rows)


def wood_parts(sums: Mapping[Any, Any], kerf_known: bool) -> list[Part]:
    """Boards, headsaw kerf where it is known, and the rest of the round wood, in m3."""
    parts = [Part("Boards", float(sums["boards_m3"]), "boards")]
    if kerf_known:
        parts.append(Part("Headsaw kerf, estimated", float(sums["kerf_m3"]), "kerf"))
    rest = "Slabs, edgings, dockings" if kerf_known else "Kerf, slabs, edgings, dockings"
    parts.append(Part(rest, float(sums["rest_m3"]), "loss"))
    if sums["closing_m3"] < 0:
        parts.append(Part("More boards than log", float(sums["closing_m3"]), "unknown"))
    return parts

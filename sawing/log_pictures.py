"""The pictures of a log's and of a tree's page."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from portal.calc import shown
from portal.calc.svg import NARROW, WIDE
from sawing.calc.balance import LogBalance
from sawing.calc.balance_picture import Part, balance_bar
from sawing.calc.pictures import EndBoard, SawnPiece, StemLog, log_end, placed_by_flitch, stem
from sawing.links import board_url, log_url
from sawing.models import Log, Study


def ends(study: Study, log: Mapping[str, Any], boards: pd.DataFrame) -> tuple[str, str]:
    """The small end of a log with its boards, wide and narrow; empty when their order is not known.

    The tally gives the order of flitches and pieces, not measured places; the picture says so.
    """
    placed = _placed(study, boards)
    first, second = float(log["sed1_mm"]), log["sed2_mm"]
    heart = None if pd.isna(log["heart_sed_mm"]) else float(log["heart_sed_mm"])

    def draw(name: str, width: int) -> str:
        return log_end(
            first,
            heart,
            placed,
            name=name,
            title="Where do the boards lie in the log?",
            note="small end; places inferred from flitches and pieces; boards from thicker wood may reach beyond it",
            diameter2_mm=None if pd.isna(second) else float(second),
            inferred=True,
            bark=f"{log['bark']} bark",
            width=width,
        )

    if heart is not None and heart > max(first, first if pd.isna(second) else float(second)):
        return "", ""  # a mistaken reading; the page lists it among its measures
    return draw("log-end-wide", WIDE), draw("log-end-narrow", NARROW)


def stems(study: Study, tree: str, logs: list[Log]) -> tuple[str, str]:
    """A felled tree upright with its logs, wide and narrow."""
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
        )
        for log in logs
    ]
    return (
        stem(drawn, name="stem-wide", title=f"How was tree {tree} cut into logs?", width=WIDE),
        stem(drawn, name="stem-narrow", title=f"How was tree {tree} cut into logs?", width=NARROW),
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


def _placed(study: Study, boards: pd.DataFrame) -> list[EndBoard]:
    """Boards whose flitch and piece are numbers; the others have no known order."""
    pieces = []
    for b in boards.to_dict("records"):
        flitch, piece = _number(b["flitch"]), _number(b["piece"])
        if flitch is None:
            return []
        words = f"{b['thickness_mm']:g} × {b['width_mm']:g} mm, {b['length_m']:g} m"
        url = board_url(study, b["board"])
        pieces.append(
            SawnPiece(
                b["board"], flitch, piece or 1, b["thickness_mm"], b["width_mm"], str(flitch), words, url
            )
        )
    # Pieces docked from one flitch lie behind each other, not side by side: draw each flitch by its widest.
    widest: dict[int, SawnPiece] = {}
    for p in pieces:
        if p.flitch not in widest or p.width_mm > widest[p.flitch].width_mm:
            widest[p.flitch] = p
    return placed_by_flitch(widest.values(), study.headsaw_kerf_mm or 0.0)


def _number(value: Any) -> int | None:
    return int(value) if isinstance(value, str) and value.isdigit() else None

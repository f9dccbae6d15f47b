"""Where the boards of a log lie on its end: read from their codes, else inferred from flitches and pieces."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from sawing.calc.label_place import PlaceRefusedError, board_place
from sawing.calc.pictures import EndBoard, SawnPiece, placed_by_flitch
from sawing.labels.queries import end_of, on_log, sheets_of
from sawing.links import board_url
from sawing.models import BoardCode, Study


@dataclass(frozen=True)
class EndScene:
    """A log end to be drawn: two diameters, heartwood (mm; None: not measured), boards at their places.

    `inferred`: from the order of flitches and pieces; else from codes read on the boards, looked at from the butt.
    `unplaced`: boards that have no known place on this end.
    """

    study: Study
    log: Mapping[str, Any]
    boards: pd.DataFrame
    end: str
    placed: tuple[EndBoard, ...]
    inferred: bool

    @property
    def diameters(self) -> tuple[float, float]:
        first, second = float(self.log[f"{self.end}1_mm"]), self.log[f"{self.end}2_mm"]
        return first, first if pd.isna(second) else float(second)

    @property
    def heart_mm(self) -> float | None:
        heart = self.log[f"heart_{self.end}_mm"]
        return None if pd.isna(heart) else float(heart)

    @property
    def unplaced(self) -> int:
        return 0 if self.inferred else len(self.boards) - len(self.placed)

    @property
    def end_words(self) -> str:
        return "small end" if self.end == "sed" else "large end"


def end_scene(study: Study, log: Mapping[str, Any], boards: pd.DataFrame) -> EndScene:
    """The end of a log (a row of the logs file) with its boards (rows of the tally).

    The end on which more boards have codes; the small end, with inferred places, where none has any.
    """
    ends = {end: _read_places(study, str(log["log"]), boards, end) for end in ("butt", "top")}
    best = max(ends, key=lambda end: len(ends[end]))
    if ends[best]:
        return EndScene(study, log, boards, "led" if best == "butt" else "sed", tuple(ends[best]), False)
    return EndScene(study, log, boards, "sed", tuple(_inferred(study, boards)), True)


def _read_places(study: Study, log: str, boards: pd.DataFrame, end: str) -> list[EndBoard]:
    """Boards at the place that their codes of one end give; those whose codes contradict their size are left out."""
    sheets = [sheet for sheet in sheets_of(study, [log]) if sheet.end == end]
    if not sheets:
        return []
    sheet = sheets[0]
    codes = BoardCode.objects.filter(sheet=sheet, withdrawn_at__isnull=True)
    cells: dict[str, list[tuple[int, int]]] = {}
    for board, row, col in codes.values_list("board__code", "row", "col"):
        cells.setdefault(board, []).append((row, col))
    placed = []
    for b in boards[boards["board"].isin(cells)].to_dict("records"):
        thick, wide = float(b["thickness_mm"]), float(b["width_mm"])
        try:
            place = board_place(on_log(sheet), cells[b["board"]], end_of(sheet), thick, wide)
        except PlaceRefusedError:
            continue
        words = f"{_words(b)}, {place.distance_mm:.0f} mm from the pith"
        if place.inferred:
            words += ", from one code"
        corner = place.x_mm - wide / 2, place.y_mm - thick / 2
        label = str(b["flitch"] or b["board"][-2:])
        url = board_url(study, b["board"])
        placed.append(
            EndBoard(b["board"], *corner, wide, thick, label, words, url, angle_deg=place.angle_deg)
        )
    return placed


def _inferred(study: Study, boards: pd.DataFrame) -> list[EndBoard]:
    """Boards whose flitch and piece are numbers; the others have no known order."""
    pieces = []
    for b in boards.to_dict("records"):
        flitch, piece = _number(b["flitch"]), _number(b["piece"])
        if flitch is None:
            return []
        url = board_url(study, b["board"])
        size = b["thickness_mm"], b["width_mm"]
        pieces.append(SawnPiece(b["board"], flitch, piece or 1, *size, str(flitch), _words(b), url))
    # Pieces docked from one flitch lie behind each other, not side by side: draw each flitch by its widest.
    widest: dict[int, SawnPiece] = {}
    for p in pieces:
        if p.flitch not in widest or p.width_mm > widest[p.flitch].width_mm:
            widest[p.flitch] = p
    return placed_by_flitch(widest.values(), study.headsaw_kerf_mm or 0.0)


def _words(b: Mapping[Any, Any]) -> str:
    return f"{b['thickness_mm']:g} × {b['width_mm']:g} mm, {b['length_m']:g} m"


def _number(value: Any) -> int | None:
    return int(value) if isinstance(value, str) and value.isdigit() else None

"""What a scanner's page takes along: the study's plan, its logs with their labels, and the boards tallied so far."""

import math
from typing import Any

from django.utils import timezone

from sawing.calc.tally_warnings import BoardAtSaw, EndAtSaw, LogAtSaw
from sawing.models import LogSerial, Study
from sawing.tally.at_saw import boards_at_saw, logs_at_saw


def pack(study: Study) -> dict[str, Any]:
    """The pack of a study, ready for JSON: six queries, whatever its size."""
    logs, boards = logs_at_saw(study), boards_at_saw(study)
    serials: dict[str, list[int]] = {}
    for log, number in LogSerial.objects.filter(log__study=study).values_list("log__code", "number"):
        serials.setdefault(log, []).append(number)
    return {
        "study": f"{study.trial.code}/{study.code}",
        "name": study.name,
        "packed_at": timezone.now().isoformat(),
        "plan": {
            "thicknesses_mm": study.thicknesses_mm,
            "widths_mm": study.widths_mm,
            "oversize_thickness_mm": study.oversize_thickness_mm or 0,
            "oversize_width_pct": study.oversize_width_pct or 0,
            "kerf_mm": study.headsaw_kerf_mm or 0,
            "crosscut_module_mm": study.crosscut_module_mm,
        },
        "logs": [_log(log, serials.get(code, []), boards.get(code, [])) for code, log in logs.items()],
    }


def _log(log: LogAtSaw, serials: list[int], boards: list[BoardAtSaw]) -> dict[str, Any]:
    return {
        "code": log.code,
        "length_m": log.length_m,
        "volume_m3": None if math.isnan(log.volume_m3) else log.volume_m3,
        "serials": serials,
        "ends": [_end(log.ends[end]) for end in (0, 1)],
        "boards": [_board(board) for board in boards],
    }


def _end(end: EndAtSaw) -> dict[str, Any]:
    sheet = end.sheet
    return {
        "along_x_mm": end.size.along_x_mm,
        "along_y_mm": end.size.along_y_mm,
        "sheet": sheet
        and {
            "pitch_mm": sheet.pitch_mm,
            "pith_row": sheet.pith_row,
            "pith_col": sheet.pith_col,
            "turned_deg": sheet.turned_deg,
            "top_end": sheet.top_end,
        },
    }


def _board(board: BoardAtSaw) -> dict[str, Any]:
    return {
        "code": board.code,
        "thickness_mm": board.thickness_mm,
        "width_mm": board.width_mm,
        "length_m": board.length_m,
        "flitch": board.flitch,
        "cells": [list(cell) for cell in board.cells],
    }

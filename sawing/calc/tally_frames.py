"""Logs, sheets and boards of frames as the warnings of the saw know them, and those warnings for a file of boards."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from portal.calc.file_findings import remark
from portal.calc.file_spec import Known
from sawing.calc.label_code import LabelCodeError, read_cell
from sawing.calc.label_place import End, SheetOnLog
from sawing.calc.tally_warnings import TEXTS, BoardAtSaw, EndAtSaw, LogAtSaw, Plan, log_warnings

DIAMETERS = {0: ("led1_mm", "led2_mm"), 1: ("sed1_mm", "sed2_mm")}
OF_FILE = ("wider", "same_cell", "missing", "thicker", "width")
"""Kinds that a file is remarked on for; length and volume have checks of their own there."""


def ends_of(
    log: Mapping[Any, Any], bark_factor: float | None, sheets: Mapping[int, SheetOnLog]
) -> dict[int, EndAtSaw]:
    """Both ends under bark, by 0 butt and 1 top, of a log with sed1_mm, sed2_mm, led1_mm, led2_mm and bark.

    A log over bark without a bark factor counts as it was measured.
    """
    under = (bark_factor or 1.0) if log["bark"] == "over" else 1.0
    found = {}
    for end, (first, second) in DIAMETERS.items():
        other = None if pd.isna(log[second]) else log[second] * under
        found[end] = EndAtSaw(End.of_diameters(log[first] * under, other), sheets.get(end))
    return found


def board_file_remarks(rows: pd.DataFrame, known: Known) -> list[str]:
    """What a file of boards is remarked on beside its own checks: one text a kind, naming the rows.

    `known["logs"]` may carry the diameters and bark of logs, `known["sheets"]` (log, end, pitch_mm, pith_row,
    pith_col, turned_deg) the labels on them, `known["saw"]` one row with the plan: thicknesses_mm and widths_mm as
    tuples, oversize_thickness_mm, oversize_width_pct, kerf_mm, bark_factor. Without them only what the file says
    itself is looked at: cells and numbers of flitches. Cells that cannot be read are passed over.
    """
    saw = known.get("saw")
    plan_row = {} if saw is None or saw.empty else dict(saw.iloc[0])
    bark_factor = plan_row.pop("bark_factor", None)
    plan = Plan(**{str(name): value for name, value in plan_row.items()})
    logs = _logs(known, bark_factor)
    odd: dict[str, set[str]] = {kind: set() for kind in OF_FILE}
    for log, of_log in rows.groupby("log", sort=False):
        at = logs.get(str(log), LogAtSaw(str(log), math.inf, math.nan))
        for board, warning in log_warnings(at, plan, _boards(of_log)):
            if board is not None and warning.kind in odd:
                odd[warning.kind].add(board)
    return [
        text for kind, boards in odd.items() for text in remark(rows, rows["board"].isin(boards), TEXTS[kind])
    ]


def _logs(known: Known, bark_factor: float | None) -> dict[str, LogAtSaw]:
    logs, sheets = known.get("logs"), known.get("sheets")
    if logs is None or "led1_mm" not in logs.columns:
        return {}
    on: dict[str, dict[int, SheetOnLog]] = {}
    for sheet in [] if sheets is None else sheets.to_dict("records"):
        placed = SheetOnLog(
            sheet["pitch_mm"], sheet["pith_row"], sheet["pith_col"], sheet["turned_deg"], bool(sheet["end"])
        )
        on.setdefault(sheet["log"], {})[int(sheet["end"])] = placed
    return {
        log["log"]: LogAtSaw(
            log["log"], math.inf, math.nan, ends_of(log, bark_factor, on.get(log["log"], {}))
        )
        for log in logs.to_dict("records")
    }


def _boards(rows: pd.DataFrame) -> list[BoardAtSaw]:
    return [
        BoardAtSaw(
            row["board"],
            row["thickness_mm"],
            row["width_mm"],
            row["length_m"],
            _text(row.get("flitch")),
            _cells(row.get("cell")),
            _stated(row.get("nominal_thickness_mm")),
            _stated(row.get("nominal_width_mm")),
        )
        for row in rows.to_dict("records")
    ]


def _cells(text: Any) -> tuple[tuple[int, int, int], ...]:
    try:
        return (read_cell(text),) if isinstance(text, str) else ()
    except LabelCodeError:
        return ()


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None  # missing is None or NaN, as pandas has it


def _stated(value: Any) -> float | None:
    return None if value is None or pd.isna(value) else float(value)

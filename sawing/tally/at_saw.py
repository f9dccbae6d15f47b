"""Logs, sheets, boards and plans of the database as the warnings of the saw know them."""

from collections.abc import Iterable, Sequence

from portal.uploads.frames import frame
from sawing.calc.label_place import SheetOnLog
from sawing.calc.log_volume import log_volumes
from sawing.calc.tally_frames import ends_of
from sawing.calc.tally_warnings import BoardAtSaw, LogAtSaw, Plan
from sawing.models import Board, BoardCode, LabelSheet, Study
from sawing.models.labels import LogEnd
from sawing.queries import LOG_FIELDS, LOG_NUMBERS
from sawing.tally.ground import ENDS


def plan_of(study: Study) -> Plan:
    """The sizes that a study saws."""
    return Plan(
        tuple(float(t) for t in study.thicknesses_mm),
        tuple(float(w) for w in study.widths_mm),
        study.oversize_thickness_mm or 0.0,
        study.oversize_width_pct or 0.0,
        study.headsaw_kerf_mm or 0.0,
    )


def logs_at_saw(study: Study, codes: Iterable[str] | None = None) -> dict[str, LogAtSaw]:
    """Logs of a study by code (all when None), with their volume by the study's formula and the sheets on them."""
    rows = study.logs.order_by("code")
    rows = rows if codes is None else rows.filter(code__in=list(codes))
    logs = frame(rows, LOG_FIELDS).astype(dict.fromkeys(LOG_NUMBERS, float))
    if logs.empty:
        return {}
    volumes = log_volumes(logs, study.log_volume_formula, study.bark_factor).volume_m3.tolist()
    sheets = _sheets_by_log(study, None if codes is None else logs["log"].tolist())
    return {
        log["log"]: LogAtSaw(
            log["log"], log["length_m"], volume, ends_of(log, study.bark_factor, sheets.get(log["log"], {}))
        )
        for log, volume in zip(logs.to_dict("records"), volumes, strict=True)
    }


def sheet_on_log(sheet: LabelSheet) -> SheetOnLog:
    """Where a sheet sits; before that was read it counts as put with its middle over the pith."""
    row = sheet.rows // 2 if sheet.pith_row is None else sheet.pith_row
    col = sheet.cols // 2 if sheet.pith_col is None else sheet.pith_col
    return SheetOnLog(sheet.pitch_mm, row, col, sheet.turned_deg or 0.0, sheet.end == LogEnd.TOP)


def _sheets_by_log(study: Study, codes: Sequence[str] | None) -> dict[str, dict[int, SheetOnLog]]:
    rows = LabelSheet.objects.filter(serial__log__study=study, serial__retired_at__isnull=True)
    rows = rows if codes is None else rows.filter(serial__log__code__in=codes)
    found: dict[str, dict[int, SheetOnLog]] = {}
    for sheet in rows.select_related("serial__log"):
        found.setdefault(sheet.serial.log.code, {})[ENDS[LogEnd(sheet.end)]] = sheet_on_log(sheet)
    return found


def boards_at_saw(study: Study, log_codes: Iterable[str] | None = None) -> dict[str, list[BoardAtSaw]]:
    """Boards by log code, with the cells read on them, in the order of their codes."""
    boards = study.boards.order_by("code")
    read = BoardCode.objects.filter(board__study=study, withdrawn_at__isnull=True)
    if log_codes is not None:
        wanted = list(log_codes)
        boards, read = boards.filter(log__code__in=wanted), read.filter(board__log__code__in=wanted)
    cells: dict[int, list[tuple[int, int, int]]] = {}
    for board, end, row, col in read.order_by("pk").values_list("board_id", "sheet__end", "row", "col"):
        cells.setdefault(board, []).append((ENDS[LogEnd(end)], row, col))
    found: dict[str, list[BoardAtSaw]] = {}
    for board in boards.select_related("log", "flitch"):
        flitch = board.flitch.code if board.flitch else None
        found.setdefault(board.log.code, []).append(at_saw(board, flitch, cells.get(board.pk, ())))
    return found


def at_saw(board: Board, flitch: str | None, cells: Iterable[tuple[int, int, int]]) -> BoardAtSaw:
    return BoardAtSaw(
        board.code,
        board.thickness_mm,
        board.width_mm,
        board.length_m,
        flitch,
        tuple(cells),
        board.nominal_thickness_mm,
        board.nominal_width_mm,
    )

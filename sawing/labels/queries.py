"""Reading sheets, and what codes of labels say about logs and boards."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Prefetch, Q, QuerySet
from django.shortcuts import get_object_or_404

from sawing.calc.label_code import TOP, LabelCode, LabelCodeError, decode
from sawing.calc.label_place import BoardPlace, End, PlaceRefusedError, SheetOnLog, board_place
from sawing.labels.sheet_layout import Sheet
from sawing.models import Board, BoardCode, LabelSheet, Log, LogSerial, Study


def diameters_mm(log: Log, end: int) -> tuple[float, float]:
    """The two readings of an end (0 butt, 1 top); the first twice where there is no second."""
    first, second = (log.sed1_mm, log.sed2_mm) if end == TOP else (log.led1_mm, log.led2_mm)
    return first, first if second is None else second


def current_serials() -> QuerySet[LogSerial]:
    return LogSerial.objects.filter(retired_at__isnull=True).prefetch_related("sheets")


def log_rows(study: Study) -> list[dict[str, Any]]:
    """One row a log: its ends, its serial number, how far its sheets are, how many codes are linked to boards."""
    logs = (
        study.logs.select_related("felling__tree__clone")
        .prefetch_related(Prefetch("serials", queryset=current_serials(), to_attr="current"))
        .annotate(
            n_codes=Count("boards__codes", filter=Q(boards__codes__withdrawn_at__isnull=True), distinct=True)
        )
        .order_by("code")
    )
    return [_log_row(log) for log in logs]


def _log_row(log: Any) -> dict[str, Any]:
    serial = log.current[0] if log.current else None
    sheets = list(serial.sheets.all()) if serial else []
    put_on = sum(sheet.put_on_at is not None for sheet in sheets)
    if not sheets:
        state = "none"
    elif put_on:
        state = "put on" if put_on == len(sheets) else "one end put on"
    else:
        state = "printed" if all(sheet.printed_at for sheet in sheets) else "made"
    by_end = {sheet.end: sheet for sheet in sheets}
    return {
        "log": log.code,
        "clone": log.felling.tree.clone.code,
        "butt_mm": max(diameters_mm(log, 0)),
        "top_mm": max(diameters_mm(log, 1)),
        "serial": f"{serial.number:05d}" if serial else None,
        "state": state,
        "boards_mm": f"{sheets[0].thickness_mm:g} × {sheets[0].width_mm:g}" if sheets else None,
        "fewest": sheets[0].fewest_codes if sheets else None,
        "butt": by_end.get("butt"),
        "top": by_end.get("top"),
        "codes": log.n_codes,
    }


def all_sheets(study: Study) -> QuerySet[LabelSheet]:
    """The sheets ever made for logs of a study, replaced ones too."""
    return LabelSheet.objects.filter(serial__log__study=study)


def sheets_of(study: Study, logs: Iterable[str] | None = None) -> QuerySet[LabelSheet]:
    """The sheets in use of some logs of a study, or of all, butt end first."""
    found = all_sheets(study).filter(serial__retired_at__isnull=True)
    if logs is not None:
        found = found.filter(serial__log__code__in=list(logs))
    return found.select_related("serial__log").order_by("serial__log__code", "end")


def sheet_for(study: Study, pk: int) -> LabelSheet:
    """One sheet of a study, or 404."""
    return get_object_or_404(all_sheets(study).select_related("serial__log__study"), pk=pk)


def drawn(sheet: LabelSheet) -> Sheet:
    """A sheet as the printed page needs it."""
    return Sheet(
        log=sheet.serial.log.code,
        serial=sheet.serial.number,
        end=int(sheet.end == "top"),
        rows=sheet.rows,
        cols=sheet.cols,
        dots=sheet.dots,
        diameter_mm=sheet.diameter_mm,
        thickness_mm=sheet.thickness_mm,
        width_mm=sheet.width_mm,
        torn_mm=sheet.torn_mm,
        fewest=sheet.fewest_codes,
    )


def on_log(sheet: LabelSheet) -> SheetOnLog:
    """A sheet as it sits on its end; its marked middle cell where the pith was not read."""
    middle = drawn(sheet).pith_cell
    known = sheet.pith_row is not None and sheet.pith_col is not None
    row, col = (sheet.pith_row, sheet.pith_col) if known else middle
    return SheetOnLog(sheet.pitch_mm, row, col, sheet.turned_deg or 0.0, sheet.end == "top")


def end_of(sheet: LabelSheet) -> End:
    return End(*(reading / 2 for reading in diameters_mm(sheet.serial.log, int(sheet.end == "top"))))


@dataclass(frozen=True)
class CodeRead:
    """What one text says. Without a `sheet` there is a `problem`; `place` takes this code's cell alone."""

    text: str
    code: LabelCode | None = None
    problem: str = ""
    sheet: LabelSheet | None = None
    board: Board | None = None
    link: BoardCode | None = None
    place: BoardPlace | None = None
    height_m: float | None = None

    @property
    def log(self) -> Log | None:
        return self.sheet.serial.log if self.sheet else None


def texts_in(typed: str) -> list[str]:
    """Codes in what was typed or scanned: parted by anything but digits, where they are codes; else as it stands."""
    words = [word for word in re.split(r"[\s,;]+", typed.strip()) if word]
    if len(words) > 1 and sum(map(len, words)) == 10 and all(word.isdigit() for word in words):
        return ["".join(words)]  # one code typed in groups
    return words


def read_texts(study: Study, texts: Sequence[str]) -> list[CodeRead]:
    """What codes say, in their order, each once. Codes of logs outside the study are told apart from no others.

    A code's board: the one it is linked to, else the one tallied under this code or, of its log, in this cell.
    """
    codes: dict[str, LabelCode | str] = {}
    for text in texts:
        try:
            code = decode(text)
            codes.setdefault(code.text, code)
        except LabelCodeError as problem:
            codes.setdefault(text, str(problem))
    known = [code for code in codes.values() if isinstance(code, LabelCode)]
    serials = {code.serial for code in known}
    sheets = {
        (s.serial.number, s.end): s
        for s in all_sheets(study)
        .filter(serial__number__in=serials)
        .select_related("serial__log__felling__tree__clone")
    }
    links = {
        (b.sheet_id, b.row, b.col): b
        for b in BoardCode.objects.filter(
            sheet__in=sheets.values(), withdrawn_at__isnull=True
        ).select_related("board__study__trial")
    }
    boards = list(
        study.boards.filter(
            Q(code__in=[c.text for c in known])
            | Q(cell__in=[c.cell for c in known], log__serials__number__in=serials)
        ).select_related("study__trial")
    )
    return [
        CodeRead(text, problem=found) if isinstance(found, str) else _read(found, sheets, links, boards)
        for text, found in codes.items()
    ]


def _read(
    code: LabelCode,
    sheets: dict[tuple[int, str], LabelSheet],
    links: dict[tuple[int, int, int], BoardCode],
    boards: list[Board],
) -> CodeRead:
    sheet = sheets.get((code.serial, code.end_word))
    if sheet is None:
        return CodeRead(
            code.text, code, f"no log of this study has a {code.end_word} end sheet number {code.serial:05d}"
        )
    if code.row >= sheet.rows or code.col >= sheet.cols:
        return CodeRead(code.text, code, f"the sheet has {sheet.rows} × {sheet.cols} cells, no {code.cell}")
    link = links.get((sheet.pk, code.row, code.col))
    log = sheet.serial.log
    board = link.board if link else None
    of_log = [b for b in boards if b.log_id == log.pk]
    board = board or next((b for b in of_log if b.code == code.text), None)
    board = board or next((b for b in of_log if b.cell == code.cell), None)
    return CodeRead(
        code.text,
        code,
        sheet=sheet,
        board=board,
        link=link,
        place=board_place(
            on_log(sheet), [(code.row, code.col)], end_of(sheet),
            board.thickness_mm if board else None, board.width_mm if board else None,
        ),
        height_m=log.bottom_m + (log.length_m if code.end == TOP else 0.0),
    )  # fmt: skip


@dataclass(frozen=True)
class EndRead:
    """Codes of one end, taken as read on one board's end: where it lies, or why that cannot be."""

    sheet: LabelSheet
    codes: tuple[CodeRead, ...]
    board: Board | None
    place: BoardPlace | None
    problem: str
    height_m: float


def together(read: Sequence[CodeRead]) -> list[EndRead]:
    """Codes grouped by end and by board: one group for each board known, one for the codes without a board."""
    groups: dict[tuple[int, int | None], list[CodeRead]] = {}
    for one in read:
        if one.sheet is not None:
            groups.setdefault((one.sheet.pk, one.board.pk if one.board else None), []).append(one)
    return [_end_read(tuple(group)) for group in groups.values()]


def _end_read(codes: tuple[CodeRead, ...]) -> EndRead:
    sheet, board = codes[0].sheet, codes[0].board
    assert sheet is not None
    cells = [(one.code.row, one.code.col) for one in codes if one.code]
    size = (board.thickness_mm, board.width_mm) if board else (None, None)
    try:
        place, problem = board_place(on_log(sheet), cells, end_of(sheet), *size), ""
    except PlaceRefusedError as refused:
        place, problem = None, str(refused)
    return EndRead(sheet, codes, board, place, problem, codes[0].height_m or 0.0)


def boards_without_codes(study: Study) -> int:
    """Boards of the study whose own code looks like a label's and that no code is linked to."""
    return study.boards.filter(codes__isnull=True, code__regex=r"^\d{10}$").count()

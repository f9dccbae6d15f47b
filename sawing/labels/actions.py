"""Every write of the room of labels: serial numbers, sheets, how they were put on, codes found on boards."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from django.db import connection, transaction
from django.db.models import Max
from django.urls import reverse
from django.utils import timezone

from portal import access
from portal.jobs.actions import start_job
from portal.models import Job, Role, User
from sawing.calc.label_code import END_WORDS, LabelCode, LabelCodeError, decode
from sawing.calc.label_lattice import Guarantee, LatticeRefusedError, Slice, choose_lattice
from sawing.labels.print_job import KIND
from sawing.labels.queries import all_sheets, diameters_mm
from sawing.models import LARGEST_SERIAL, Board, BoardCode, LabelSheet, Log, LogSerial, ReadBy, Study

WRITERS = (Role.MANAGER, Role.MILL)
MOST_AT_ONCE = 5_000


class LabelsRefusedError(ValueError):
    """What was asked cannot be done; the text says why."""


@dataclass(frozen=True)
class Made:
    """Sheets made, logs that had theirs already, and logs refused with the reason."""

    sheets: list[LabelSheet] = field(default_factory=list)
    had: list[Log] = field(default_factory=list)
    refused: list[tuple[Log, str]] = field(default_factory=list)


def make_sheets(
    *,
    study: Study,
    by: User,
    logs: Sequence[Log],
    board: Slice,
    anew: bool = False,
) -> Made:
    """Give logs a serial number and a sheet for each end, for boards of a planned size. Managers and mill staff.

    A log that has its sheets keeps them, unless `anew`: then its number is retired and it gets another, since codes
    of the old sheets may be on wood already.
    """
    access.require(by, study.trial_id, WRITERS)
    made = Made()
    with transaction.atomic():
        number = _next_number()
        current = {s.log_id: s for s in LogSerial.objects.filter(log__in=logs, retired_at__isnull=True)}
        chosen: list[tuple[Log, Guarantee]] = []
        for log in logs[:MOST_AT_ONCE]:
            if log.pk in current and not anew:
                made.had.append(log)
                continue
            try:
                ends = [choose_lattice(board, max(diameters_mm(log, end))) for end in range(2)]
            except LatticeRefusedError as refused:
                made.refused.append((log, str(refused)))
                continue
            chosen.append((log, max(ends, key=lambda e: e.cells)))
        if number + len(chosen) - 1 > LARGEST_SERIAL:
            raise LabelsRefusedError(f"Labels number {LARGEST_SERIAL} logs, and all numbers are given.")
        retired = [current[log.pk].pk for log, _ in chosen if log.pk in current]
        LogSerial.objects.filter(pk__in=retired).update(retired_at=timezone.now())
        serials = LogSerial.objects.bulk_create(
            LogSerial(number=number + place, log=log) for place, (log, _) in enumerate(chosen)
        )
        made.sheets.extend(_sheets(board, zip(serials, (g for _, g in chosen), strict=True)))
    return made


def record_sheets(
    *,
    study: Study,
    by: User,
    numbers: Mapping[str, int],
    board: Slice,
    cells: int,
    pith_cell: tuple[int, int],
) -> int:
    """Record sheets that sit on logs already, printed before the portal: log code → its serial number.

    Their cell over the pith is known for all of them. Logs that have a number already keep theirs. Returns how
    many logs were given one. Managers and mill staff.

    :raises LabelsRefusedError: for a log that is not in the study, a number that is taken, a size without guarantee.
    """
    access.require(by, study.trial_id, WRITERS)
    with transaction.atomic():
        _next_number()
        logs = {log.code: log for log in study.logs.filter(code__in=numbers, serials__isnull=True)}
        unknown = set(numbers) - set(study.logs.filter(code__in=numbers).values_list("code", flat=True))
        taken = set(
            LogSerial.objects.filter(number__in=[numbers[code] for code in logs]).values_list(
                "number", flat=True
            )
        )
        if unknown or taken:
            raise LabelsRefusedError(
                f"Not in the study: {', '.join(sorted(unknown)) or 'none'}; "
                f"numbers given already: {', '.join(map(str, sorted(taken))) or 'none'}."
            )
        try:
            lattice = choose_lattice(board, 1.0)
        except LatticeRefusedError as refused:
            raise LabelsRefusedError(str(refused)) from None
        serials = LogSerial.objects.bulk_create(
            LogSerial(number=numbers[code], log=log) for code, log in sorted(logs.items())
        )
        guarantee = Guarantee(lattice.lattice, cells, lattice.fewest)
        now = timezone.now()
        _sheets(
            board, [(serial, guarantee) for serial in serials],
            printed_at=now, put_on_at=now, pith_row=pith_cell[0], pith_col=pith_cell[1],
        )  # fmt: skip
    return len(serials)


def _next_number() -> int:
    """The next serial number of all studies; nobody else gives one until this transaction ends."""
    with connection.cursor() as cursor:
        cursor.execute("LOCK TABLE sawing_logserial IN SHARE ROW EXCLUSIVE MODE")
    return (LogSerial.objects.aggregate(last=Max("number"))["last"] or 0) + 1


def _sheets(board: Slice, serials: Iterable[tuple[LogSerial, Guarantee]], **more: object) -> list[LabelSheet]:
    return LabelSheet.objects.bulk_create(
        LabelSheet(
            serial=serial,
            end=END_WORDS[end],
            rows=chosen.cells,
            cols=chosen.cells,
            dots=chosen.lattice.dots,
            pitch_mm=chosen.lattice.pitch_mm,
            diameter_mm=max(diameters_mm(serial.log, end)),
            thickness_mm=board.thickness_mm,
            width_mm=board.width_mm,
            torn_mm=board.torn_mm,
            fewest_codes=chosen.fewest,
            **more,
        )
        for serial, chosen in serials
        for end in range(2)
    )


def mark_printed(*, study: Study, by: User, sheets: Sequence[LabelSheet]) -> None:
    """Keep when sheets were first printed. Managers and mill staff."""
    access.require(by, study.trial_id, WRITERS)
    with transaction.atomic():
        all_sheets(study).filter(pk__in=[s.pk for s in sheets], printed_at__isnull=True).update(
            printed_at=timezone.now()
        )


def start_printing(*, study: Study, by: User, sheets: Sequence[LabelSheet]) -> Job:
    """Have the PDF of many sheets made by the worker; they count as printed. Managers and mill staff."""
    name = str(uuid.uuid4())
    with transaction.atomic():
        mark_printed(study=study, by=by, sheets=sheets)
        return start_job(
            kind=KIND,
            title=f"{len(sheets)} label sheets of {study.name}"[:200],
            by=by,
            trial=study.trial,
            parameters={"study": study.pk, "sheets": [sheet.pk for sheet in sheets], "file": name},
            link=reverse("sawing:label_file", args=[study.trial.code, study.code, name]),
        )


def put_on(
    *, sheet: LabelSheet, by: User, pith: LabelCode, turned_deg: float | None = None, note: str = ""
) -> LabelSheet:
    """Keep that a sheet sits on its log: the code over the pith, and how far its top is turned. Managers and mill.

    :raises LabelsRefusedError: for a code of another sheet.
    """
    access.require(by, sheet.serial.log.study.trial_id, WRITERS)
    if (pith.serial, pith.end_word) != (sheet.serial.number, sheet.end):
        raise LabelsRefusedError(
            f"The code is of log number {pith.serial:05d}, {pith.end_word} end; "
            f"this sheet is number {sheet.serial}, {sheet.end} end."
        )
    _on_sheet(sheet, pith)
    with transaction.atomic():
        sheet = LabelSheet.objects.select_for_update(of=("self",)).get(pk=sheet.pk)
        sheet.pith_row, sheet.pith_col = pith.row, pith.col
        sheet.turned_deg, sheet.note = turned_deg, note
        sheet.put_on_at = sheet.put_on_at or timezone.now()
        sheet.save()
    return sheet


@dataclass(frozen=True)
class Linked:
    """Codes linked now, and codes that were on this board already."""

    new: int
    there: int


def link_codes(
    *, board: Board, by: User, codes: Sequence[LabelCode], read_by: str = ReadBy.SCANNER
) -> Linked:
    """Say that codes were read on a board. All or none; a code that is on it already is no error. Managers and mill.

    :raises LabelsRefusedError: no code, a code of another log, off its sheet, or on another board.
    """
    access.require(by, board.study.trial_id, WRITERS)
    if not codes:
        raise LabelsRefusedError("No code was read.")
    with transaction.atomic():
        Board.objects.select_for_update(of=("self",)).get(pk=board.pk)
        sheets = {
            (s.serial.number, s.end): s
            for s in LabelSheet.objects.select_for_update(of=("self",))
            .filter(serial__log_id=board.log_id)
            .select_related("serial")
        }
        new, there = [], 0
        for code in dict.fromkeys(codes):
            sheet = sheets.get((code.serial, code.end_word))
            if sheet is None:
                raise LabelsRefusedError(f"Code {code.text} is of another log than board {board.code}.")
            _on_sheet(sheet, code)
            on = (
                BoardCode.objects.filter(sheet=sheet, row=code.row, col=code.col, withdrawn_at__isnull=True)
                .select_related("board")
                .first()
            )
            if on is not None and on.board_id != board.pk:
                raise LabelsRefusedError(
                    f"Code {code.text} is linked to board {on.board.code}: take it off there first."
                )
            there += on is not None
            if on is None:
                new.append(
                    BoardCode(board=board, sheet=sheet, row=code.row, col=code.col, read_by=read_by, by=by)
                )
        BoardCode.objects.bulk_create(new)
    return Linked(len(new), there)


def link_boards_named_by_labels(*, study: Study, by: User) -> int:
    """Link each board whose own code is a label's code of its log to that code. Returns how many were linked.

    Mills that follow boards by their labels name them so in the tally. Managers and mill staff.
    """
    access.require(by, study.trial_id, WRITERS)
    with transaction.atomic():
        sheets = {
            (s.serial.number, s.end): s
            for s in all_sheets(study).select_related("serial").select_for_update(of=("self",))
        }
        on = set(
            BoardCode.objects.filter(sheet__serial__log__study=study, withdrawn_at__isnull=True).values_list(
                "sheet", "row", "col"
            )
        )
        new = []
        for board in study.boards.filter(codes__isnull=True, code__regex=r"^\d{10}$"):
            try:
                code = decode(board.code)
            except LabelCodeError:
                continue
            sheet = sheets.get((code.serial, code.end_word))
            if (
                sheet is None
                or sheet.serial.log_id != board.log_id
                or code.row >= sheet.rows
                or code.col >= sheet.cols
            ):
                continue
            if (sheet.pk, code.row, code.col) not in on:
                new.append(
                    BoardCode(
                        board=board, sheet=sheet, row=code.row, col=code.col, read_by=ReadBy.FILE, by=by
                    )
                )
        BoardCode.objects.bulk_create(new, batch_size=1000)
    return len(new)


def take_off(*, code: BoardCode, by: User) -> None:
    """Say that a code was linked to a board by mistake; the link stays in the history. Managers and mill staff."""
    access.require(by, code.board.study.trial_id, WRITERS)
    with transaction.atomic():
        BoardCode.objects.filter(pk=code.pk, withdrawn_at__isnull=True).update(withdrawn_at=timezone.now())


def _on_sheet(sheet: LabelSheet, code: LabelCode) -> None:
    if code.row >= sheet.rows or code.col >= sheet.cols:
        raise LabelsRefusedError(
            f"Code {code.text} is cell {code.cell}; the sheet has {sheet.rows} × {sheet.cols} cells."
        )

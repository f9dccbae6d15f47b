"""What tally entries refer to, read in a fixed number of queries: logs, labels, boards, and what was said of them."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from django.db.models import Q

from sawing.calc.label_code import LabelCode, LabelCodeError, decode
from sawing.calc.tally_reading import TallyRead
from sawing.models import Board, BoardCode, Flitch, LabelSheet, Log, LogSerial, Study, TallyEntry
from sawing.models.labels import LogEnd

ENDS = {LogEnd.BUTT: 0, LogEnd.TOP: 1}
CodeKey = tuple[int, int, int]
"""(sheet id, row, column)."""


@dataclass(frozen=True)
class Place:
    """Where an entry belongs: the board's code, its log, and the sheet of each label code."""

    board: str
    log: Log | None
    sheets: Mapping[LabelCode, LabelSheet]


@dataclass
class Ground:
    """A study as far as some entries need it. `code_on` and `boards` are kept up while entries are stored."""

    study: Study
    logs: dict[str, Log]
    serials: dict[int, LogSerial]
    sheets: dict[tuple[int, int], LabelSheet]
    boards: dict[str, Board]
    code_on: dict[CodeKey, str]
    entries: dict[str, list[TallyEntry]]
    flitches: dict[tuple[int, str], Flitch] = field(default_factory=dict)

    def place_of(self, read: TallyRead) -> tuple[Place | None, list[str]]:
        """Where a board or its withdrawal belongs, or every reason why that cannot be told."""
        problems: list[str] = []
        log = self._log_of(read, problems)
        sheets = self._sheets_of(read.codes, problems) if not problems else {}
        name = self._board_of(read, sheets, problems) if not problems else ""
        board = self.boards.get(name)
        if board is not None and log is None:
            log = board.log
        if board is not None and log is not None and board.log_id != log.pk:
            problems.append(
                f"board: found {name} from log {log.code}, and it is stored as from log {board.log.code};"
                " withdraw it first, or look which code was misread"
            )
        return (None, problems) if problems else (Place(name, log, sheets), [])

    def _log_of(self, read: TallyRead, problems: list[str]) -> Log | None:
        """The log that the label names, or the one typed; both must be the same."""
        labelled = None
        for code in read.codes[:1]:
            serial = self.serials.get(code.serial)
            if serial is None:
                problems.append(f"codes: found {code.text}, a label of no log of the portal")
            elif serial.log.study_id != self.study.pk:
                problems.append(f"codes: found {code.text}, a label of a log of another study")
            else:
                labelled = serial.log
        typed = self.logs.get(read.log or "")
        if read.log is not None and typed is None:
            problems.append(f"log: found {read.log}, expected a log of study {self.study.code}")
        if labelled is not None and typed is not None and labelled.pk != typed.pk:
            problems.append(f"log: found {typed.code}, expected {labelled.code}, whose label was read")
        return labelled or typed

    def _sheets_of(self, codes: Iterable[LabelCode], problems: list[str]) -> dict[LabelCode, LabelSheet]:
        found = {}
        for code in codes:
            sheet = self.sheets.get((code.serial, code.end))
            if sheet is None:
                problems.append(f"codes: found {code.text}, and no sheet was made for that end of the log")
            elif code.row >= sheet.rows or code.col >= sheet.cols:
                problems.append(
                    f"codes: found {code.text}, cell {code.cell}, outside the sheet of {sheet.rows} × {sheet.cols}"
                )
            else:
                found[code] = sheet
        return found

    def _board_of(self, read: TallyRead, sheets: Mapping[LabelCode, LabelSheet], problems: list[str]) -> str:
        """The board on which the codes are already; else the one typed; else a new one, called by its first code."""
        on = self.boards_with(sheets)
        taken = sorted(set(on.values()) - {read.board})
        if (read.board is not None and taken) or len(taken) > 1:
            told = ", ".join(f"{code} is on board {board}" for code, board in on.items())
            problems.append(f"codes: {told}; expected codes of one board")
        if read.board is not None:
            return read.board
        return taken[0] if taken else read.codes[0].text

    def boards_with(self, sheets: Mapping[LabelCode, LabelSheet]) -> dict[str, str]:
        """{code: board it is on} of those codes that are on a board, or that a board is called by."""
        found = {}
        for code, sheet in sheets.items():
            board = self.code_on.get((sheet.pk, code.row, code.col))
            if board is None and code.text in self.boards:
                board = code.text
            if board is not None:
                found[code.text] = board
        return found


def ground_for(study: Study, reads: Collection[TallyRead], entries: Collection[TallyEntry] = ()) -> Ground:
    """Everything that these entries of a study refer to, and all that was said of the same boards."""
    codes = [code for read in reads for code in read.codes] + [
        c for e in entries for c in read_codes(e.codes)
    ]
    typed = {read.log for read in reads if read.log}
    serials = _serials({code.serial for code in codes})
    of_labels = {s.log_id for s in serials.values() if s.log.study_id == study.pk}
    of_entries = {e.log_id for e in entries if e.log_id is not None}
    logs = {
        log.code: log
        for log in study.logs.filter(Q(code__in=typed) | Q(pk__in=of_labels | of_entries)).order_by("code")
    }
    names = {read.board for read in reads if read.board} | {code.text for code in codes}
    names |= {e.board_code for e in entries}
    log_ids = [log.pk for log in logs.values()]
    boards = study.boards.filter(Q(log_id__in=log_ids) | Q(code__in=names)).select_related("log", "flitch")
    by_code = {board.code: board for board in boards}
    code_on = {
        (sheet, row, col): board
        for sheet, row, col, board in BoardCode.objects.filter(
            sheet__serial__log_id__in=log_ids, withdrawn_at__isnull=True
        ).values_list("sheet_id", "row", "col", "board__code")
    }
    said: dict[str, list[TallyEntry]] = {}
    about = names | set(code_on.values())
    for entry in study.tally_entries.filter(board_code__in=about).exclude(kind="note").order_by("pk"):
        said.setdefault(entry.board_code, []).append(entry)
    serials |= _serials(
        {c.serial for listed in said.values() for e in listed for c in read_codes(e.codes)} - serials.keys()
    )
    flitches = {(f.log_id, f.code): f for f in Flitch.objects.filter(log_id__in=log_ids)}
    return Ground(study, logs, serials, _sheets(serials), by_code, code_on, said, flitches)


def read_codes(texts: Iterable[str]) -> list[LabelCode]:
    """Label codes as they are stored; what is none is passed over."""
    found = []
    for text in texts:
        try:
            found.append(decode(text))
        except LabelCodeError:
            continue
    return found


def _serials(numbers: set[int]) -> dict[int, LogSerial]:
    if not numbers:
        return {}
    return {s.number: s for s in LogSerial.objects.filter(number__in=numbers).select_related("log")}


def _sheets(serials: Mapping[int, LogSerial]) -> dict[tuple[int, int], LabelSheet]:
    numbers = {s.pk: number for number, s in serials.items()}
    rows = LabelSheet.objects.filter(serial_id__in=numbers)
    return {(numbers[sheet.serial_id], ENDS[LogEnd(sheet.end)]): sheet for sheet in rows} if numbers else {}

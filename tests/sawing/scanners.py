"""Logs with label sheets on their ends, and scanners that tally their boards."""

import uuid
from dataclasses import dataclass, field
from typing import Any

from grading.models import BoardGrade
from portal.models import User
from sawing.calc.label_code import encode
from sawing.models import BoardCode, HeldTally, Log, Study, TallyEntry
from sawing.tally.actions import Answer, receive_tally
from tests.conftest import Place
from tests.sawing.processing import sheet_of

SERIALS = {"L1": 101, "L2": 102, "L3": 103}
PLAN = {"thicknesses_mm": [25.0, 50.0], "widths_mm": [100.0, 150.0, 200.0], "oversize_thickness_mm": 3.0}


def saw_ready(place: Place) -> Study:
    """The study with its plan, its logs labelled on both ends, and no board yet."""
    study = place.study
    BoardGrade.objects.filter(board__study=study).delete()
    study.boards.all().delete()
    study.flitches.all().delete()
    for name, value in PLAN.items():
        setattr(study, name, value)
    study.save()
    for code, number in SERIALS.items():
        log = Log.objects.get(code=code, study=study)
        for end in ("butt", "top"):
            sheet_of(log, number, end, pith_row=20, pith_col=20)
    return study


def code(log: str = "L1", row: int = 20, col: int = 20, end: int = 0) -> str:
    """The ten digits of a cell of a log's label."""
    return encode(SERIALS[log], end, row, col)


@dataclass
class Scanner:
    """A scanner in the hand of a person: it counts its entries."""

    study: Study
    person: User
    device: uuid.UUID = field(default_factory=uuid.uuid4)
    count: int = 0

    def board(self, *codes: str, width_mm: Any = 150, **changes: Any) -> dict[str, Any]:
        """The next entry of this scanner, as JSON."""
        self.count += 1
        made = {
            "id": str(uuid.uuid4()),
            "kind": "board",
            "log": None,
            "board": None,
            "flitch": None,
            "piece": None,
            "codes": list(codes) or [code()],
            "thickness_mm": 28,
            "width_mm": width_mm,
            "length_m": 3,
            "text": None,
            "confirmed": False,
            "sequence": self.count,
            "entered_at": "2026-05-04T09:30:00Z",
        }
        return made | changes

    def withdraw(self, *codes: str, **changes: Any) -> dict[str, Any]:
        sizes = {"thickness_mm": None, "width_mm": None, "length_m": None}
        return self.board(*codes, kind="withdraw", **(sizes | changes))

    def note(self, text: str, **changes: Any) -> dict[str, Any]:
        return self.withdraw() | {"kind": "note", "text": text, "codes": []} | changes

    def send(self, *entries: Any) -> list[Answer]:
        return receive_tally(study=self.study, device=self.device, entries=list(entries), by=self.person)

    def tally(self, *codes: str, **changes: Any) -> TallyEntry:
        """Make an entry of a board and send it; returns it as stored."""
        made = self.board(*codes, **changes)
        (answer,) = self.send(made)
        assert answer.standing, answer.problems
        return TallyEntry.objects.get(client_id=made["id"])

    def held(self, entry: dict[str, Any]) -> list[str]:
        """Send an entry that has to be held; its reasons."""
        (answer,) = self.send(entry)
        assert answer.held, answer
        assert HeldTally.objects.get(client_id=entry["id"]).problems == list(answer.problems)
        return list(answer.problems)


def standing_of(entry: TallyEntry | dict[str, Any]) -> str:
    identity = entry["id"] if isinstance(entry, dict) else entry.client_id
    return str(TallyEntry.objects.values_list("standing", flat=True).get(client_id=identity))


def boards_of(study: Study) -> dict[str, float]:
    """{board: width in mm} of a study."""
    return dict(study.boards.order_by("code").values_list("code", "width_mm"))


def codes_on(study: Study) -> dict[str, set[tuple[str, int, int]]]:
    """{board: its (end, row, column)} of a study."""
    found: dict[str, set[tuple[str, int, int]]] = {}
    rows = BoardCode.objects.filter(board__study=study, withdrawn_at__isnull=True)
    for board, *cell in rows.values_list("board__code", "sheet__end", "row", "col"):
        found.setdefault(board, set()).add(tuple(cell))
    return found

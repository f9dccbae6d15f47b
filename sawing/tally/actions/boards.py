"""All that was said of one board at the saw, and what follows for the board. Part of the actions, in memory only."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db.models import PROTECT

from sawing.calc import tally_standing as rules
from sawing.calc.tally_standing import Said
from sawing.calc.tally_warnings import Plan
from sawing.models import Board, BoardCode, BoardState, TallyEntry
from sawing.tally.ground import read_codes

NEW_FROM = 2**62  # entries not stored yet arrive after all that are
TALLIED = {"tally": "scanned at the saw"}
"""Notes of a board that is there for the sake of its entries alone, not of a file."""
FILE = "file"
SIZES = ("thickness_mm", "width_mm", "length_m")
CORRECTABLE = frozenset({BoardState.SAWN, BoardState.IN_STACK, BoardState.DRY})
LEAVE, MAKE, CHANGE, REMOVE = "leave", "make", "change", "remove"


@dataclass
class Spoken:
    """The entries of one board with their standings, and the board as it is to be.

    `stored` is the board as the database has it; `board` the one there is to be: the same, a new one, or None.
    """

    code: str
    stored: Board | None
    entries: list[TallyEntry]
    board: Board | None = None
    flitch: str = ""
    changed: bool = False
    was: dict[uuid.UUID, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.board = self.stored
        self.was = {e.client_id: e.standing for e in self.entries}
        if self.stored is not None and self.stored.flitch is not None:
            self.flitch = self.stored.flitch.code

    @property
    def of_file(self) -> bool:
        """Whether the board came by a file: that is a voice like a scanner's, until a person decides against it."""
        return self.board is not None and not (self.board.notes or {}).get("tally")

    def standings(
        self,
        new: TallyEntry | None = None,
        decided: Mapping[uuid.UUID, str | None] | None = None,
        without_file: bool = False,
    ) -> dict[Any, str]:
        """Standing of every entry by client id, with one more entry, or with a person's decisions."""
        told: Mapping[uuid.UUID, str | None] = decided or {}
        listed = [*self.entries, *([new] if new is not None else [])]
        said = [
            Said(
                entry.client_id,
                entry.kind,
                _value(entry),
                entry.device,
                entry.sequence,
                entry.pk or NEW_FROM + at,
                told.get(entry.client_id, None if entry is new else entry.standing),
            )
            for at, entry in enumerate(listed)
        ]
        if self.of_file and self.board is not None and not without_file:
            said.append(Said(FILE, rules.BOARD, _sizes(self.board), FILE, 0, -1))
        return rules.standings(said)

    def effect(
        self, stand: Mapping[Any, str], new: TallyEntry | None = None
    ) -> tuple[str, TallyEntry | None]:
        """What these standings do to the board, and the entry whose sizes it is to have."""
        listed = [*self.entries, *([new] if new is not None else [])]
        counts = [e for e in listed if e.kind == rules.BOARD and stand[e.client_id] in rules.COUNTS]
        if not counts and FILE not in stand:
            return (REMOVE if self.board is not None else LEAVE), None
        head = next((e for e in counts if stand[e.client_id] == rules.CURRENT), None)
        if self.board is None:
            return MAKE, head or counts[0]
        if head is None or (head is not new and head.standing == rules.CURRENT) or not self._differs(head):
            return LEAVE, None
        return CHANGE, head

    def apply(self, stand: Mapping[Any, str], what: str, entry: TallyEntry | None, plan: Plan) -> None:
        """Take on standings and their effect, in memory."""
        for said in self.entries:
            said.standing = stand[said.client_id]
        if what == REMOVE:
            self.board, self.flitch = None, ""
        elif entry is not None and what in (MAKE, CHANGE):
            if what == MAKE:
                again = (
                    self.stored if self.stored is not None and self.stored.log_id == entry.log_id else None
                )
                self.board = again or Board(code=self.code, notes=TALLIED)
                self.board.state = BoardState.SAWN  # known here, not only to the database
            self._take_sizes(entry, plan)
            self.changed = True

    def _take_sizes(self, entry: TallyEntry, plan: Plan) -> None:
        board = self.board
        assert board is not None  # for the reader of types: apply has just made sure
        board.study_id, board.log = entry.study_id, entry.log
        for name in SIZES:
            setattr(board, name, getattr(entry, name))
        board.piece = entry.piece or board.piece
        board.cell = board.cell or _cell_of(entry)
        self.flitch = entry.flitch_code or self.flitch
        board.nominal_thickness_mm, board.nominal_width_mm = plan.nominal_of(
            board.thickness_mm, board.width_mm
        )

    def _differs(self, entry: TallyEntry) -> bool:
        board = self.board
        return board is not None and (
            any(getattr(board, name) != getattr(entry, name) for name in SIZES)
            or bool(entry.piece and entry.piece != board.piece)
            or bool(entry.flitch_code and entry.flitch_code != self.flitch)
        )

    def refusal(self, what: str, entry: TallyEntry, forced: bool) -> str | None:
        """Why a board that went on from the saw is not changed by a scanner any more; None when it may be."""
        board = self.board
        if board is None or what not in (CHANGE, REMOVE):
            return None
        if what == REMOVE and (kept := _kept_by(board)):
            return f"board: {self.code} has {kept} already and cannot be withdrawn at the saw"
        if board.state == BoardState.SAWN or (forced and what == CHANGE and board.state in CORRECTABLE):
            return None
        state = BoardState(board.state).label.lower()
        return f"board: {self.code} is {state}; expected a board still at the saw. Has it other sizes all the same?"


def _cell_of(entry: TallyEntry) -> str | None:
    """The cell of the first code read, as tallies write it."""
    codes = read_codes(entry.codes[:1])
    return codes[0].cell if codes else None


def _value(entry: TallyEntry) -> Any:
    return _sizes(entry) if entry.kind == rules.BOARD else None


def _sizes(of: Any) -> tuple[Any, ...]:
    return (of.log_id, *rules.comparable(of.thickness_mm, of.width_mm, of.length_m))


def _kept_by(board: Board) -> str | None:
    """What else of the portal refers to a stored board: in words, None when nothing does."""
    if board.pk is None:
        return None
    for relation in board._meta.related_objects:
        # History refers to boards without holding them; entries and codes go with the withdrawal itself.
        if relation.on_delete is not PROTECT or relation.related_model in (TallyEntry, BoardCode):
            continue
        if relation.related_model._default_manager.filter(**{relation.field.name: board.pk}).exists():
            return str(relation.related_model._meta.verbose_name_plural)
    return None

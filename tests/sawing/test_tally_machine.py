"""Any order of tally, correct, withdraw, send, lose the answer, send again, contradict, mistype and decide.

Whatever happens: every entry ever made is on the server exactly once when the scanners have sent what they hold, as
an entry or a held one; there is a board where somebody says so, with the sizes that stand; no code is on two boards.
"""

import random
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from sawing.models import Board, BoardCode, HeldTally, Study, TallyEntry
from sawing.tally.actions import (
    mend_held_tally,
    set_held_tally_aside,
    set_tally_aside,
    settle_tally,
)
from tests.conftest import Place
from tests.sawing.scanners import Scanner, code, saw_ready

WHICH = st.integers(0, 1)
ROWS = st.sampled_from([10, 20, 30])
COLS = st.lists(st.sampled_from([18, 20, 22]), min_size=1, max_size=3, unique=True)
WIDTHS = st.sampled_from([100.0, 150.0])
GROUND: list[tuple[Place, Study]] = []


class Saw(RuleBasedStateMachine):
    """Two scanners, one log. `made` is the truth: everything anybody ever sent off."""

    @initialize()
    def begin(self) -> None:
        place, self.study = GROUND[0]
        self.outer = transaction.atomic()
        self.outer.__enter__()
        self.manager = place.people["manager"]
        self.scanners = [Scanner(self.study, place.people["mill"]), Scanner(self.study, self.manager)]
        self.waiting: list[list[dict[str, Any]]] = [[], []]
        self.made: dict[uuid.UUID, dict[str, Any]] = {}

    def teardown(self) -> None:
        if not hasattr(self, "outer"):
            return
        try:
            for which, scanner in enumerate(self.scanners):
                assert all(a.taken for a in scanner.send(*self.waiting[which]))
            stored = list(TallyEntry.objects.values_list("client_id", "kind", "width_mm"))
            held = HeldTally.objects.exclude(state="stored").values_list(
                "client_id", "content__kind", "content__width_mm"
            )
            found = [*stored, *held]
            assert sorted(i for i, _, _ in found) == sorted(self.made)
            for identity, kind, width in found:
                assert (kind, width) == (self.made[identity]["kind"], self.made[identity]["width_mm"])
            self.boards_follow_from_what_was_said()
        finally:
            transaction.set_rollback(True)
            self.outer.__exit__(None, None, None)

    def keep(self, which: int, entry: dict[str, Any]) -> None:
        self.waiting[which].append(entry)
        self.made[uuid.UUID(entry["id"])] = entry

    @rule(which=WHICH, row=ROWS, cols=COLS, width=WIDTHS)
    def tally(self, which: int, row: int, cols: list[int], width: float) -> None:
        codes = [code(row=row, col=col) for col in cols]
        self.keep(which, self.scanners[which].board(*codes, width_mm=width, flitch=str(row // 10)))

    @rule(which=WHICH, rows=st.lists(ROWS, min_size=2, max_size=2, unique=True))
    def read_codes_of_two_boards(self, which: int, rows: list[int]) -> None:
        self.keep(which, self.scanners[which].board(*(code(row=row, col=18) for row in rows), width_mm=100.0))

    @rule(which=WHICH, mark=st.sampled_from(["L1-1", "L1-2"]), log=st.sampled_from(["L1", "L2", "L9"]))
    def type_a_board(self, which: int, mark: str, log: str) -> None:
        self.keep(which, self.scanners[which].board(codes=[], board=mark, log=log, width_mm=150.0))

    @rule(which=WHICH, row=ROWS, cols=COLS)
    def withdraw(self, which: int, row: int, cols: list[int]) -> None:
        self.keep(which, self.scanners[which].withdraw(*(code(row=row, col=col) for col in cols)))

    @rule(which=WHICH, seed=st.integers(0, 9), most=st.integers(1, 4), lost=st.booleans())
    def send(self, which: int, seed: int, most: int, lost: bool) -> None:
        """Some of what waits, in any order. When the answer is lost, all of it is kept and sent again."""
        batch = random.Random(seed).sample(self.waiting[which], min(most, len(self.waiting[which])))
        answers = self.scanners[which].send(*batch)
        assert all(a.taken for a in answers)
        if not lost:
            gone = {a.id for a in answers}
            self.waiting[which] = [e for e in self.waiting[which] if e["id"] not in gone]

    @rule(which=WHICH, pick=st.integers(0, 99))
    @precondition(lambda self: self.made)
    def send_something_old_again(self, which: int, pick: int) -> None:
        self.scanners[which].send(self.made[list(self.made)[pick % len(self.made)]])

    @rule(pick=st.integers(0, 99), what=st.sampled_from(["settle", "aside"]))
    def decide(self, pick: int, what: str) -> None:
        standings = {"settle": ["disputed"], "aside": ["current", "disputed", "repeated"]}[what]
        rows = list(TallyEntry.objects.filter(standing__in=standings).order_by("pk"))
        if rows:
            do = {"settle": settle_tally, "aside": set_tally_aside}[what]
            chosen = rows[pick % len(rows)]
            try:
                decided = do(study=self.study, entry_id=chosen.pk, by=self.manager)
            except ValidationError:  # a board that went on from the saw is not taken back
                assert Board.objects.get(study=self.study, code=chosen.board_code).state == "in_stack"
            else:
                assert decided.standing == ("current" if what == "settle" else "set_aside")

    @rule(mend=st.booleans())
    def settle_held(self, mend: bool) -> None:
        held = HeldTally.objects.filter(state="waiting").order_by("pk").first()
        if held is None:
            return
        if mend:
            codes = held.content["codes"][:1]
            mend_held_tally(
                study=self.study, held_id=held.pk, changes={"codes": codes, "log": "L1"}, by=self.manager
            )
        else:
            set_held_tally_aside(study=self.study, held_id=held.pk, by=self.manager)

    @rule(row=ROWS)
    def stack_a_board(self, row: int) -> None:
        """The board goes on: from now on nothing that a scanner sends changes it."""
        Board.objects.filter(study=self.study, code=code(row=row, col=20), state="sawn").update(
            state="in_stack"
        )

    @invariant()
    def nothing_is_there_twice(self) -> None:
        if not hasattr(self, "made"):
            return
        there = set(TallyEntry.objects.values_list("client_id", flat=True))
        unmended = HeldTally.objects.exclude(state="stored").values_list("client_id", flat=True)
        assert there <= set(self.made)
        assert not there & set(unmended)

    @invariant()
    def boards_follow_from_what_was_said(self) -> None:
        if not hasattr(self, "made"):
            return
        told: dict[str, list[TallyEntry]] = {}
        for entry in TallyEntry.objects.filter(
            kind="board", standing__in=["current", "repeated", "disputed"]
        ):
            told.setdefault(entry.board_code, []).append(entry)
        boards = {b.code: b for b in Board.objects.filter(study=self.study)}
        assert set(told) == set(boards)
        for name, entries in told.items():
            stands = [e for e in entries if e.standing == "current"]
            disputed = any(e.standing == "disputed" for e in entries)
            assert len(stands) == (0 if disputed else 1), name
            assert all(e.board_id == boards[name].pk for e in entries)
            if stands:
                assert boards[name].width_mm == stands[0].width_mm
                assert boards[name].log_id == stands[0].log_id

    @invariant()
    def codes_are_where_they_were_read(self) -> None:
        if not hasattr(self, "made"):
            return
        for board, row in BoardCode.objects.values_list("board__code", "row"):
            said = TallyEntry.objects.filter(board_code=board).values_list("codes", flat=True)
            assert any(code(row=row, col=col) in codes for codes in said for col in (18, 20, 22))


@pytest.fixture
def ground(material: Place) -> Iterator[None]:
    GROUND.append((material, saw_ready(material)))
    yield
    GROUND.clear()


def test_any_order_ends_with_every_entry_on_the_server_once(ground: None) -> None:
    run_state_machine_as_test(
        Saw,
        settings=settings(
            max_examples=20,
            stateful_step_count=25,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )

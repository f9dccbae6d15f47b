"""Boards tallied at the saw: every entry kept once, one set of sizes standing for a board, and people deciding."""

import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from sawing.models import Board, BoardCode, Flitch, HeldTally, MoistureReading, Study, TallyEntry
from sawing.tally.actions import (
    keep_board,
    mend_held_tally,
    set_held_tally_aside,
    set_tally_aside,
    settle_tally,
)
from tests.conftest import Place
from tests.sawing.processing import DAY
from tests.sawing.scanners import SERIALS, Scanner, boards_of, code, codes_on, saw_ready, standing_of


@pytest.fixture
def study(material: Place) -> Study:
    return saw_ready(material)


@pytest.fixture
def scanner(study: Study, material: Place) -> Scanner:
    return Scanner(study, material.people["mill"])


@pytest.fixture
def other(study: Study, material: Place) -> Scanner:
    return Scanner(study, material.people["manager"])


# Taking in


def test_a_board_is_called_by_the_first_code_read_on_it(study: Study, scanner: Scanner) -> None:
    first, second = code(row=18, col=15), code(row=19, col=24)
    entry = scanner.tally(first, second, width_mm=153, flitch="4", piece="1", confirmed=True)
    board = Board.objects.get(study=study)
    assert (board.code, board.log.code, board.cell) == (first, "L1", "B-18-15")
    assert (board.thickness_mm, board.width_mm, board.length_m) == (28, 153, 3)
    assert (board.nominal_thickness_mm, board.nominal_width_mm) == (25, 150)
    assert (board.flitch.code, board.flitch.thickness_mm, board.piece, board.state) == ("4", 28, "1", "sawn")
    assert (entry.board, entry.standing, entry.log.code) == (board, "current", "L1")
    assert codes_on(study) == {first: {("butt", 18, 15), ("butt", 19, 24)}}


def test_a_board_without_a_label_has_the_code_that_was_typed(study: Study, scanner: Scanner) -> None:
    scanner.tally(codes=[], log="L2", board="L2-7")
    assert boards_of(study) == {"L2-7": 150}
    assert codes_on(study) == {}


def test_sent_twice_it_is_stored_once_and_gets_the_same_answer(study: Study, scanner: Scanner) -> None:
    entry, spoilt = scanner.board(), scanner.board("12")
    first = scanner.send(entry, spoilt, entry)
    again = scanner.send(spoilt, entry)
    assert [a.to_dict() for a in again] == [first[1].to_dict(), first[0].to_dict()]
    assert first[0] == first[2]
    assert (TallyEntry.objects.count(), HeldTally.objects.count(), Board.objects.filter(study=study).count()) == (
        1, 1, 1,
    )  # fmt: skip


def test_a_scanner_corrects_itself_and_entries_may_come_late(study: Study, scanner: Scanner) -> None:
    early, late = scanner.board(width_mm=150), scanner.board(width_mm=200, flitch="2")
    scanner.send(late)
    scanner.send(early)
    assert boards_of(study) == {code(): 200}
    assert (standing_of(early), standing_of(late)) == ("replaced", "current")
    assert Board.objects.get(study=study).flitch.code == "2"


def test_another_scanner_that_says_the_same_repeats_it(
    study: Study, scanner: Scanner, other: Scanner
) -> None:
    scanner.tally(width_mm=150)
    assert other.tally(width_mm=150.04).standing == "repeated"
    assert boards_of(study) == {code(): 150}


def test_the_other_scanner_may_have_read_another_code_of_the_board(
    study: Study, scanner: Scanner, other: Scanner
) -> None:
    first, second, third = code(row=18), code(row=19), code(row=18, col=22)
    scanner.tally(first, second)
    assert other.tally(second, third).standing == "repeated"
    assert list(boards_of(study)) == [first]
    assert len(codes_on(study)[first]) == 3


def test_another_scanner_that_says_otherwise_disputes_it_until_a_manager_decides(
    study: Study, material: Place, scanner: Scanner, other: Scanner
) -> None:
    mine, theirs = scanner.tally(width_mm=150), other.tally(width_mm=200)
    assert (standing_of(mine), standing_of(theirs), boards_of(study)) == (
        "disputed",
        "disputed",
        {code(): 150},
    )
    with pytest.raises(PermissionDenied):
        settle_tally(study=study, entry_id=theirs.pk, by=material.people["mill"])
    settle_tally(study=study, entry_id=theirs.pk, by=material.people["manager"])
    assert (standing_of(mine), standing_of(theirs), boards_of(study)) == (
        "set_aside",
        "current",
        {code(): 200},
    )
    with pytest.raises(ValidationError, match="in dispute no longer"):
        settle_tally(study=study, entry_id=mine.pk, by=material.people["manager"])


def test_a_dispute_ends_when_one_scanner_corrects_itself(
    study: Study, scanner: Scanner, other: Scanner
) -> None:
    mine, theirs = scanner.tally(width_mm=150), other.tally(width_mm=200)
    scanner.tally(width_mm=200)
    assert (standing_of(mine), standing_of(theirs), boards_of(study)) == (
        "replaced",
        "current",
        {code(): 200},
    )


# Withdrawing


def test_a_withdrawn_board_is_gone_and_its_code_free(study: Study, scanner: Scanner) -> None:
    entry = scanner.tally()
    scanner.send(scanner.withdraw(code()))
    assert (standing_of(entry), boards_of(study), codes_on(study)) == ("withdrawn", {}, {})
    again = scanner.tally(width_mm=200)
    assert (standing_of(again), boards_of(study)) == ("current", {code(): 200})
    assert codes_on(study) == {code(): {("butt", 20, 20)}}


def test_withdrawn_and_tallied_again_in_one_batch(study: Study, scanner: Scanner) -> None:
    scanner.tally(flitch="1")
    scanner.send(scanner.withdraw(code()), scanner.board(width_mm=100, flitch="2"))
    board = Board.objects.get(study=study)
    assert (board.width_mm, board.flitch.code) == (100, "2")
    scanner.send(scanner.board(code(row=5)), scanner.withdraw(code(row=5)))
    assert list(boards_of(study)) == [code()]


def test_withdrawing_ones_own_leaves_what_the_other_scanner_said(
    study: Study, scanner: Scanner, other: Scanner
) -> None:
    mine, theirs = scanner.tally(), other.tally()
    scanner.send(scanner.withdraw(code()))
    assert (standing_of(mine), standing_of(theirs), list(boards_of(study))) == (
        "withdrawn",
        "current",
        [code()],
    )


def test_withdrawing_what_only_another_scanner_said_is_a_dispute(
    study: Study, material: Place, scanner: Scanner, other: Scanner
) -> None:
    theirs = other.tally()
    withdrawal = scanner.withdraw(code())
    scanner.send(withdrawal)
    assert (standing_of(theirs), standing_of(withdrawal)) == ("disputed", "disputed")
    assert list(boards_of(study)) == [code()]
    pk = TallyEntry.objects.get(client_id=withdrawal["id"]).pk
    settle_tally(study=study, entry_id=pk, by=material.people["manager"])
    assert (standing_of(theirs), boards_of(study)) == ("set_aside", {})


def test_a_withdrawal_that_comes_before_its_board(study: Study, scanner: Scanner) -> None:
    board, withdrawal = scanner.board(), scanner.withdraw(code())
    scanner.send(withdrawal)
    scanner.send(board)
    assert (standing_of(board), boards_of(study)) == ("withdrawn", {})


# Boards that are there already


def test_a_board_of_a_file_is_a_voice_of_its_own(material: Place, study: Study, scanner: Scanner) -> None:
    material.bring(
        "boards", f"board,log,thickness_mm,width_mm,length_m\n{code()},L1,28,150,3\n", name="file.csv"
    )
    assert scanner.tally(width_mm=150).standing == "repeated"
    different = scanner.tally(width_mm=200)
    assert (different.standing, boards_of(study)) == ("disputed", {code(): 150})
    manager = material.people["manager"]
    assert keep_board(study=study, board_code=code(), by=manager) == 1
    assert (standing_of(different), boards_of(study)) == ("set_aside", {code(): 150})
    third = scanner.tally(width_mm=100)
    settle_tally(study=study, entry_id=third.pk, by=manager)
    assert (standing_of(third), boards_of(study)) == ("current", {code(): 100})
    assert scanner.tally(width_mm=200).standing == "current"  # the file has no say any more


def test_setting_aside_what_was_said_of_a_files_board_leaves_the_board(
    material: Place, study: Study, scanner: Scanner
) -> None:
    material.bring(
        "boards", f"board,log,thickness_mm,width_mm,length_m\n{code()},L1,28,150,3\n", name="file.csv"
    )
    entry = scanner.tally(width_mm=200)
    set_tally_aside(study=study, entry_id=entry.pk, by=material.people["manager"])
    assert (standing_of(entry), boards_of(study)) == ("set_aside", {code(): 150})


def test_a_board_that_went_on_from_the_saw_is_asked_about(
    material: Place, study: Study, scanner: Scanner
) -> None:
    scanner.tally()
    Board.objects.filter(study=study).update(state="in_stack")
    change, withdrawal, same = scanner.board(width_mm=200), scanner.withdraw(code()), scanner.board()
    assert "is in stack; expected a board still at the saw" in scanner.held(change)[0]
    assert "is in stack" in scanner.held(withdrawal)[0]
    assert scanner.send(same)[0].standing == "current"
    held = HeldTally.objects.get(client_id=change["id"])
    manager = material.people["manager"]
    changes = {"sequence": 99}  # the scanner said 150 once more after it said 200
    assert mend_held_tally(study=study, held_id=held.pk, changes=changes, by=manager).state == "waiting"
    assert (
        mend_held_tally(study=study, held_id=held.pk, changes=changes, by=manager, forced=True).state
        == "stored"
    )
    assert boards_of(study) == {code(): 200}
    Board.objects.filter(study=study).update(state="graded")
    assert "is graded" in scanner.held(scanner.board(width_mm=100, sequence=200))[0]


def test_a_board_with_readings_is_not_withdrawn(study: Study, scanner: Scanner) -> None:
    scanner.tally()
    MoistureReading.objects.create(board=Board.objects.get(study=study), read_on=DAY, raw_pct=21, mc_pct=20)
    assert "moisture readings already" in scanner.held(scanner.withdraw(code()))[0]
    assert list(boards_of(study)) == [code()]


# Held


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"log": "L9", "codes": [], "board": "x"}, "log: found L9, expected a log of study first"),
        ({"log": "L2"}, "log: found L2, expected L1, whose label was read"),
        ({"codes": ["0123456789"]}, "check digit"),
        ({"codes": [code(), code("L2")]}, "labels of several logs"),
        ({"codes": [code(row=45)]}, "outside the sheet of 40 × 40"),
        ({"codes": []}, "neither a label's code nor a typed one"),
        ({"codes": [], "board": "x"}, "log: found nothing"),
        ({"kind": "slab"}, "kind: found 'slab'"),
        ({"width_mm": 0}, "width_mm: found 0, expected a number from 5 to 1000"),
        ({"width_mm": "150"}, "width_mm: found '150'"),
        ({"length_m": 3000}, "length_m: found 3000, expected a number from 0.05 to 13"),
        ({"thickness_mm": None}, "thickness_mm: found nothing"),
        ({"sequence": -1}, "sequence: found -1"),
        ({"entered_at": "noon"}, "entered_at: found 'noon'"),
        ({"confirmed": "yes"}, "confirmed: found 'yes'"),
        ({"board": "x" * 65}, "board: found"),
        ({"kind": "note", "text": " "}, "text: found nothing"),
    ],
)  # fmt: skip
def test_what_cannot_be_stored_is_held_with_its_reasons(
    study: Study, scanner: Scanner, changes: dict[str, Any], said: str
) -> None:
    assert said in " ".join(scanner.held(scanner.board(**changes)))
    assert boards_of(study) == {}


def test_labels_of_other_logs_are_held(material: Place, study: Study, scanner: Scanner) -> None:
    from sawing.actions import create_study
    from sawing.calc.label_code import encode
    from sawing.models import LogSerial

    assert "a label of no log" in scanner.held(scanner.board(encode(99_000, 0, 1, 1)))[0]
    second = create_study(trial=material.trial, code="second", name="Second", by=material.people["manager"])
    stranger = Scanner(second, material.people["mill"])
    assert "a label of a log of another study" in stranger.held(stranger.board())[0]
    LogSerial.objects.get(number=SERIALS["L3"]).sheets.filter(end="top").delete()
    assert "no sheet was made for that end" in scanner.held(scanner.board(code("L3", end=1)))[0]


def test_a_code_that_is_on_another_board_is_never_moved(
    study: Study, scanner: Scanner, other: Scanner
) -> None:
    scanner.tally(code(row=18))
    scanner.tally(code(row=23))
    both = other.board(code(row=18), code(row=23))
    assert "expected codes of one board" in other.held(both)[0]
    typed = other.board(code(row=18), board="L1-1")
    assert f"is on board {code(row=18)}" in other.held(typed)[0]
    assert {k: len(v) for k, v in codes_on(study).items()} == {code(row=18): 1, code(row=23): 1}


def test_a_board_does_not_change_its_log(study: Study, scanner: Scanner) -> None:
    scanner.tally(codes=[], log="L1", board="X")
    assert "is stored as from log L1" in scanner.held(scanner.board(codes=[], log="L2", board="X"))[0]
    scanner.send(scanner.withdraw(codes=[], board="X"), scanner.board(codes=[], log="L2", board="X"))
    assert Board.objects.get(study=study).log.code == "L2"


def test_who_may_not_tally_has_it_held_and_a_manager_takes_it(material: Place, study: Study) -> None:
    grader = Scanner(study, material.people["grader"])
    entry = grader.board()
    assert "expected mill staff or a manager" in grader.held(entry)[0]
    held = HeldTally.objects.get(client_id=entry["id"])
    with pytest.raises(PermissionDenied):
        mend_held_tally(study=study, held_id=held.pk, changes={}, by=material.people["mill"])
    assert (
        mend_held_tally(study=study, held_id=held.pk, changes={}, by=material.people["manager"]).state
        == "stored"
    )
    stored = TallyEntry.objects.get(client_id=entry["id"])
    assert (stored.by, stored.device) == (material.people["grader"], grader.device)
    assert grader.send(entry)[0].standing == "current"


def test_held_entries_are_mended_or_set_aside_once(material: Place, study: Study, scanner: Scanner) -> None:
    manager = material.people["manager"]
    entry, junk = scanner.board(log="L2"), scanner.board(width_mm=-3)
    scanner.send(entry, junk)
    held, other = (HeldTally.objects.get(client_id=e["id"]) for e in (entry, junk))
    still = mend_held_tally(study=study, held_id=held.pk, changes={"log": "L3"}, by=manager)
    assert (still.state, still.problems) == ("waiting", ["log: found L3, expected L1, whose label was read"])
    assert mend_held_tally(study=study, held_id=held.pk, changes={"log": "L1"}, by=manager).state == "stored"
    assert set_held_tally_aside(study=study, held_id=other.pk, by=manager).settled_by == manager
    with pytest.raises(ValidationError, match="settled before"):
        set_held_tally_aside(study=study, held_id=held.pk, by=manager)
    assert list(boards_of(study)) == [code()]


def test_only_what_has_an_identity_can_be_taken(scanner: Scanner) -> None:
    answers = scanner.send({"kind": "board"}, 7, None, scanner.board(id="7"))
    assert [(a.taken, a.standing) for a in answers] == [(False, None)] * 4


def test_a_note_is_kept_with_its_log(scanner: Scanner) -> None:
    note = scanner.note("Log split at the butt.", log="L1")
    assert scanner.send(note)[0].standing == "current"
    assert TallyEntry.objects.get(client_id=note["id"]).log.code == "L1"


# Warnings, as they were when the entry came


def test_warnings_stay_with_the_entry(study: Study, scanner: Scanner) -> None:
    kinds = {w["kind"] for w in scanner.tally(width_mm=170, length_m=3.2, confirmed=True).warnings}
    assert kinds == {"width", "longer"}
    far = scanner.tally(code(row=38), width_mm=240)  # 149 mm from the pith of a log of 330 mm
    assert {w["kind"] for w in far.warnings} == {"wider", "missing", "width"}


def test_the_same_cell_of_an_old_board_and_more_wood_than_the_log_has(study: Study, scanner: Scanner) -> None:
    for row in range(3, 38, 3):
        scanner.tally(code(row=row), width_mm=330, thickness_mm=28, flitch=str(row // 3))
    last = TallyEntry.objects.latest("pk")
    assert "more_wood" in {w["kind"] for w in last.warnings}
    assert Flitch.objects.filter(log__code="L1").count() == 12
    assert BoardCode.objects.filter(board__study=study).count() == 12


def test_entries_of_another_study_do_not_mix(material: Place, study: Study, scanner: Scanner) -> None:
    from sawing.actions import create_study

    entry = scanner.board()
    scanner.send(entry)
    second = create_study(trial=material.trial, code="second", name="Second", by=material.people["manager"])
    twice = Scanner(second, material.people["mill"], device=scanner.device)
    assert twice.send(entry)[0].standing == "current"  # taken before, whatever the address says
    assert not second.tally_entries.exists()
    assert uuid.UUID(entry["id"]) in study.tally_entries.values_list("client_id", flat=True)

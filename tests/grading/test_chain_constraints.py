"""The database refuses impossible grades: of another rule set, twice, or on a piece larger than its board."""

from typing import Any

import pytest

from grading.models import BoardGrade, Grade, RuleSet
from grading.rules.actions import add_rule_set
from portal.uploads.actions import UploadRefused, replace_stored
from sawing.models import Board
from tests.conftest import Place
from tests.grading.test_bench_constraints import TRIED as BENCH
from tests.refusals import (
    NOT_POSITIVE,
    Attempt,
    insert,
    numbers_refused,
    refused,
    rules_named,
    rules_of,
    update,
)

NUMBERS = numbers_refused(
    BoardGrade, "positive", "graded_length_m graded_width_mm graded_thickness_mm", NOT_POSITIVE
)
LARGER = "the graded piece is larger than its board"
SMALLER = "board B1 would be smaller than its graded piece"


def board(code: str) -> Board:
    return Board.objects.get(code=code)


def grade(code: str) -> Grade:
    return Grade.objects.get(code=code)


def foreign_grade(p: Place) -> Grade:
    """A grade of another rule set."""
    rules = add_rule_set(
        code="strength", title="Strength", grades=[{"code": "Strong"}], by=p.people["steward"]
    )
    return rules.grades.get()


def graded(code: str, **sizes: float) -> None:
    """Insert a grade for an ungraded board (B7: 28 x 250 mm, 4 m)."""
    fine = grade("Fine")
    BoardGrade.objects.bulk_create(
        [BoardGrade(board=board(code), rule_set=fine.rule_set, grade=fine, **sizes)]
    )


RULES: dict[str, list[Attempt]] = {
    "grading_ruleset_version_once": [lambda p: insert(RuleSet, current=False)],
    "grading_ruleset_one_current": [lambda p: insert(RuleSet, version=2)],
    "grading_ruleset_purpose_known": [lambda p: update(RuleSet, purpose="fun")],
    "grading_ruleset_code_filled": [lambda p: update(RuleSet, code="")],
    "grading_ruleset_title_filled": [lambda p: update(RuleSet, title="")],
    "grading_ruleset_version_check": [lambda p: update(RuleSet, version=-1)],
    "grading_grade_code_once": [lambda p: insert(Grade, rank=9)],
    "grading_grade_rank_once": [lambda p: insert(Grade, code="NEW")],
    "grading_grade_rank_check": [lambda p: update(Grade, {"code": "Fine"}, rank=-1)],
    "grading_grade_code_filled": [lambda p: update(Grade, {"code": "Fine"}, code="")],
    "grading_grade_id_rule_set": [],  # implied by the key; there for the grades of boards to refer to
    "grading_boardgrade_once_per_rule_set": [
        lambda p: insert(BoardGrade),
        lambda p: insert(BoardGrade, grade=grade("Out")),
    ],
    "grading_boardgrade_by_known": [lambda p: update(BoardGrade, by="dice")],
    "grading_boardgrade_grade_of_its_rule_set": [
        lambda p: insert(BoardGrade, board=board("B7"), graded_length_m=None, grade=foreign_grade(p)),
        lambda p: update(BoardGrade, {"board__code": "B1"}, grade=foreign_grade(p)),
        lambda p: update(Grade, {"code": "Plain"}, rule_set=foreign_grade(p).rule_set, rank=7),
    ],
    "piece_within_board": [
        lambda p: graded("B7", graded_length_m=4.001),
        lambda p: graded("B7", graded_width_mm=250.1),
        lambda p: graded("B7", graded_thickness_mm=28.1),
        lambda p: graded("B7", graded_length_m=3.9, graded_width_mm=240.0, graded_thickness_mm=29.0),
        lambda p: update(BoardGrade, {"board__code": "B1"}, graded_length_m=3.001),
        lambda p: update(BoardGrade, {"board__code": "B2"}, graded_width_mm=221.0),
        lambda p: update(BoardGrade, {"board__code": "B2"}, graded_thickness_mm=28.5),
        lambda p: update(BoardGrade, {"board__code": "B1"}, board=board("B3")),
    ],
}
SHRUNK: list[Attempt] = [
    lambda p: update(Board, {"code": "B1"}, length_m=2.6),
    lambda p: update(Board, {"code": "B1"}, width_mm=199.0),
    lambda p: update(Board, length_m=1.0),
    lambda p: Board.objects.bulk_update([shrunk("B1", width_mm=150.0)], ["width_mm"]),
    lambda p: shrunk("B1", width_mm=150.0).save(),
]
SAID_OTHERWISE = {"piece_within_board": LARGER}
ATTEMPTS = [
    pytest.param(rule, a, id=f"{rule}-{i}") for rule, tries in RULES.items() for i, a in enumerate(tries)
]


def shrunk(code: str, **sizes: float) -> Board:
    found = board(code)
    for name, value in sizes.items():
        setattr(found, name, value)
    return found


@pytest.mark.parametrize(("rule", "attempt"), ATTEMPTS)
def test_the_database_refuses(material: Place, rule: str, attempt: Attempt) -> None:
    with refused(SAID_OTHERWISE.get(rule, rule)):
        attempt(material)


@pytest.mark.parametrize(("model", "field", "value", "rule"), NUMBERS)
def test_sizes_are_positive_and_finite(
    material: Place, model: Any, field: str, value: float, rule: str
) -> None:
    # An infinite or NaN piece is already larger than its board.
    with refused(f"{rule}|{LARGER}"):
        update(model, **{field: value})


def test_every_rule_of_the_room_is_tried(material: Place) -> None:
    assert rules_of("grading") == set(RULES) | rules_named(NUMBERS) | BENCH


@pytest.mark.parametrize("attempt", SHRUNK)
def test_a_board_never_shrinks_below_its_graded_piece(material: Place, attempt: Attempt) -> None:
    """B1 is 28 x 200 mm, 3 m; 2.7 m x 200 mm of it are graded."""
    with refused(SMALLER.replace("B1", "B[1-7]")):
        attempt(material)


def test_a_board_may_shrink_down_to_its_graded_piece_and_grow(material: Place) -> None:
    update(Board, {"code": "B1"}, length_m=2.7)
    update(Board, {"code": "B1"}, thickness_mm=25.0)  # the thickness of the piece is the board's own
    update(Board, {"code": "B1"}, width_mm=260.0)
    update(Board, {"code": "B3"}, width_mm=10.0)  # not graded
    update(Board, {"code": "B2"}, width_mm=10.0)  # graded whole


def test_the_whole_board_is_not_larger_than_itself(material: Place) -> None:
    graded("B7", graded_length_m=4.0, graded_width_mm=250.0, graded_thickness_mm=28.0)


def test_a_tally_that_would_shrink_a_graded_board_is_refused_in_words(material: Place) -> None:
    upload = material.bring(
        "boards", "board,log,thickness_mm,width_mm,length_m\nB1,L1,28,150,3\n", name="less.csv"
    )
    held = upload.held_rows.get()
    with pytest.raises(UploadRefused, match=SMALLER):
        replace_stored(upload_id=upload.pk, held_ids=[held.pk], by=material.people["manager"])
    held.refresh_from_db()
    assert (held.state, board("B1").width_mm) == ("waiting", 200)


def test_a_new_version_of_a_rule_set_leaves_one_current(material: Place) -> None:
    steward = material.people["steward"]
    add_rule_set(code="look", title="Looks", grades=[{"code": "Only"}], by=steward, purpose="appearance")
    assert list(RuleSet.objects.order_by("version").values_list("version", "current")) == [
        (1, False),
        (2, True),
    ]

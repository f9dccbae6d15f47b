"""Stacks: boards go in once, are read, and come out dry; every refusal names its row and changes nothing."""

import datetime as dt
import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied

from portal.models import Role
from portal.uploads.actions import replace_stored
from sawing.drying import queries
from sawing.drying.actions import (
    build_stack,
    change_stack,
    keep_defects,
    keep_dry_sizes,
    keep_readings,
    keep_samples,
    keep_yard,
    place_boards,
    release_boards,
    set_aside_defect,
    set_aside_reading,
)
from sawing.drying.asked import (
    DefectAsked,
    PlacingAsked,
    ReadingAsked,
    RowsRefusedError,
    SampleAsked,
    SizeAsked,
)
from sawing.models import Board, DryingDefect, MoistureReading, Stack, StackPlacing, Yard
from tests.conftest import Place
from tests.sawing.drying_place import BUILT, CLIMATE, FREE, a_stack, a_yard, read


def states(*codes: str) -> list[str]:
    return [Board.objects.get(code=code).state for code in codes]


def refused(words: dict[int, str], call: Any, **arguments: Any) -> None:
    with pytest.raises(RowsRefusedError) as said:
        call(**arguments)
    assert set(said.value.rows) == set(words)
    for at, part in words.items():
        assert part in said.value.rows[at]


def test_a_board_goes_off_the_saw_into_the_stack_and_out_dry_with_its_history(material: Place) -> None:
    stack = a_stack(material)
    assert states(*FREE) == ["in_stack"] * 3
    assert stack.state == "drying"
    n = release_boards(stack=stack, released_on=BUILT + dt.timedelta(days=120), by=material.people["mill"])
    assert n == 3
    assert states(*FREE) == ["dry"] * 3
    stack.refresh_from_db()
    assert (stack.state, stack.released_on) == ("released", BUILT + dt.timedelta(days=120))
    events = Board.pgh_event_model.objects.filter(pgh_obj__code="B3").order_by("pgh_id")
    assert list(events.values_list("state", flat=True)) == ["sawn", "in_stack", "dry"]


@pytest.mark.parametrize(
    ("codes", "words"),
    [
        (["B3", "NONE"], {1: "no board of this code"}),
        (["B3", "B3"], {0: "stands here 2 times", 1: "stands here 2 times"}),
        (["B5", "B1"], {1: "graded: only boards off the saw"}),
    ],
)
def test_boards_that_cannot_be_stacked_are_named_and_none_is(
    material: Place, codes: list[str], words: dict[int, str]
) -> None:
    stack = a_stack(material, boards=[])
    asked = [PlacingAsked(code) for code in codes]
    refused(words, place_boards, stack=stack, placings=asked, placed_on=BUILT, by=material.people["mill"])
    assert StackPlacing.objects.count() == 0
    assert states("B3", "B5", "B1") == ["sawn", "sawn", "graded"]


def test_a_board_in_another_stack_is_refused_or_moved_on_request(material: Place) -> None:
    first, second = a_stack(material), a_stack(material, "S2", boards=[])
    given = {"stack": second, "placings": [PlacingAsked("B5")], "by": material.people["mill"]}
    later = BUILT + dt.timedelta(days=7)
    refused({0: "is in stack S1"}, place_boards, placed_on=later, **given)
    assert place_boards(placed_on=later, move=True, **given) == 1
    assert list(queries.placings_of(first).values_list("board__code", flat=True)) == ["B3", "B7"]
    assert first.placings.get(board__code="B5").taken_on == later
    assert states("B5") == ["in_stack"]


def test_two_boards_cannot_lie_in_one_place_of_a_layer(material: Place) -> None:
    stack = a_stack(material, boards=["B3"])
    asked = [PlacingAsked("B5", 1, 1), PlacingAsked("B7", 2, 1)]
    refused(
        {0: "layer 1, place 1 is taken"}, place_boards, stack=stack, placings=asked, placed_on=BUILT,
        by=material.people["mill"],
    )  # fmt: skip


def test_codes_are_found_as_people_write_them(material: Place) -> None:
    found = queries.boards_by_what_was_read(material.study, ["b3 ", " B5", "B 7", "B99", ""])
    assert {text: board.code for text, board in found.items()} == {"b3 ": "B3", " B5": "B5", "B 7": "B7"}


def test_readings_are_corrected_stored_once_and_kept_above_saturation_without_a_number(
    material: Place,
) -> None:
    stack = a_stack(material)
    rows = [
        ReadingAsked("B3", "18", 10.0, client_id=uuid.uuid4()),
        ReadingAsked("B5", "> FSP", client_id=uuid.uuid4()),
        ReadingAsked("B7", "41", client_id=uuid.uuid4()),
    ]
    given = {"stack": stack, "rows": rows, "read_on": BUILT, "by": material.people["mill"]}
    assert keep_readings(**given) == 3
    assert keep_readings(**given) == 0  # the same rows sent again
    stored = {r.board.code: (r.raw_pct, r.mc_pct, r.above_fsp) for r in MoistureReading.objects.all()}
    assert stored == {"B3": (18.0, 19.0, False), "B5": (None, None, True), "B7": (41.0, None, True)}


def test_readings_that_cannot_be_are_named_and_none_is_stored(material: Place) -> None:
    stack = a_stack(material, boards=["B3"])
    read(material, stack, 5, "25", boards=["B3"])
    rows = [
        ReadingAsked("B3", "24"),
        ReadingAsked("B5", "24"),
        ReadingAsked("B99", "24"),
        ReadingAsked("B3", "wet", sample="core"),
    ]
    refused(
        {0: "already", 1: "never lay in stack S1", 2: "no board", 3: "a number in %"},
        keep_readings,
        stack=stack,
        rows=rows,
        read_on=BUILT + dt.timedelta(days=5),
        by=material.people["mill"],
    )
    assert MoistureReading.objects.count() == 1


def test_oven_dry_samples_are_computed_from_their_masses(material: Place) -> None:
    """124.8 g wet, 98.6 g dry: 26.572 % (EN 13183-1's definition, computed by hand)."""
    stack = a_stack(material)
    given = {"stack": stack, "read_on": BUILT, "by": material.people["mill"]}
    assert keep_samples(rows=[SampleAsked("B3", 124.8, 98.6)], **given) == 1
    assert MoistureReading.objects.get().mc_pct == pytest.approx(26.572)
    refused({0: "swapped"}, keep_samples, rows=[SampleAsked("B5", 98.6, 124.8)], **given)


def test_a_reading_set_aside_counts_no_more_and_makes_room_for_the_right_one(material: Place) -> None:
    stack = a_stack(material)
    read(material, stack, 0, "28", "29", "29.5")
    set_aside_reading(reading=MoistureReading.objects.get(board__code="B3"), by=material.people["mill"])
    assert len(queries.drying_of(stack, BUILT)[1]) == 2
    assert read(material, stack, 0, "27", boards=["B3"]) == 1


def test_a_stack_tells_its_curve_its_moisture_and_the_day_of_its_target(material: Place) -> None:
    """Readings of the closed form with E of the yard: the curve finds the rate they were made with."""
    stack = a_stack(material)
    for days, values in {
        20: ("29", "28", "27.5"),
        45: ("23.2", "22.4", "22"),
        80: ("19.2", "18.8", "18.5"),
    }.items():
        read(material, stack, days, *values)
    drying, readings = queries.drying_of(stack, BUILT + dt.timedelta(days=90))
    assert drying is not None
    assert drying.curve is not None
    assert (len(readings), drying.drawn) == (9, "residuals")
    assert drying.now is not None
    assert 17.0 < drying.now.value_pct < 19.0
    assert drying.dates is not None
    assert drying.dates.best is not None
    assert BUILT + dt.timedelta(days=70) < drying.dates.best < BUILT + dt.timedelta(days=130)
    assert drying.spread is not None
    assert (drying.spread.n, drying.spread.share_at_target) == (3, 0.0)


def test_a_stack_without_a_yard_says_why_it_has_no_curve(material: Place) -> None:
    stack = a_stack(material, yard=None)
    for days in (0, 20, 40):
        read(material, stack, days, "29", "25", f"{22 - days / 10}")
    drying, _ = queries.drying_of(stack, BUILT)
    assert drying is not None
    assert drying.curve is None
    assert "climate" in drying.refused


def test_days_when_boards_stood_above_saturation_are_left_out_of_the_curve(material: Place) -> None:
    stack = a_stack(material)
    read(material, stack, 0, "> FSP", "28", "29")
    read(material, stack, 30, "25", "24", "24.5")
    drying, readings = queries.drying_of(stack, BUILT)
    assert drying is not None
    assert drying.used.sum() == 3
    assert len(readings) == 6
    assert "so these were the dry ones" in drying.notes[0]


def test_only_some_boards_released_leave_the_stack_drying(material: Place) -> None:
    stack = a_stack(material)
    given = {"stack": stack, "by": material.people["manager"]}
    on = BUILT + dt.timedelta(days=90)
    refused({1: "not in this stack"}, release_boards, codes=["B3", "B1"], released_on=on, **given)
    refused({0: "after that day"}, release_boards, released_on=BUILT - dt.timedelta(days=1), **given)
    assert release_boards(codes=["B3"], released_on=on, **given) == 1
    stack.refresh_from_db()
    assert stack.state == "drying"
    assert states(*FREE) == ["dry", "in_stack", "in_stack"]


def test_boards_graded_in_the_stack_leave_it_and_stay_graded(material: Place) -> None:
    stack = a_stack(material)
    material.bring("grades", "board,rule_set,grade\nB3,look,Fine\n", name="g.csv")
    assert states("B3") == ["graded"]
    assert release_boards(stack=stack, released_on=BUILT, by=material.people["mill"]) == 3
    assert states(*FREE) == ["graded", "dry", "dry"]
    assert not queries.placings_of(stack).exists()


def test_a_released_stack_takes_no_more_boards(material: Place) -> None:
    stack = a_stack(material, boards=["B3"])
    release_boards(stack=stack, released_on=BUILT, by=material.people["mill"])
    refused(
        {0: "is released"}, place_boards, stack=stack, placings=[PlacingAsked("B5")], placed_on=BUILT,
        by=material.people["mill"],
    )  # fmt: skip
    refused(
        {0: "no board to release"}, release_boards, stack=stack, released_on=BUILT, by=material.people["mill"]
    )


def test_defects_need_what_makes_them_comparable(material: Place) -> None:
    def one(kind: str, size: float | None, over: float | None = None, board: str = "B3") -> DefectAsked:
        return DefectAsked(board, kind, size, over, BUILT)

    given = {"study": material.study, "by": material.people["mill"]}
    refused(
        {0: "needs its size", 1: "length it was measured over", 2: "a twentieth", 3: "no board"},
        keep_defects,
        rows=[one("bow", None, 3), one("twist", 8), one("spring", 400, 3), one("check", 2, board="B99")],
        **given,
    )
    assert DryingDefect.objects.count() == 0
    assert keep_defects(rows=[one("bow", 18, 3), one("check", 2), one("collapse", None)], **given) == 3
    bow = DryingDefect.objects.get(kind="bow")
    assert bow.over_mm == 3000
    set_aside_defect(defect=bow, by=material.people["mill"])
    assert list(
        queries.defects_of(material.study).filter(set_aside=False).values_list("kind", flat=True)
    ) == [
        "check",
        "collapse",
    ]


def test_dry_sizes_are_stored_where_they_can_be(material: Place) -> None:
    given = {"study": material.study, "by": material.people["mill"]}
    refused(
        {0: "look again", 1: "no size", 2: "no board"},
        keep_dry_sizes,
        rows=[SizeAsked("B3", 40, None), SizeAsked("B5", None, None), SizeAsked("B99", 26, 150)],
        **given,
    )
    assert keep_dry_sizes(rows=[SizeAsked("B3", 27.1, 174)], **given) == 1
    assert keep_dry_sizes(rows=[SizeAsked("B3", None, 173.5)], **given) == 1
    board = Board.objects.get(code="B3")
    assert (board.dry_thickness_mm, board.dry_width_mm, board.dry_length_m) == (27.1, 173.5, None)


@pytest.mark.parametrize("who", [Role.FIELD_CREW, Role.GRADER, Role.RESEARCHER, "stranger"])
def test_only_mill_staff_and_managers_write(material: Place, who: str) -> None:
    stack, by = a_stack(material), material.people[who]
    reading = MoistureReading.objects.create(board=stack.placings.first().board, read_on=BUILT, mc_pct=20)
    defect = DryingDefect.objects.create(board=reading.board, kind="check", seen_on=BUILT)
    attempts: list[tuple[Any, dict[str, Any]]] = [
        (keep_yard, {"trial": material.trial, "name": "Mine"}),
        (build_stack, {"study": material.study, "code": "mine"}),
        (change_stack, {"stack": stack, "place": "mine"}),
        (place_boards, {"stack": stack, "placings": [], "placed_on": BUILT}),
        (release_boards, {"stack": stack, "released_on": BUILT}),
        (keep_readings, {"stack": stack, "rows": [], "read_on": BUILT}),
        (keep_samples, {"stack": stack, "rows": [], "read_on": BUILT}),
        (set_aside_reading, {"reading": reading}),
        (keep_defects, {"study": material.study, "rows": []}),
        (set_aside_defect, {"defect": defect}),
        (keep_dry_sizes, {"study": material.study, "rows": []}),
    ]
    for action, arguments in attempts:
        with pytest.raises(PermissionDenied):
            action(by=by, **arguments)
    assert (Yard.objects.count(), Stack.objects.count(), states(*FREE)) == (1, 1, ["in_stack"] * 3)


def test_a_yard_is_changed_and_its_earlier_climate_stays_in_the_history(material: Place) -> None:
    yard = a_yard(material)
    warmer = [{**month, "temperature_c": month["temperature_c"] + 1} for month in CLIMATE]
    keep_yard(trial=material.trial, yard=yard, climate=warmer, by=material.people["manager"])
    kept = list(Yard.pgh_event_model.objects.order_by("pgh_id").values_list("climate", flat=True))
    assert kept == [CLIMATE, warmer]
    assert queries.climate_of(Yard(climate=CLIMATE[:11])) is None


# Files --------------------------------------------------------------------------------------------


def bring(p: Place, text: str, name: str = "moisture.csv") -> Any:
    return p.bring(
        "moisture",
        f"board,read_on,mc_pct,method,temperature_c,wet_mass_g,dry_mass_g\n{text}",
        name=name,
        by="mill",
    )


def test_a_file_of_readings_goes_to_the_stacks_of_their_days_and_twice_adds_nothing(material: Place) -> None:
    stack = a_stack(material)
    text = "B3,2025-03-12,18,meter,10,,\nB5,2025-03-12,35,,,,\nB7,2025-03-12,26.572,oven_dry,,124.8,98.6\n"
    first = bring(material, text)
    assert (first.added, first.held) == (3, 0)
    stored = {
        r.board.code: (r.method, r.raw_pct, r.mc_pct, r.above_fsp) for r in stack.moisture_readings.all()
    }
    assert stored == {
        "B3": ("meter", 18.0, 19.0, False),
        "B5": ("meter", 35.0, None, True),
        "B7": ("oven_dry", None, 26.572, False),
    }
    again = bring(material, f"{text}B3,2025-03-12,17,oven_dry,,,\n", "longer.csv")
    assert (again.added, again.already_there, again.held) == (1, 3, 0)


def test_a_file_that_says_something_else_of_a_reading_is_held_and_can_take_its_place(material: Place) -> None:
    stack = a_stack(material)
    bring(material, "B3,2025-03-12,18,,,,\n")
    other = bring(material, "B3,2025-03-12,24,,,,\n", "other.csv")
    assert (other.added, other.held) == (0, 1)
    held = list(other.held_rows.values_list("pk", flat=True))
    assert replace_stored(upload_id=other.pk, held_ids=held, by=material.people["mill"]) == 1
    assert stack.moisture_readings.get().mc_pct == 24.0


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("B99,2025-03-12,18,,,,", "board", "known board"),
        ("B3,2025-03-12,1.2,,,,", "mc_pct", "at least 3"),
        ("B3,2025-03-12,21,oven_dry,,124.8,98.6", "mc_pct", "on the wet mass"),
        ("B3,2025-03-12,21,meter,,124.8,98.6", "method", "oven_dry"),
        ("B3,2025-03-12,21,oven_dry,,124.8,", "dry_mass_g", "both masses"),
    ],
)
def test_rows_that_cannot_be_are_held_with_their_reason(
    material: Place, row: str, column: str, words: str
) -> None:
    upload = bring(material, f"{row}\n")
    assert (upload.added, upload.held) == (0, 1)
    problem = upload.held_rows.get().problems[0]
    assert problem["column"] == column
    assert words in problem["expected"]


# Out again before they are dry -------------------------------------------------------------------------------


def test_a_board_taken_out_is_sawn_again_with_the_reason_on_record(material: Place) -> None:
    from sawing.drying.actions import take_out_boards
    from sawing.planning.queries import boards_by_stage

    stack, by = a_stack(material), material.people["mill"]
    day = BUILT + dt.timedelta(days=3)
    assert take_out_boards(stack=stack, codes=["b3"], taken_on=day, why=" wrong stack ", by=by) == 1
    assert states(*FREE) == ["sawn", "in_stack", "in_stack"]
    placing = StackPlacing.objects.get(board__code="B3")
    assert (placing.taken_on, placing.taken_why) == (day, "wrong stack")
    stage = boards_by_stage(material.study).get(code="B3")
    assert (stage.stacked, stage.dried) == (False, False)
    stack.refresh_from_db()
    assert stack.state == "drying"
    again = a_stack(material, "S2", boards=["B3"])
    assert states("B3") == ["in_stack"]
    assert again.placings.count() == 1


def test_taking_out_refuses_the_unknown_the_early_and_the_unexplained(material: Place) -> None:
    from sawing.drying.actions import take_out_boards

    stack, by = a_stack(material, boards=["B3", "B5"]), material.people["mill"]
    for codes, day, why, words in (
        (["B3", "B7"], BUILT, "x", "B7 is not in this stack"),
        (["B3"], BUILT - dt.timedelta(days=1), "x", "after that day"),
        (["B3"], BUILT, " ", "say why"),
        ([], BUILT, "x", "at least one board"),
    ):
        with pytest.raises(RowsRefusedError, match=words):
            take_out_boards(stack=stack, codes=codes, taken_on=day, why=why, by=by)
    assert states("B3", "B5") == ["in_stack"] * 2


def test_a_reading_from_before_the_stack_is_refused(material: Place) -> None:
    stack = a_stack(material)
    with pytest.raises(RowsRefusedError, match="before the stack was built"):
        read(material, stack, -400, "27", boards=[FREE[0]])
    assert not stack.moisture_readings.exists()

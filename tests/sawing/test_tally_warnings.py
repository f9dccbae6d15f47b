"""What is asked about a board at the saw: closed cases, and each limit from both sides."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sawing.calc.label_place import End, SheetOnLog
from sawing.calc.tally_warnings import (
    BoardAtSaw,
    EndAtSaw,
    LogAtSaw,
    Plan,
    board_warnings,
    chord_mm,
    log_warnings,
)

SHEET = SheetOnLog(8.0, 30, 30)
ROUND = EndAtSaw(End.of_diameters(300.0), SHEET)
LOG = LogAtSaw(
    "L1", 3.0, 0.2, {0: ROUND, 1: EndAtSaw(End.of_diameters(260.0), SheetOnLog(8.0, 30, 30, top_end=True))}
)
PLAN = Plan((25.0, 50.0), (100.0, 150.0, 200.0), 3.0, 4.0, kerf_mm=4.0)


def board(code: str = "B", width_mm: float = 156.0, **changes: object) -> BoardAtSaw:
    return replace(BoardAtSaw(code, 28.0, width_mm, 3.0), **changes)  # type: ignore[arg-type]


def kinds(made: BoardAtSaw, *others: BoardAtSaw, log: LogAtSaw = LOG, plan: Plan = PLAN) -> set[str]:
    return {w.kind for w in board_warnings(log, plan, made, others)}


def test_an_ordinary_board_is_not_asked_about() -> None:
    assert kinds(board(cells=((0, 30, 30),), flitch="3"), board("A", flitch="2")) == set()


def test_chords_of_a_circle_and_of_an_ellipse() -> None:
    """Geometry: 3-4-5 triangles; of an ellipse along its axes the same, scaled. Closed form."""
    assert chord_mm(End.of_diameters(100.0), 30.0) == pytest.approx(80.0)
    assert chord_mm(End.of_diameters(100.0), 50.0) == 0
    wide = End.of_diameters(200.0, 100.0)  # 200 along x, 100 along y
    assert chord_mm(wide, 30.0) == pytest.approx(160.0)
    assert chord_mm(wide, 60.0, 90.0) == pytest.approx(80.0)


@given(a=st.floats(50, 300), b=st.floats(50, 300), angle=st.floats(-90, 90), share=st.floats(0, 0.99))
def test_a_chord_ends_on_the_ellipse(a: float, b: float, angle: float, share: float) -> None:
    """Both ends of the chord, found from its length and its middle by bisection, satisfy x²/a² + y²/b² = 1."""
    end = End(a, b)
    turn = math.radians(angle)
    u, n = (math.cos(turn), math.sin(turn)), (-math.sin(turn), math.cos(turn))
    reach = math.hypot(a * math.sin(turn), b * math.cos(turn))
    d = share * reach

    def inside(along: float) -> bool:
        x, y = d * n[0] + along * u[0], d * n[1] + along * u[1]
        return (x / a) ** 2 + (y / b) ** 2 < 1

    # The middle of the chord: where the tangent line's contact point, scaled, lies.
    middle = d * (b * b - a * a) * math.sin(turn) * math.cos(turn) / reach**2
    middle = middle if inside(middle) else -middle
    low, high = 0.0, 2 * (a + b)
    for _ in range(80):
        half = (low + high) / 2
        low, high = (half, high) if inside(middle + half) else (low, half)
    assert chord_mm(end, d, angle) == pytest.approx(2 * low, rel=1e-6, abs=1e-6)


def test_wider_than_its_chord_at_that_cell() -> None:
    """A log of 300 mm, code 104 mm over the pith, board 28 mm thick: its wide face is no nearer than 76 mm to the
    pith, where the chord is 2 √(150² - 76²) = 258.6 mm; 10 mm more are let pass."""
    high = ((0, 17, 30),)
    widest = 2 * math.sqrt(150**2 - 76**2)
    free = Plan()
    assert kinds(board(width_mm=widest + 9.9, cells=high), plan=free) == set()
    assert kinds(board(width_mm=widest + 10.1, cells=high), plan=free) == {"wider"}
    beside = ((0, 30, 17),)  # at the pith's height the whole diameter is open
    assert kinds(board(width_mm=300, cells=beside), plan=free) == set()


def test_codes_far_apart_tell_how_the_width_runs() -> None:
    """Two codes above each other: the board stands upright, 104 mm beside the pith."""
    upright = ((0, 25, 43), (0, 35, 43))
    widest = 2 * math.sqrt(150**2 - 76**2)
    free = Plan()
    assert kinds(board(width_mm=widest + 10.1, cells=upright), plan=free) == {"wider"}
    assert kinds(board(width_mm=widest + 9.9, cells=upright), plan=free) == set()


def test_each_end_has_its_own_diameter_and_no_sheet_no_chord() -> None:
    at_pith = board(width_mm=275, cells=((1, 30, 30),))
    assert kinds(at_pith, plan=Plan()) == {"wider"}
    assert kinds(replace(at_pith, cells=((0, 30, 30),)), plan=Plan()) == set()
    bare = LogAtSaw("L1", 3.0, 0.2, {1: EndAtSaw(End.of_diameters(260.0))})
    assert kinds(at_pith, plan=Plan(), log=bare) == set()


@pytest.mark.parametrize(
    ("made", "kind"),
    [
        (board(length_m=3.051), "longer"),
        (board(thickness_mm=55.1), "thicker"),
        (board(width_mm=160.1), "width"),
        (board(width_mm=151.9), "width"),
    ],
)
def test_sizes_beyond_the_plan(made: BoardAtSaw, kind: str) -> None:
    """Green sizes are nominal ones and the oversize: 50 + 3 mm thick, 150 × 1.04 = 156 mm wide."""
    assert kinds(made) == {kind}
    within = {
        "longer": board(length_m=3.049),
        "thicker": board(thickness_mm=54.9),
        "width": board(width_mm=159.9),
    }
    assert kinds(within[kind]) == set()


def test_without_a_plan_no_size_is_odd() -> None:
    assert kinds(board(width_mm=163, thickness_mm=61), plan=Plan()) == set()


def test_planned_sizes_that_green_ones_stand_for() -> None:
    assert PLAN.nominal_of(28.0, 156.0) == (25.0, 150.0)
    assert PLAN.nominal_of(52.0, 104.0) == (50.0, 100.0)
    assert PLAN.nominal_of(40.0, 130.0) == (None, None)


def test_more_wood_out_than_in() -> None:
    """0.0134 m³ a board: fourteen boards fill 0.1835 m³, fifteen would be 0.1966, and sixteen more than 0.2."""
    boards = [board(f"B{n}") for n in range(14)]
    assert kinds(board("last"), *boards, log=replace(LOG, volume_m3=0.1966)) == set()
    assert kinds(board("last"), *boards, log=replace(LOG, volume_m3=0.1965)) == {"more_wood"}
    assert kinds(board("last"), *boards, log=replace(LOG, volume_m3=math.nan)) == set()
    again = replace(boards[0], width_mm=157.0)  # the board itself is not counted twice
    assert kinds(again, *boards, log=replace(LOG, volume_m3=0.1836)) == set()


def test_two_boards_in_one_cell() -> None:
    one, other = board("A", cells=((0, 30, 28), (0, 30, 33))), board("B", cells=((0, 30, 33),))
    assert kinds(other, one) == {"same_cell"}
    assert kinds(replace(other, cells=((1, 30, 33),)), one) == set()
    text = board_warnings(LOG, PLAN, other, [one])[0].text
    assert text == "cell B-30-33 was read on board A too"


def test_flitches_that_are_skipped() -> None:
    there = [board("A", flitch="1"), board("E", flitch="5")]
    found = board_warnings(LOG, PLAN, board("C", flitch="3"), there)
    assert [w.text for w in found] == [
        "no board of flitch 2, between A and C",
        "no board of flitch 4, between C and E",
    ]
    assert kinds(board("C", flitch="5"), *there) == set()
    assert kinds(board("C", flitch="upper"), *there) == set()


def test_room_for_a_board_between_two() -> None:
    """Neighbours of 28 mm with 4 mm of kerf: codes at their outer faces are at most 60 mm apart."""
    low = board("A", cells=((0, 30, 30),))
    assert kinds(board(width_mm=104, cells=((0, 23, 30),)), low) == set()  # 56 mm
    assert kinds(board(width_mm=104, cells=((0, 22, 30),)), low) == {"missing"}  # 64 mm
    other_end = board(width_mm=104, cells=((1, 15, 30),))
    assert "missing" not in kinds(other_end, low)


def test_a_whole_log_says_the_same_once() -> None:
    boards = [
        board("A", flitch="1", cells=((0, 40, 30),)),
        board("B", flitch="2", cells=((0, 36, 30),)),
        board("C", flitch="4", cells=((0, 36, 30),)),
        board("D", flitch="5", width_mm=130),
    ]
    found = {(code, w.kind) for code, w in log_warnings(LOG, PLAN, boards)}
    assert found == {("C", "same_cell"), ("C", "missing"), ("D", "width")}
    heavy = log_warnings(replace(LOG, volume_m3=0.01), Plan(), boards)
    assert [(code, w.kind) for code, w in heavy if w.kind == "more_wood"] == [(None, "more_wood")]


SIZES = st.tuples(st.floats(10, 80), st.floats(40, 400), st.floats(0.3, 4))
CELLS = st.lists(
    st.tuples(st.integers(0, 1), st.integers(0, 60), st.integers(0, 60)), max_size=3, unique=True
)


@given(made=st.lists(st.tuples(SIZES, CELLS, st.none() | st.integers(1, 9).map(str)), min_size=1, max_size=6))
def test_a_board_alone_and_in_its_log_is_judged_alike(
    made: list[tuple[tuple[float, float, float], list[tuple[int, int, int]], str | None]],
) -> None:
    """What is odd about a board by itself does not depend on which of the two questions is asked."""
    boards = [
        BoardAtSaw(f"B{n}", *sizes, flitch=flitch, cells=tuple(cells))
        for n, (sizes, cells, flitch) in enumerate(made)
    ]
    own = {"longer", "wider", "thicker", "width"}
    whole = log_warnings(LOG, PLAN, boards)
    for one in boards:
        alone = [w for w in board_warnings(LOG, PLAN, one, boards) if w.kind in own]
        assert alone == [w for code, w in whole if code == one.code and w.kind in own]


def test_a_board_that_states_nominal_sizes_is_judged_by_them() -> None:
    """Boards of a file say what they are sold as; how much they have over it is theirs."""
    stated = board(width_mm=170, thickness_mm=60, nominal_width_mm=150.0, nominal_thickness_mm=50.0)
    assert kinds(stated) == set()
    assert kinds(replace(stated, nominal_width_mm=160.0)) == {"width"}

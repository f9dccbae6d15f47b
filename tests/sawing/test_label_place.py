"""From cells to places in the log."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sawing.calc.label_place import End, PlaceRefusedError, SheetOnLog, board_place, ring_class, shares_of

SHEET = SheetOnLog(8.3, 30, 30)
ROUND = End(150, 150)


def test_cells_lie_pitches_apart_with_rows_downwards() -> None:
    assert SHEET.place(30, 30) == (0, 0)
    assert SHEET.place(30, 33) == pytest.approx((24.9, 0))
    assert SHEET.place(15, 30) == pytest.approx((0, 124.5))


def test_a_turned_sheet_is_turned_back() -> None:
    """Printed top a quarter clockwise: what is printed above the pith sits to the right; on the top end, looked at
    from the other side, to the left."""
    assert SheetOnLog(8, 30, 30, 90).place(29, 30) == pytest.approx((8, 0))
    assert SheetOnLog(8, 30, 30, 90, top_end=True).place(29, 30) == pytest.approx((-8, 0))
    assert SheetOnLog(8, 30, 30, 180).place(29, 31) == pytest.approx((-8, -8))


@given(st.integers(0, 62), st.integers(0, 62), st.floats(-180, 360))
def test_turning_changes_no_distance(row: int, col: int, turned: float) -> None:
    straight, bent = SHEET.place(row, col), SheetOnLog(8.3, 30, 30, turned).place(row, col)
    assert math.hypot(*straight) == pytest.approx(math.hypot(*bent), abs=1e-9)


def test_first_and_last_code_give_the_middle() -> None:
    """Codes of row 24 from column 20 to 40: middle over column 30, 6 rows above the pith: 49.8 mm."""
    place = board_place(SHEET, [(24, 20), (24, 33), (24, 40)], ROUND, 25, 180)
    assert (place.x_mm, place.y_mm) == pytest.approx((0, 49.8))
    assert place.distance_mm == pytest.approx(49.8)
    assert place.nearest_mm == pytest.approx(49.8 - 12.5)
    assert place.relative_radius == pytest.approx(49.8 / 150)
    assert (place.ring_class, place.inferred, place.angle_deg) == ("inner", False, 0)
    assert place.spread_mm == pytest.approx(4.15)


def test_one_code_is_taken_for_the_middle_and_says_so() -> None:
    place = board_place(SHEET, [(30, 42)], ROUND, 25, 100)
    assert (place.distance_mm, place.nearest_mm) == pytest.approx((99.6, 49.6))
    assert (place.inferred, place.spread_mm) == (True, 50)


def test_a_board_over_the_pith_is_nearest_at_nought() -> None:
    assert board_place(SHEET, [(31, 25), (31, 33)], ROUND, 25, 100).nearest_mm == 0


def test_a_board_sawn_askew() -> None:
    place = board_place(SHEET, [(30, 30), (20, 40)], ROUND, 25, 150)
    assert place.angle_deg == pytest.approx(45)
    assert place.nearest_mm == pytest.approx(0)


def test_the_radius_is_that_of_the_direction() -> None:
    """An end of 300 × 200 mm: 100 mm along y is its edge, along x two thirds of its radius."""
    oval = End.of_diameters(300, 200)
    assert oval.relative(0, 100) == pytest.approx(1)
    assert oval.relative(100, 0) == pytest.approx(2 / 3)
    assert End.of_diameters(300) == End.of_diameters(300, math.nan) == ROUND


@pytest.mark.parametrize(
    ("radius", "name"),
    [(0, "inner"), (0.333, "inner"), (0.334, "middle"), (0.666, "middle"), (0.667, "outer"), (1.1, "outer")],
)
def test_classes_are_thirds_of_the_radius(radius: float, name: str) -> None:
    assert ring_class(radius) == name


def test_shares_of_a_board_that_covers_the_end_are_ninths() -> None:
    """Circles of a third, two thirds and all of the radius: 1, 3 and 5 ninths of the area (elementary geometry)."""
    assert shares_of(ROUND, (0, 0), (150, 150)) == pytest.approx((1 / 9, 3 / 9, 5 / 9), abs=2e-4)
    assert shares_of(End(150, 100), (0, 0), (150, 100)) == pytest.approx((1 / 9, 3 / 9, 5 / 9), abs=2e-4)


def test_shares_of_a_thin_board_through_the_pith_are_thirds() -> None:
    assert shares_of(ROUND, (0, 0), (150, 0.01)) == pytest.approx((1 / 3, 1 / 3, 1 / 3), abs=1e-5)


@given(st.floats(-100, 100), st.floats(-100, 100), st.floats(20, 120), st.floats(8, 40), st.floats(-90, 90))
def test_shares_equal_counting_points(x: float, y: float, w: float, t: float, angle: float) -> None:
    end = End(150, 130)
    u, v = np.meshgrid(np.linspace(-w, w, 401), np.linspace(-t, t, 201))
    turn = math.radians(angle)
    px, py = x + u * math.cos(turn) - v * math.sin(turn), y + u * math.sin(turn) + v * math.cos(turn)
    radius = np.hypot(px / 150, py / 130)
    inside = radius[radius <= 1]
    if len(inside) < 20_000:
        return
    counted = [
        (inside < 1 / 3).mean(),
        ((inside >= 1 / 3) & (inside <= 2 / 3)).mean(),
        (inside > 2 / 3).mean(),
    ]
    found = shares_of(end, (x, y), (w, t), angle)
    assert sum(found) == pytest.approx(1)
    assert found == pytest.approx(counted, abs=0.015)


def test_a_board_outside_the_log_has_no_shares() -> None:
    assert all(math.isnan(share) for share in shares_of(ROUND, (400, 0), (50, 12)))


@pytest.mark.parametrize(
    ("cells", "sizes", "words"),
    [
        ([], (25, 100), "no code"),
        ([(30, 30)], (0, 100), "thickness"),
        ([(30, 30)], (25, math.inf), "width"),
        ([(30, 20), (30, 40)], (25, 100), "166 mm apart cannot be on one board of 25 × 100 mm"),
    ],
)
def test_refused(cells: list[tuple[int, int]], sizes: tuple[float, float], words: str) -> None:
    with pytest.raises(PlaceRefusedError, match=words):
        board_place(SHEET, cells, ROUND, *sizes)


def test_without_sizes_there_are_no_shares() -> None:
    assert board_place(SHEET, [(30, 30)], ROUND).shares is None


@pytest.mark.parametrize("radii", [(0, 10), (10, -1), (math.nan, 3), (math.inf, 3)])
def test_ends_that_are_none(radii: tuple[float, float]) -> None:
    with pytest.raises(PlaceRefusedError):
        End(*radii)

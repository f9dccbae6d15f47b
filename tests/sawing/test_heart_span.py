"""Where across a board its heartwood lies."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sawing.calc.heart_in_board import heart_span


def test_a_flat_board_above_the_pith_has_the_chord_of_its_outer_face() -> None:
    """A circle's chord at height h is 2 √(r² − h²) (geometry): r 130, outer face at 50 gives 240."""
    low, high = heart_span((0, 37), (150, 13), (130, 130))
    assert (low, high) == pytest.approx((30, 270))


def test_a_board_wholly_within_or_wholly_without() -> None:
    assert heart_span((0, 0), (50, 13), (100, 100)) == pytest.approx((0, 100))
    assert heart_span((0, 120), (50, 13), (100, 100)) == (0, 0)
    assert heart_span((160, 0), (50, 13), (100, 100)) == (0, 0)
    assert heart_span((0, 0), (50, 13), (0, 0)) == (0, 0)


def test_a_board_to_one_side_keeps_its_inner_part() -> None:
    low, high = heart_span((60, 0), (100, 1e-9), (100, 100))
    assert (low, high) == pytest.approx((0, 140))


@pytest.mark.parametrize("half", [(0, 10), (10, 0), (-1, 10)])
def test_sizes_must_be_above_nothing(half: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="half sizes"):
        heart_span((0, 0), half, (10, 10))


SIZES = st.floats(5, 200)
PLACES = st.floats(-150, 150)


@given(PLACES, PLACES, SIZES, st.floats(5, 40), SIZES, SIZES, st.floats(-89, 90))
def test_it_is_what_a_walk_across_the_board_finds(
    x: float, y: float, wide: float, thick: float, a: float, b: float, angle: float
) -> None:
    """Every line through the thickness within the span is heartwood at points all along it; none outside is."""
    low, high = heart_span((x, y), (wide, thick), (a, b), angle)
    assert 0 <= low <= high <= 2 * wide + 1e-9
    u = np.linspace(-wide, wide, 101)[:, None]
    v = np.linspace(-thick, thick, 21)[None, :]
    t = math.radians(angle)
    px, py = x + u * math.cos(t) - v * math.sin(t), y + u * math.sin(t) + v * math.cos(t)
    heart = ((px / a) ** 2 + (py / b) ** 2 <= 1 - 1e-9).all(axis=1)
    place = u[:, 0] + wide
    inside, outside = (
        (place > low + 1e-6) & (place < high - 1e-6),
        (place < low - 1e-6) | (place > high + 1e-6),
    )
    surely = ((px / a) ** 2 + (py / b) ** 2 <= 1 + 1e-9).all(axis=1)
    assert surely[inside].all()
    assert not heart[outside].any()

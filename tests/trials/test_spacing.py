"""Spacing as people write it, and the ground it gives a plot (plain arithmetic, done by hand)."""

import pytest

from trials.calc.spacing import Spacing, read_spacing


@pytest.mark.parametrize(
    ("text", "between", "within"),
    [
        ("3 × 2", 3.0, 2.0),
        ("2.5 × 2.5", 2.5, 2.5),
        ("2,5x2", 2.5, 2.0),
        (" 3 m by 2.25 m ", 3.0, 2.25),
        ("4*4 m", 4.0, 4.0),
    ],
)
def test_spacing_is_read_between_rows_first(text: str, between: float, within: float) -> None:
    assert read_spacing(text) == Spacing(between, within)


@pytest.mark.parametrize(
    "text", ["", "3", "wide", "3 × 2 × 1", "0 × 2", "3 × 0.1", "300 × 200", "-3 × 2", "3 ×"]
)
def test_what_is_no_spacing_is_not_guessed(text: str) -> None:
    assert read_spacing(text) is None


def test_a_plot_of_four_trees_at_two_and_a_half_metres_has_25_square_metres() -> None:
    assert Spacing(2.5, 2.5).plot_ha(4) == pytest.approx(0.0025)


def test_a_plot_without_positions_has_no_ground() -> None:
    with pytest.raises(ValueError, match="at least one"):
        Spacing(3, 2).plot_ha(0)

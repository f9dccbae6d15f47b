"""What the check digit shows, and what it refuses to look at."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.calc.check_digits import has_valid_mod_11_10, mod_11_10

DIGITS = st.text("0123456789", min_size=1, max_size=20)


@given(DIGITS)
def test_a_number_with_its_digit_is_valid_and_with_another_is_not(digits: str) -> None:
    right = mod_11_10(digits)
    assert [d for d in "0123456789" if has_valid_mod_11_10(digits + d)] == [right]


@given(DIGITS, st.data())
def test_every_single_wrong_digit_is_noticed(digits: str, data: st.DataObject) -> None:
    number = digits + mod_11_10(digits)
    place = data.draw(st.integers(0, len(number) - 1))
    other = data.draw(st.sampled_from([d for d in "0123456789" if d != number[place]]))
    assert not has_valid_mod_11_10(number[:place] + other + number[place + 1 :])


def test_exchanged_neighbours_are_noticed_in_44_of_45_cases() -> None:
    """All numbers of four digits and their check digit, every pair of unlike neighbours among the four exchanged."""
    missed = made = 0
    for digits in map("".join, product("0123456789", repeat=4)):
        check = mod_11_10(digits)
        for i in range(3):
            if digits[i] != digits[i + 1]:
                made += 1
                missed += has_valid_mod_11_10(
                    digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :] + check
                )
    assert 0 < missed / made <= 1 / 45 * 1.02


@pytest.mark.parametrize("text", ["", " ", "12a", "-12", "１２", "1²", "12\n", "1 2"])
def test_anything_but_digits_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="decimal digits"):
        mod_11_10(text)
    assert not has_valid_mod_11_10(text)


def test_a_lone_digit_has_no_check_digit() -> None:
    assert not has_valid_mod_11_10("5")

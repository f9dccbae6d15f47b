"""ISO/IEC 7064 MOD 11,10 against numbers that other people publish."""

import pytest

from portal.calc.check_digits import has_valid_mod_11_10, mod_11_10

# found: the standard's own worked string 0794 with its digit 5 and four more, in the tests of a public package
# (npm `cdigit` 2.6.6, test/mod11_10.js); 794623 and 002006673085 in those of another (npm `stdnum`, iso7064.spec).
PUBLISHED = ("07945", "0032", "47166", "45557738808", "65112243004304827", "794623", "002006673085")


@pytest.mark.parametrize("number", PUBLISHED)
def test_published_numbers(number: str) -> None:
    assert mod_11_10(number[:-1]) == number[-1]
    assert has_valid_mod_11_10(number)


def test_a_published_wrong_number() -> None:
    """found: npm `stdnum`, iso7064.spec."""
    assert not has_valid_mod_11_10("00200667308")


def test_the_worked_calculation_of_the_standard() -> None:
    """value from memory, check against the licensed copy: 0794, steps 10→9→1→9→6, digit 5."""
    assert mod_11_10("0794") == "5"

"""What no single cell of a price list shows."""

from __future__ import annotations

import pandas as pd
import pytest

from portal.calc.file_checks import Checked, check_file
from reports.columns import PRICES

HEADER = "rule_set,grade,price_per_m3,min_width_mm,max_width_mm,min_thickness_mm,currency\n"


def prices(*rows: str, **known: pd.DataFrame) -> Checked:
    return check_file((HEADER + "\n".join(rows)).encode(), "prices.csv", PRICES, known)


def places(result: Checked) -> list[tuple[int | None, str | None]]:
    return [(problem.row, problem.column) for problem in result.problems]


def test_a_sound_list_is_taken_whole():
    result = prices(
        "look,A,620,,150,,EUR", "look,A,700,150,225,,EUR", "look,A,720,150,225,40,", "look,B,0,,,,EUR"
    )
    assert result.problems == []


@pytest.mark.parametrize(
    ("second", "column"),
    [
        ("look,A,700,149,225,,EUR", "min_width_mm"),
        ("look,A,700,,,,EUR", "min_width_mm"),
        ("look,A,700,225,150,,EUR", "max_width_mm"),
        ("look,B,-1,,,,EUR", "price_per_m3"),
        ("look,A,620,,150,,EUR", "rule_set"),
        ("look,B,10,,,,Euro", "currency"),
    ],
)
def test_what_makes_a_list_ambiguous_is_a_problem_of_the_later_row(second: str, column: str):
    assert places(prices("look,A,620,,150,,EUR", second)) == [(3, column)]


def test_a_second_currency_is_a_problem():
    result = prices("look,A,620,,,,EUR", "look,B,620,,,,EUR", "look,C,1,,,,NZD")
    assert places(result) == [(4, "currency")]


def test_a_price_with_a_doubtful_comma_is_asked_about():
    result = prices('look,A,"1,234",,150,,EUR')
    assert places(result) == [(2, "price_per_m3")]
    assert "could be 1234 or 1.234" in result.problems[0].expected


def test_a_grade_the_rule_set_does_not_have_is_a_problem():
    rule_sets = pd.DataFrame({"rule_set": ["look"], "grade": ["A"]})
    assert places(prices("look,A,1,,,,", "look,Z,1,,,,", rule_sets=rule_sets)) == [(3, "grade")]

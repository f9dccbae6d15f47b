"""Prices by graded width and thickness, and price lists that cannot be used."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.calc.prices import graded_prices, list_currency, price_list_problems

COLUMNS = [
    "rule_set",
    "grade",
    "price_per_m3",
    "min_width_mm",
    "max_width_mm",
    "min_thickness_mm",
    "currency",
]


def price_list(*rows: tuple[object, ...]) -> pd.DataFrame:
    return pd.DataFrame([(*row, *[None] * (7 - len(row))) for row in rows], columns=COLUMNS)


BANDS = price_list(
    ("trial", "sound", 300, None, 100), ("trial", "sound", 400, 100, 150), ("trial", "sound", 500, 150, None)
)


def price(prices: pd.DataFrame, width: float, thickness: float = 25.0, grade: str = "sound") -> float:
    rows = pd.DataFrame({"rule_set": ["trial"], "grade": [grade]})
    return float(graded_prices(rows, pd.Series([width]), pd.Series([thickness]), prices).iloc[0])


@pytest.mark.parametrize(
    ("width", "expected"),
    [(0.0, 300), (99.999, 300), (100.0, 400), (149.999, 400), (150.0, 500), (9000.0, 500)],
)
def test_lower_edge_belongs_to_the_band_upper_edge_does_not(width: float, expected: float) -> None:
    assert price(BANDS, width) == expected


def test_no_price_is_missing_not_zero() -> None:
    assert np.isnan(price(BANDS, 120, grade="knotty"))
    assert np.isnan(price(BANDS.iloc[[1]], 99))
    assert np.isnan(price(BANDS.iloc[[1]], 150))
    assert price(price_list(("trial", "sound", 0)), 120) == 0.0


def test_largest_thickness_threshold_reached_wins() -> None:
    prices = price_list(
        ("trial", "sound", 700, None, None, 50),
        ("trial", "sound", 300),
        ("trial", "sound", 450, None, None, 30),
    )
    for thickness, expected in [(29.9, 300), (30, 450), (49.9, 450), (50, 700), (80, 700)]:
        assert price(prices, 120, thickness) == expected


def test_a_threshold_counts_only_where_its_width_band_does() -> None:
    prices = price_list(("trial", "sound", 300), ("trial", "sound", 700, 150, None, 50))
    assert price(prices, 149, 60) == 300
    assert price(prices, 150, 60) == 700


def test_optional_columns_may_be_absent() -> None:
    prices = pd.DataFrame({"rule_set": ["trial"], "grade": ["sound"], "price_per_m3": [250.0]})
    assert price(prices, 120) == 250
    assert price_list_problems(prices) == []
    assert list_currency(prices) is None


def test_bands_that_touch_are_no_problem_bands_that_overlap_are() -> None:
    assert price_list_problems(BANDS) == []
    prices = price_list(("trial", "sound", 300, None, 101), ("trial", "sound", 400, 100, 150))
    problems = price_list_problems(prices)
    assert [(p.index, p.column, p.expected) for p in problems] == [
        (1, "min_width_mm", "no overlap with the band under 101 mm")
    ]


def test_overlap_needs_same_rule_set_grade_and_threshold() -> None:
    prices = price_list(
        ("trial", "sound", 300),
        ("trial", "knotty", 200),
        ("other", "sound", 250),
        ("trial", "sound", 400, None, None, 40),
    )
    assert price_list_problems(prices) == []
    doubled = price_list(("trial", "sound", 300), ("trial", "sound", 310, None, None, None))
    assert len(price_list_problems(doubled)) == 1


def test_mixed_currencies_empty_bands_and_missing_prices() -> None:
    prices = price_list(
        ("t", "a", 300, None, None, None, "EUR"),
        ("t", "b", None, None, None, None, "EUR"),
        ("t", "c", -5),
        ("t", "d", 5, 200, 100),
        ("t", "e", 5, None, None, None, "NZD"),
    )
    assert [(p.index, p.column) for p in price_list_problems(prices)] == [
        (1, "price_per_m3"),
        (2, "price_per_m3"),
        (3, "max_width_mm"),
        (4, "currency"),
    ]
    assert list_currency(prices) == "EUR"


edges = st.none() | st.integers(0, 20).map(float)


@given(
    bands=st.lists(st.tuples(edges, edges, st.sampled_from([None, 10.0, 20.0])), max_size=6),
    pieces=st.lists(st.tuples(st.integers(0, 21), st.integers(0, 30)), max_size=8),
)
@settings(deadline=None)
def test_agrees_with_reading_the_list_line_by_line(
    bands: list[tuple[float | None, float | None, float | None]], pieces: list[tuple[int, int]]
) -> None:
    prices = price_list(*(("trial", "sound", 100 + n, *band) for n, band in enumerate(bands)))
    rows = pd.DataFrame({"rule_set": ["trial"] * len(pieces), "grade": "sound"})
    width, thickness = np.array(pieces, dtype=float).reshape(-1, 2).T
    found = graded_prices(rows, pd.Series(width), pd.Series(thickness), prices)
    for at, (piece_width, piece_thickness) in enumerate(pieces):
        best: tuple[float, float] | None = None
        for number, (low, high, threshold) in enumerate(bands):
            reached = -1.0 if threshold is None else threshold
            if low is not None and piece_width < low:
                continue
            if high is not None and piece_width >= high:
                continue
            if piece_thickness >= reached and (best is None or reached > best[0]):
                best = (reached, 100.0 + number)
        assert np.isnan(found[at]) if best is None else found[at] == best[1]

"""Prices of graded pieces from a price list, and what is wrong with a price list itself.

A row of a list holds for a rule set and grade, for graded widths from min_width_mm (inclusive) to
max_width_mm (exclusive; blank is open), and for pieces at least min_thickness_mm thick (blank: any). Of the
rows that hold for a piece the one with the largest thickness threshold gives the price.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from sawing.calc.frames import FloatArray, RowProblem, numbers, positions_where, shown, texts

Groups = dict[tuple[object, object], npt.NDArray[np.intp]]


def graded_prices(
    grades: pd.DataFrame, width_mm: pd.Series[float], thickness_mm: pd.Series[float], prices: pd.DataFrame
) -> pd.Series[float]:
    """Price per m3 of each graded row (columns rule_set, grade), NaN where the list has none for it.

    `width_mm` and `thickness_mm` are the graded sizes, aligned to `grades`. Where a faulty list has two rows
    for a piece (see price_list_problems) the first of them holds.
    """
    price, low, high, threshold = _bands(prices)
    width, thickness = width_mm.to_numpy(dtype=np.float64), thickness_mm.to_numpy(dtype=np.float64)
    result = np.full(len(grades), np.nan)
    groups = _positions(grades)
    sets, names = texts(prices, "rule_set"), texts(prices, "grade")
    # Falling thresholds: the first row that fits a piece is the one with the largest threshold it reaches.
    for at in np.argsort(-threshold, kind="stable"):
        rows = groups.get((sets.iloc[at], names.iloc[at]))
        if rows is None:
            continue
        free = rows[np.isnan(result[rows])]
        fits = (width[free] >= low[at]) & (width[free] < high[at]) & (thickness[free] >= threshold[at])
        result[free[fits]] = price[at]
    return pd.Series(result, index=grades.index, name="price_per_m3")


def list_currency(prices: pd.DataFrame) -> str | None:
    """The currency of a price list: the one its rows name, None when no row names any."""
    named = texts(prices, "currency").dropna()
    return str(named.mode().iloc[0]) if len(named) else None


def price_list_problems(prices: pd.DataFrame) -> list[RowProblem]:
    """What makes a price list ambiguous or unusable, one problem per row and column.

    Missing or negative price, a band without any width, two rows for one piece (same rule set, grade and
    thickness threshold, overlapping widths: the later row is named), and rows in another currency than most
    of the list.
    """
    problems: list[RowProblem] = []
    price, low, high, threshold = _bands(prices)
    for at in positions_where(~(np.isfinite(price) & (price >= 0))):
        problems.append(RowProblem(prices.index[at], "price_per_m3", shown(price[at]), "a number, 0 or more"))
    for at in positions_where(low >= high):
        expected = f"more than min_width_mm ({shown(low[at])})"
        problems.append(RowProblem(prices.index[at], "max_width_mm", shown(high[at]), expected))
    keyed = pd.DataFrame(
        {"rule_set": texts(prices, "rule_set"), "grade": texts(prices, "grade")}, index=prices.index
    )
    for (rule_set, grade), rows in _positions(keyed).items():
        for at, earlier in _overlaps(rows, low, high, threshold):
            found = f"{rule_set} {grade}, {_band_text(low[at], high[at])}"
            expected = f"no overlap with the band {_band_text(low[earlier], high[earlier])}"
            problems.append(RowProblem(prices.index[at], "min_width_mm", found, expected))
    return problems + _currency_problems(prices)


def _bands(prices: pd.DataFrame) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Price, lower and upper width, thickness threshold of each row; blank bounds made infinite."""
    low, high = numbers(prices, "min_width_mm"), numbers(prices, "max_width_mm")
    threshold = numbers(prices, "min_thickness_mm")
    return (
        numbers(prices, "price_per_m3"),
        np.where(np.isnan(low), -np.inf, low),
        np.where(np.isnan(high), np.inf, high),
        np.where(np.isnan(threshold), -np.inf, threshold),
    )


def _positions(frame: pd.DataFrame) -> Groups:
    """Row positions of each (rule_set, grade) in order of appearance; rows missing either belong to none."""
    if not len(frame):
        return {}
    keys = pd.DataFrame(
        {"rule_set": texts(frame, "rule_set").to_numpy(), "grade": texts(frame, "grade").to_numpy()}
    )
    indices: dict[tuple[object, object], npt.NDArray[np.intp]]
    indices = dict(keys.groupby(["rule_set", "grade"], sort=False).indices)  # type: ignore[arg-type]
    return indices


def _overlaps(
    rows: npt.NDArray[np.intp], low: FloatArray, high: FloatArray, threshold: FloatArray
) -> list[tuple[int, int]]:
    """Pairs (row, earlier row) of one grade whose widths overlap at the same thickness threshold; one pair
    a row."""
    pairs: list[tuple[int, int]] = []
    for count, at in enumerate(rows):
        before = rows[:count]
        meets = (threshold[before] == threshold[at]) & (low[before] < high[at]) & (low[at] < high[before])
        if meets.any() and low[at] < high[at]:
            pairs.append((int(at), int(before[meets][0])))
    return pairs


def _band_text(low: float, high: float) -> str:
    if np.isinf(low) and np.isinf(high):
        return "any width"
    if np.isinf(high):
        return f"{shown(low)} mm and wider"
    return f"under {shown(high)} mm" if np.isinf(low) else f"{shown(low)} to under {shown(high)} mm"


def _currency_problems(prices: pd.DataFrame) -> list[RowProblem]:
    currency = list_currency(prices)
    named = texts(prices, "currency")
    other = (named.notna() & (named != currency)).to_numpy()
    expected = f"one currency in the whole list ({currency})"
    return [
        RowProblem(prices.index[at], "currency", str(named.iloc[at]), expected)
        for at in positions_where(other)
    ]

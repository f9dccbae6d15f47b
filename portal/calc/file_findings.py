"""Small helpers for the checks of each kind of file: rows in words, problems of single rows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pandas as pd

from portal.calc.file_spec import Problem, shown

MOST_ROWS_NAMED = 8


def rows_text(rows: Iterable[int]) -> str:
    """Row numbers in words: "row 7", "rows 3, 8 and 9", "rows 1, 2, … and 40 more"."""
    numbers = [str(number) for number in rows]
    if len(numbers) == 1:
        return f"row {numbers[0]}"
    if len(numbers) <= MOST_ROWS_NAMED:
        return f"rows {', '.join(numbers[:-1])} and {numbers[-1]}"
    return f"rows {', '.join(numbers[:MOST_ROWS_NAMED])} and {len(numbers) - MOST_ROWS_NAMED:,} more"


def remark(frame: pd.DataFrame, odd: pd.Series[bool], text: str) -> list[str]:
    """One remark naming the rows where `odd` holds; none without such rows."""
    return [f"{text}: {rows_text(frame.loc[odd, '_row'])}"] if odd.any() else []


def repeats(frame: pd.DataFrame, columns: Sequence[str], file: str, column: str, what: str) -> list[Problem]:
    """A problem at `column` for each row whose values in `columns` stand in an earlier row (it is named)."""
    keyed = frame.dropna(subset=list(columns))
    repeated = keyed.duplicated(list(columns), keep="first")
    if not repeated.any():
        return []
    first = keyed.groupby(list(columns), sort=False)["_row"].transform("first")
    return [
        Problem(file, int(row), column, shown(value), f"{what}; the first stands in row {first_row}")
        for value, row, first_row in zip(
            keyed.loc[repeated, column], keyed.loc[repeated, "_row"], first[repeated], strict=True
        )
    ]


def same_but_for_case(frame: pd.DataFrame, column: str) -> list[tuple[str, int, str, int]]:
    """Codes of a column that differ from an earlier one by upper and lower case alone.

    Returns (code, its first row, earlier code, its first row) for each such code.
    """
    firsts = frame[[column, "_row"]].dropna().drop_duplicates(column)
    earlier: dict[str, tuple[str, int]] = {}
    found = []
    for code, row in zip(firsts[column], firsts["_row"], strict=True):
        other = earlier.setdefault(str(code).casefold(), (code, int(row)))
        if other[0] != code:
            found.append((str(code), int(row), *other))
    return found

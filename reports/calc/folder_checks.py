"""What only several files together show: logs with more boards than wood, grades without a price."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from grading.calc.graded_piece import graded_pieces
from portal.calc.file_references import fold
from portal.calc.file_spec import Problem, shown
from reports.calc.prices import graded_prices
from sawing.calc.board_volume import BoardVolumes
from sawing.calc.tally_checks import over_volume, over_volume_text


@dataclass(frozen=True)
class FolderRows:
    """Good rows of logs and boards."""

    logs: pd.DataFrame
    boards: pd.DataFrame


def held_places(held: pd.DataFrame, code: str, file: str) -> dict[str, str]:
    """Where each held code waits: {"L-07": "logs.csv row 5"}."""
    if code not in held.columns:
        return {}
    return {
        " ".join(str(value).split()): f"{file} row {row}"
        for value, row in zip(held[code], held["_row"], strict=True)
    }


def held_pairs(held: pd.DataFrame, file: str) -> dict[tuple[str, str], str]:
    """Where the held price of each rule set and grade waits."""
    if not {"rule_set", "grade"} <= set(held.columns):
        return {}
    rows = zip(held["rule_set"], held["grade"], held["_row"], strict=True)
    return {(str(rule_set).strip(), str(grade).strip()): f"{file} row {row}" for rule_set, grade, row in rows}


def with_over_volume_held(
    logs: pd.DataFrame, boards: pd.DataFrame, log_file: str, board_file: str
) -> tuple[list[Problem], list[Problem]]:
    """Problems of logs (column volume_m3) with more board volume than their own, and of their boards."""
    over = over_volume(boards, logs)
    texts = {
        log: over_volume_text(log, boards_m3, log_m3)
        for log, boards_m3, log_m3 in zip(over["log"], over["boards_m3"], over["log_m3"], strict=True)
    }
    if not texts:
        return [], []
    of_logs, of_boards = logs[logs["log"].isin(list(texts))], boards[boards["log"].isin(list(texts))]
    return _at_log(of_logs, texts, log_file), _at_log(of_boards, texts, board_file)


def _at_log(rows: pd.DataFrame, texts: dict[str, tuple[str, str]], file: str) -> list[Problem]:
    return [
        Problem(file, int(row), "log", *texts[log])
        for log, row in zip(rows["log"], rows["_row"], strict=True)
    ]


def with_spelling_of_prices(grades: pd.DataFrame, prices: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Grades spelled as in the price list, where only case or spaces differ; and notes."""
    pairs = set(zip(prices["rule_set"], prices["grade"], strict=True))
    folded: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for rule_set, grade in pairs:
        folded.setdefault((fold(rule_set), fold(grade)), []).append((rule_set, grade))
    own = list(zip(grades["rule_set"], grades["grade"], strict=True))
    respelled = {
        pair: folded[key][0]
        for pair in set(own) - pairs
        if len(folded.get(key := (fold(pair[0]), fold(pair[1])), [])) == 1
    }
    if not respelled:
        return grades, []
    count = sum(pair in respelled for pair in own)
    spelled = [respelled.get(pair, pair) for pair in own]
    frame = grades.assign(
        rule_set=pd.Series([pair[0] for pair in spelled], index=grades.index, dtype=object),
        grade=pd.Series([pair[1] for pair in spelled], index=grades.index, dtype=object),
    )
    return frame, [f"{count:,} grades read in the spelling of the price list"]


def grades_without_price(
    grades: pd.DataFrame,
    boards: pd.DataFrame,
    sizes: BoardVolumes,
    prices: pd.DataFrame,
    file: str,
    price_file: str,
    held_prices: Mapping[tuple[str, str], str],
) -> list[Problem]:
    """A problem for each grade the price list has no price for, at its graded width and thickness.

    `held_prices` says where a price of a grade is itself held: {("look", "A"): "prices.csv row 4"}.
    """
    pieces = graded_pieces(grades, boards, sizes)
    price = graded_prices(grades, pieces.width_mm, pieces.thickness_mm, prices)
    priced = set(zip(prices["rule_set"], prices["grade"], strict=True))
    problems = []
    for at in np.flatnonzero(price.isna()):
        row = grades.iloc[at]
        pair = f"{shown(row['rule_set'])} {shown(row['grade'])}"
        size = f"{pieces.width_mm.iloc[at]:g} mm wide and {pieces.thickness_mm.iloc[at]:g} mm thick"
        if waiting := held_prices.get((row["rule_set"], row["grade"])):
            expected = (
                f"a price for {pair} {size}; a price of it is itself held ({waiting}): mend that row first"
            )
        elif (row["rule_set"], row["grade"]) in priced:
            expected = (
                f"a price for {pair} {size} in {price_file}; add its band of widths, or correct the size"
            )
        else:
            expected = f"a price for {pair} in {price_file}; add it there, or correct the grade"
        problems.append(Problem(file, int(row["_row"]), "grade", f"{pair}, {size}", expected))
    return problems

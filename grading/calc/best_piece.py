"""Grading boards by rules: the best piece of each, as if docked and ripped.

Exact over every start on the cut lattice, every multiple of the length module and every strip the rules allow (see
`piece_kernel`). Of equal pieces the better grade, then the longest, the widest, the nearest to the butt, the nearest to
edge 1 is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from grading.calc import deciding
from grading.calc.feature_kinds import KINDS, looked_for
from grading.calc.feature_maps import BoardSizes, FeatureMap, board_sizes, feature_map
from grading.calc.graded_boards import GradedBoard, Piece
from grading.calc.piece_search import Search
from grading.calc.rule_limits import GradingRules, Price
from grading.calc.rule_tables import RuleTables, rule_tables
from sawing.calc.frames import numbers, texts

Bools = npt.NDArray[np.bool_]
CHUNK = 1000
"""Boards graded at a time: progress is told between."""


class NotGradable(ValueError):
    """The rule set has no grade whose limits are all filled in."""


@dataclass(frozen=True)
class GradingOptions:
    """How to grade.

    `mode`: "value" takes the piece worth most, "grade" the highest grade and then the largest volume; None: by value
    where there are prices. `assessed`: kinds or groups that were looked for on every board, "all" for everything.
    `heartwood_only`: no sapwood in a piece. `explain`: also find the deciding feature, reasons and the grade of the
    whole board, at several times the cost.
    """

    mode: Literal["value", "grade"] | None = None
    assessed: tuple[str, ...] = ()
    heartwood_only: bool = False
    explain: bool = True


def grade_boards(
    boards: pd.DataFrame,
    features: pd.DataFrame,
    rules: GradingRules,
    prices: Sequence[Price] = (),
    options: GradingOptions | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[GradedBoard]:
    """The grade and best piece of each board, in the order of `boards`.

    :param boards: columns of the tally; dry sizes count where given, pieces of full size are booked at nominal ones.
        `heart_from_mm` and `heart_to_mm`, if given, are where the heartwood lies across the face; the rest is sapwood.
    :param features: columns of a features file; rows of other boards are left out.
    :param prices: of this rule set; those of its document when empty.
    :param progress: told how many of how many boards are done.
    :raises NotGradable: no grade has all its limits filled in.
    :raises ValueError: a board without sizes, an unknown kind or face, a piece without a price, value without prices.
    """
    options = options or GradingOptions()
    prices = tuple(prices) or rules.prices
    by_value = options.mode == "value" or (options.mode is None and bool(prices))
    if by_value and not prices:
        raise ValueError("grading by value needs prices")
    if not rules.gradable:
        raise NotGradable(f"{rules.code}: not gradable, limits not filled in")
    tables = rule_tables(rules, heartwood_only=options.heartwood_only)
    everywhere = _everywhere(options.assessed)
    answers: list[GradedBoard] = []
    for part, rows in _chunks(boards, features):
        sizes = board_sizes(part)
        found = feature_map(features.iloc[rows], sizes, _heart(part))
        places = np.where(found.row >= 0, np.append(rows, -1)[found.row], -1)
        found = replace(found, assessed=found.assessed | everywhere, row=places)
        search = Search(rules, tables, sizes, found, prices, by_value)
        answers += _answers(search, rules, tables, sizes, found, options)
        if progress:
            progress(len(answers), len(boards))
    return answers


def _chunks(
    boards: pd.DataFrame, features: pd.DataFrame
) -> Iterator[tuple[pd.DataFrame, npt.NDArray[np.intp]]]:
    """Some boards at a time, with the places of their features; the features are gone through once only."""
    codes = texts(boards, "board")
    at = {code: n // CHUNK for n, code in enumerate(codes)}
    if len(at) < len(codes):
        raise ValueError("each board needs a code of its own")
    chunk = texts(features, "board").map(at).to_numpy(dtype=np.float64, na_value=np.nan)
    order = np.argsort(chunk, kind="stable")  # NaN, the rows of other boards, comes last
    first = np.searchsorted(chunk[order], np.arange(len(boards) // CHUNK + 2))
    for n, start in enumerate(range(0, len(boards), CHUNK)):
        yield boards.iloc[start : start + CHUNK], order[first[n] : first[n + 1]]


def _heart(boards: pd.DataFrame) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]] | None:
    if "heart_from_mm" not in boards.columns or "heart_to_mm" not in boards.columns:
        return None
    return numbers(boards, "heart_from_mm"), numbers(boards, "heart_to_mm")


def _everywhere(assessed: Sequence[str]) -> Bools:
    """What was looked for on every board. ValueError for a word that is no kind or group."""
    if "all" in assessed:
        return np.ones(len(KINDS), dtype=bool)
    known = looked_for(assessed)
    return np.array([kind.code in known for kind in KINDS])


def missing_looks(tables: RuleTables, found: FeatureMap) -> npt.NDArray[np.bool_]:
    """Shape (boards, grades, kinds): what a grade asks for and nobody looked for, or whose measure is missing."""
    count = found.assessed.shape[0]
    missing = tables.needed[None, :, :] & ~found.assessed[:, None, :]
    board = np.repeat(np.arange(count), np.diff(found.first))
    for name, asked in tables.measured.items():
        unknown = np.zeros((count, len(KINDS)), dtype=bool)
        gone = np.isnan(getattr(found, name))
        unknown[board[gone], found.kind[gone]] = True
        missing |= asked[None, :, :] & unknown[:, None, :]
    return missing


def _answers(
    search: Search,
    rules: GradingRules,
    tables: RuleTables,
    sizes: BoardSizes,
    found: FeatureMap,
    options: GradingOptions,
) -> list[GradedBoard]:
    missing = missing_looks(tables, found)
    sure = tables.filled[None, :] & ~missing.any(axis=2)
    every = np.arange(len(sizes.codes))
    all_filled = np.broadcast_to(tables.filled, sure.shape)
    maybe = search.pieces(every, all_filled)
    unsure = [b for b in every if any(not sure[b, search.number(p.grade)] for p in maybe[b])]
    held = dict(zip(unsure, search.pieces(np.array(unsure, dtype=np.int64), sure[unsure]), strict=True))
    answers = []
    for b in every:
        pieces, provisional = held.get(b, maybe[b]), maybe[b]
        certain = bool(tables.filled.all())
        nothing = rules.reject if certain and not provisional else None
        grade = best_grade(pieces, tables) or nothing
        gaps = {k for p in provisional for k in np.flatnonzero(missing[b, search.number(p.grade)])}
        answers.append(
            GradedBoard(
                board=sizes.codes[b],
                rule_set=rules.code,
                grade=grade,
                pieces=pieces,
                provisional_grade=best_grade(provisional, tables) or nothing,
                provisional=provisional,
                not_assessed=tuple(KINDS[k].code for k in sorted(gaps)),
            )
        )
    if options.explain:
        allowed = np.where(np.array([a.grade is not None for a in answers])[:, None], sure, all_filled)
        rejected = np.array([not a.provisional for a in answers])
        allowed = np.where(rejected[:, None], all_filled, allowed)
        return deciding.explained(answers, search, allowed)
    return answers


def best_grade(pieces: Sequence[Piece], tables: RuleTables) -> str | None:
    """The best grade among pieces, None when there are none."""
    held = {p.grade for p in pieces}
    return next((g.code for g in tables.grades if g.code in held), None)

"""Why a board is not better: the feature that decides, and what stands against the next better grade.

The deciding feature is the one without which the board's best pieces would be worth most (grading by grade: would have
the best grade, then the most volume), if they would be worth more at all; of equal ones the nearest to the butt. Where
no single feature does that, it is the feature that most exceeds a limit: of the next better grade on the piece; of the
piece's own grade on the whole board, where there is no better one; of the last grade on the whole board, when it is
rejected. None where nothing stands against the whole board in the best grade.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from grading.calc.feature_kinds import FACES, KINDS
from grading.calc.graded_boards import FeatureNote, GradedBoard, main_piece
from grading.calc.piece_search import Search
from grading.calc.rule_limits import Limit

Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Broken:
    """A limit that a piece breaks: the value found, the worst feature (its place in the map), how many break it
    together."""

    limit: Limit
    found: float
    feature: int
    together: int

    @property
    def excess(self) -> float:
        """How far beyond the limit, as a ratio; inf where nothing is allowed."""
        return self.found / self.limit.limit if self.limit.limit > 0 else float("inf")


def explained(answers: Sequence[GradedBoard], search: Search, allowed: Bools) -> list[GradedBoard]:
    """The answers with deciding feature, reasons and grade of the whole board; `allowed` (boards, grades): which
    grades the answer was chosen among."""
    freed = _freed(search, allowed)
    whole = _whole_board_grades(search, allowed)
    against = _against(answers, search, allowed)
    told = []
    for board, answer in enumerate(answers):
        grade = whole[board]
        if grade is None and answer.grade is not None:
            grade = search.rules.reject
        feature = freed[board]
        if feature is None and against[board]:
            feature = max(against[board], key=lambda b: b.excess).feature
        told.append(
            replace(
                answer,
                deciding_feature=None if feature is None else feature_note(search, feature),
                reasons=_reasons(answer, search, allowed[board], against[board]),
                whole_board_grade=grade,
            )
        )
    return told


def _freed(search: Search, allowed: Bools) -> list[int | None]:
    """For each board the feature whose absence makes its best pieces worth most, if it makes them worth more."""
    count = allowed.shape[0]
    none = np.full(count, -1, dtype=np.int64)
    board = np.repeat(np.arange(count), np.diff(search.found.first))
    skip = np.arange(len(board)) - search.found.first[board]
    best = search.worths(np.arange(count), none, none, allowed)
    without = search.worths(board, skip, best[board], allowed[board])
    freed: list[int | None] = [None] * count
    for j in np.flatnonzero(without > best[board]):
        if without[j] > best[board[j]]:
            best[board[j]], freed[board[j]] = without[j], int(j)
    return freed


def _whole_board_grades(search: Search, allowed: Bools) -> list[str | None]:
    """The best allowed grade that each board holds as it is."""
    count, grades = allowed.shape
    board = np.repeat(np.arange(count), grades)
    found, _ = search.broken(board, np.tile(np.arange(grades), count), _whole(search)[board])
    holds = np.isnan(found).all(axis=1).reshape(count, grades) & allowed
    codes = [g.code for g in search.tables.grades]
    return [codes[int(np.argmax(row))] if row.any() else None for row in holds]


def _whole(search: Search) -> Floats:
    """Places of whole boards: x0, x1, y0, y1."""
    zero = np.zeros(len(search.sizes.codes))
    return np.column_stack([zero, search.sizes.length_mm, zero, search.sizes.width_mm])


def _against(answers: Sequence[GradedBoard], search: Search, allowed: Bools) -> list[list[Broken]]:
    """What the next better grade has against the piece; what its own has against the whole board where there is none
    better; what the last grade has against a rejected board."""
    places, grade = _whole(search), np.zeros(len(answers), dtype=np.int64)
    for board, answer in enumerate(answers):
        piece, choices = main_piece(answer.pieces or answer.provisional), np.flatnonzero(allowed[board])
        if piece is None:
            grade[board] = choices[-1] if len(choices) else 0
            continue
        own = search.number(piece.grade)
        better = choices[choices < own]
        grade[board] = better[-1] if len(better) else own
        if len(better):
            places[board] = piece.from_mm, piece.to_mm, piece.from_edge_mm, piece.to_edge_mm
    found, which = search.broken(np.arange(len(answers)), grade, places)
    limits, first = search.tables.limits, search.found.first
    return [
        [
            Broken(limits[m], float(found[b, m]), int(first[b] + which[b, m, 0]), int(which[b, m, 1]))
            for m in np.flatnonzero(~np.isnan(found[b]))
        ]
        for b in range(len(answers))
    ]


def _reasons(
    answer: GradedBoard, search: Search, allowed: Bools, against: Sequence[Broken]
) -> tuple[str, ...]:
    """What stands against a better grade in words; a piece too short for it when nothing else does."""
    piece = main_piece(answer.pieces or answer.provisional)
    if piece is not None and not against:
        better = [n for n in np.flatnonzero(allowed) if n < search.number(piece.grade)]
        rule = search.tables.grades[better[-1]] if better else None
        if rule and piece.graded_length_m * 1000 < rule.min_length_mm:
            return (f"shorter than {rule.min_length_mm:g} mm for {rule.code}",)
    return tuple(reason(search, b) for b in against)


def reason(search: Search, broken: Broken) -> str:
    """A broken limit in words: "dead knot 32 mm at 1240 mm on face1: 32; at most 25 mm"."""
    limit = broken.limit
    what = feature_note(search, broken.feature).text()
    if broken.together > 1:
        what += f" and {broken.together - 1} more"
    share = limit.metric.endswith(("ratio", "share"))
    found = f"{100 * broken.found:.4g} %" if share else f"{broken.found:.4g}"
    return f"{what}: {limit.text()}" if limit.metric == "presence" else f"{what}: {found}; {limit.text()}"


def feature_note(search: Search, feature: int) -> FeatureNote:
    """A feature of the map as it stands in an answer."""
    m = search.found
    size = float(m.size[feature])
    return FeatureNote(
        row=int(m.row[feature]),
        kind=KINDS[int(m.kind[feature])].code,
        face=FACES[int(m.face[feature])],
        x_mm=float(m.lo[feature] + m.hi[feature]) / 2,
        y_mm=float(max(m.ylo[feature], 0.0) + m.yhi[feature]) / 2,
        size=None if np.isnan(size) else size,
    )

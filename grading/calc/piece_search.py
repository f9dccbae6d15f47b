"""Running the compiled search for boards, and turning what it found into pieces."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from grading.calc.feature_maps import BoardSizes, FeatureMap
from grading.calc.graded_boards import Piece
from grading.calc.piece_arrays import Room, Strips, room_for
from grading.calc.rule_limits import GradingRules, Price
from grading.calc.rule_tables import RuleTables, price_of, strips_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

PRICE_UNIT = 100
"""Worth is computed in whole numbers: a hundredth per m3, for a length and a width in tenths of mm."""


class Search:
    """Boards and their features with the rules and prices to search by. The arrays are made once."""

    def __init__(
        self,
        rules: GradingRules,
        tables: RuleTables,
        sizes: BoardSizes,
        found: FeatureMap,
        prices: Sequence[Price],
        by_value: bool,
    ) -> None:
        self.rules, self.tables, self.sizes, self.found = rules, tables, sizes, found
        self.prices, self.by_value = tuple(prices), by_value
        self.split = rules.piece.may_split and by_value
        self.boards = np.column_stack([sizes.length_mm, sizes.width_mm, sizes.thickness_mm])
        names = ("lo", "hi", "ylo", "yhi", "size", "length", "depth", "percent", "margin")
        self.features = np.column_stack([getattr(found, n) for n in names]).astype(np.float64)
        self.feature_codes = np.column_stack([found.kind, found.face]).astype(np.int64)
        self._numbers = {g.code: i for i, g in enumerate(tables.grades)}
        self._make_strips()
        self.room = self._room()

    def number(self, grade: str) -> int:
        """A grade's place among those that accept."""
        return self._numbers[grade]

    def _make_strips(self) -> None:
        """Strips and prices for each different width, booked width and thickness."""
        sizes = np.column_stack(
            [self.sizes.width_mm, self.sizes.booked_width_mm, self.sizes.booked_thickness_mm]
        )
        different, self.group = np.unique(sizes, axis=0, return_inverse=True)
        self.group = self.group.reshape(-1).astype(np.int64)
        first, strips, prices = [0], [], []
        for width, booked, thickness in different:
            for y0, y1, at in strips_of(self.rules.piece, float(width), float(booked)):
                strips.append((y0, y1, at))
                prices.append([self._price(g.code, at, float(thickness)) for g in self.tables.grades])
            first.append(len(strips))
        shape = (-1, len(self.tables.grades))
        self.strips = Strips(
            np.array(strips, dtype=np.float64).reshape(-1, 3),
            np.array(prices, dtype=np.int64).reshape(shape),
            np.array(first, dtype=np.int64),
        )

    def _room(self) -> Room:
        piece, longest = self.rules.piece, float(self.sizes.length_mm.max(initial=1.0))
        modules = int(longest / piece.length_module_mm) + 2 if self.split else 1
        features = int(np.diff(self.found.first).max(initial=0)) + 1
        starts = int(longest / piece.cut_step_mm + 1e-9) + 1
        return room_for(features, len(self.tables.limits), starts, modules)

    @lru_cache(maxsize=4096)  # noqa: B019 - a search lives no longer than its chunk of boards
    def _price(self, grade: str, width_mm: float, thickness_mm: float) -> int:
        if not self.by_value:
            return 0
        return round(price_of(self.prices, grade, width_mm, thickness_mm) * PRICE_UNIT)

    def run(self, board: Ints, skip: Ints, floor: Ints, grades: Bools) -> tuple[Ints, Ints]:
        """Answers (jobs, pieces, 5) and how many pieces each job has; see `piece_kernel.solve`."""
        from grading.calc import piece_kernel  # compiled code: only what computes waits for it

        # Copies, because the search is compiled anew for arrays that cannot be written.
        room = piece_kernel.MOST_PIECES if self.split else 1
        answers = np.full((len(board), room, 5), -1, dtype=np.int64)
        counts = np.zeros(len(board), dtype=np.int64)
        if len(board):
            piece_kernel.solve(
                np.array(board, dtype=np.int64),
                np.array(skip, dtype=np.int64),
                np.array(floor, dtype=np.int64),
                np.array(grades, dtype=np.bool_, order="C"),
                self.boards,
                self.found.first,
                self.features,
                self.feature_codes,
                self.group,
                self.tables.arrays,
                self.strips,
                self.room,
                self.by_value,
                self.split,
                answers,
                counts,
            )
        return answers, counts

    def pieces(self, board: Ints, grades: Bools) -> list[tuple[Piece, ...]]:
        """The best pieces of each board among some grades (boards, grades)."""
        none = np.full(len(board), -1, dtype=np.int64)
        answers, counts = self.run(board, none, none, grades)
        return [
            tuple(self._piece(int(b), answers[i, n]) for n in range(counts[i])) for i, b in enumerate(board)
        ]

    def worths(self, board: Ints, skip: Ints, floor: Ints, grades: Bools) -> Ints:
        """Worth of the best pieces of each job, -1 for none (or none above its floor); only to compare with."""
        answers, counts = self.run(board, skip, floor, grades)
        worth = np.where(np.arange(answers.shape[1]) < counts[:, None], answers[:, :, 4], 0).sum(axis=1)
        return np.where(counts > 0, worth, -1)

    def broken(self, board: Ints, grade: Ints, places: Floats) -> tuple[Floats, Ints]:
        """What pieces (jobs, 4) break of the limits of a grade; see `piece_kernel.judge`."""
        from grading.calc import piece_kernel

        found = np.full((len(board), len(self.tables.limits)), np.nan)
        which = np.full((len(board), len(self.tables.limits), 2), -1, dtype=np.int64)
        if len(board):
            piece_kernel.judge(
                np.array(board, dtype=np.int64),
                np.array(grade, dtype=np.int64),
                np.array(places, dtype=np.float64, order="C"),
                self.boards,
                self.found.first,
                self.features,
                self.feature_codes,
                self.tables.arrays,
                self.room,
                found,
                which,
            )
        return found, which

    def _piece(self, board: int, answer: Ints) -> Piece:
        grade, start, modules, strip, _ = (int(v) for v in answer)
        sizes = self.rules.piece
        y0, y1, booked = (float(v) for v in self.strips.places[strip])
        from_mm, length = start * sizes.cut_step_mm, modules * sizes.length_module_mm
        thickness = float(self.sizes.booked_thickness_mm[board])
        price = int(self.strips.prices[strip, grade]) / PRICE_UNIT if self.by_value else None
        return Piece(
            grade=self.tables.grades[grade].code,
            from_mm=from_mm,
            to_mm=from_mm + length + sizes.length_allowance_mm,
            from_edge_mm=y0,
            to_edge_mm=y1,
            graded_length_m=length / 1000,
            graded_width_mm=booked,
            graded_thickness_mm=thickness,
            price_per_m3=price,
            value=None if price is None else price * length * booked * thickness / 1e9,
        )

"""What makes a recovery impossible to compute honestly: problems, each naming its row, and holding those
rows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from grading.calc.graded_piece import larger_than_board
from reports.calc.prices import price_list_problems
from reports.calc.recovery_tables import (
    FrameName,
    RecoveryFrames,
    RecoveryOptions,
    RecoveryTables,
    recovery_tables,
)
from sawing.calc.board_volume import SIZE_BASIS_TITLES
from sawing.calc.frames import BoolArray, RowProblem, numbers, positions_where, shown

# The name of the file a frame usually comes from, where a caller knows no better.
FILE_NAMES: dict[FrameName, str] = {
    "trees": "layout",
    "logs": "logs",
    "boards": "boards",
    "grades": "grades",
    "prices": "prices",
}
VOLUME_TOLERANCE = 1e-9


@dataclass(frozen=True)
class FrameProblem:
    """A problem or warning of one row: frame, position in it, row number in the file (None when there is no
    file)."""

    frame: FrameName
    position: int | None
    row: int | None
    column: str | None
    found: str
    expected: str

    def to_dict(self, file_names: Mapping[FrameName, str] | None = None) -> dict[str, object]:
        """As a plain dict; `file_names` gives the names of the files the frames were read from."""
        name = (file_names or {}).get(self.frame, FILE_NAMES[self.frame])
        return {
            "file": name,
            "row": self.row,
            "column": self.column,
            "found": self.found,
            "expected": self.expected,
        }


class RecoveryInputError(ValueError):
    """Raised when frames have problems: nothing is computed. `problems` lists all of them."""

    def __init__(self, problems: tuple[FrameProblem, ...]) -> None:
        self.problems = problems
        first = problems[0]
        where = FILE_NAMES[first.frame] + ("" if first.row is None else f" row {first.row}")
        super().__init__(
            f"{len(problems)} problem(s); first: {where}, {first.column}: found {first.found!r}, "
            f"expected {first.expected}"
        )


def framed(frames: RecoveryFrames, name: FrameName, problems: Iterable[RowProblem]) -> list[FrameProblem]:
    """Row problems of one frame with the number of their row in the file (column _row, where the frame has
    it)."""
    frame = frames.frame(name)
    rows = frame["_row"].to_numpy() if "_row" in frame.columns else None
    result: list[FrameProblem] = []
    for problem in problems:
        at = int(str(problem.index))
        row = None if rows is None or pd.isna(rows[at]) else int(rows[at])
        result.append(FrameProblem(name, at, row, problem.column, problem.found, problem.expected))
    return result


def find_problems(frames: RecoveryFrames, options: RecoveryOptions) -> tuple[FrameProblem, ...]:
    """All problems of the frames at once, in the order trees, logs, boards, grades, prices."""
    return table_problems(recovery_tables(frames, options))


def table_problems(tables: RecoveryTables) -> tuple[FrameProblem, ...]:
    """All problems of the frames behind these tables."""
    frames = tables.frames
    by_frame: dict[FrameName, list[RowProblem]] = {
        "trees": _tree_problems(frames, tables.clones_known),
        "logs": _log_problems(tables),
        "boards": _board_problems(tables),
        "grades": _grade_problems(tables),
        "prices": [] if frames.prices is None else price_list_problems(frames.prices),
    }
    return tuple(problem for name, found in by_frame.items() for problem in framed(frames, name, found))


def hold_problem_rows(
    frames: RecoveryFrames, options: RecoveryOptions
) -> tuple[RecoveryFrames, tuple[FrameProblem, ...]]:
    """The frames without their problem rows, and every problem with its row number in the file.

    Wood that hangs on a held row is held with it (the boards of a held log, the grades of a held board), and
    listed. Positions in the problems are those of the round in which they were found; use the row numbers.
    """
    held: list[FrameProblem] = []
    while problems := find_problems(frames, options):
        held.extend(problems)
        rows: dict[FrameName, set[int]] = {}
        for problem in problems:
            if problem.position is not None:
                rows.setdefault(problem.frame, set()).add(problem.position)
        frames = frames.without(rows)
    return frames, tuple(held)


def _tree_problems(frames: RecoveryFrames, clones_known: bool) -> list[RowProblem]:
    trees = frames.trees
    return [
        *_repeated(trees, ["tree"], "tree"),
        *_blank(trees, "tree", "a tree code"),
        *(_blank(trees, "clone", "the clone of the tree") if clones_known else []),
    ]


def _log_problems(tables: RecoveryTables) -> list[RowProblem]:
    logs, trees = tables.frames.logs, tables.frames.trees
    known = logs["tree"].isin(set(trees["tree"].dropna())).to_numpy()
    problems = [
        *_repeated(logs, ["log"], "log"),
        *_blank(logs, "log", "a log code"),
        *_unknown(logs, "tree", ~known, "the code of a tree in the layout"),
        *tables.volumes.problems,
    ]
    return problems + _overfull_logs(tables)


def _overfull_logs(tables: RecoveryTables) -> list[RowProblem]:
    """Logs with more board volume, in the chosen size basis or green, than they have themselves."""
    logs = tables.frames.logs
    first_by_log: dict[int, RowProblem] = {}
    first = ~tables.frames.boards["board"].duplicated().to_numpy()
    log_volume = tables.volumes.volume_m3.to_numpy(dtype=np.float64)
    for volumes in (tables.green, tables.boards):
        volume = np.nan_to_num(volumes.volume_m3.to_numpy(dtype=np.float64))
        use = first & (tables.board_log >= 0)
        summed = np.bincount(tables.board_log[use], weights=volume[use], minlength=len(logs))
        expected = f"not more than the log's own volume ({tables.volumes.formula.title})"
        for at in positions_where(summed > log_volume * (1.0 + VOLUME_TOLERANCE)):
            basis = SIZE_BASIS_TITLES[volumes.size_basis]
            found = f"{summed[at]:.5f} m³ of boards ({basis}) in a log of {log_volume[at]:.5f} m³"
            first_by_log.setdefault(int(at), RowProblem(int(at), "log", found, expected))
    return list(first_by_log.values())


def _board_problems(tables: RecoveryTables) -> list[RowProblem]:
    boards = tables.frames.boards
    problems = [
        *_repeated(boards, ["board"], "board"),
        *_blank(boards, "board", "a board code"),
        *_unknown(boards, "log", tables.board_log < 0, "the code of a log in the logs file"),
        *tables.boards.problems,
    ]
    if tables.green is not tables.boards:
        named = {(problem.index, problem.column) for problem in problems}
        problems += [p for p in tables.green.problems if (p.index, p.column) not in named]
    return problems


def _grade_problems(tables: RecoveryTables) -> list[RowProblem]:
    grades = tables.frames.grades
    problems = [
        *_repeated(grades, ["board", "rule_set"], "board"),
        *_blank(grades, "rule_set", "the name of a rule set"),
        *_blank(grades, "grade", "a grade"),
        *_unknown(grades, "board", tables.graded_board < 0, "the code of a board in the boards file"),
        *larger_than_board(grades, tables.frames.first_boards()),
    ]
    if tables.frames.prices is None:
        return problems
    measured = tables.pieces.volume_m3.notna() & grades["grade"].notna() & grades["rule_set"].notna()
    width, thickness = tables.pieces.width_mm.to_numpy(), tables.pieces.thickness_mm.to_numpy()
    for at in positions_where(measured.to_numpy() & np.isnan(tables.price)):
        size = f"{shown(thickness[at])} × {shown(width[at])} mm"
        found = f"{grades['rule_set'].iloc[at]} {grades['grade'].iloc[at]}, {size}"
        problems.append(
            RowProblem(int(at), "grade", found, "a grade and size that has a price in the price list")
        )
    return problems


def _repeated(frame: pd.DataFrame, columns: list[str], column: str) -> list[RowProblem]:
    """A problem for the second and later rows with the same code; rows without a code are not repeats."""
    again = (frame.duplicated(columns) & frame[columns].notna().all(axis=1)).to_numpy()
    if not again.any():
        return []
    first_at = {
        tuple(codes): at for at, codes in reversed(list(enumerate(frame[columns].to_numpy().tolist())))
    }
    rows = numbers(frame, "_row")
    problems: list[RowProblem] = []
    for at in positions_where(again):
        codes = tuple(frame[columns].iloc[at])
        row = rows[first_at[codes]]
        once = "a code used once" if len(columns) == 1 else "one grade of a board in a rule set"
        where = "" if np.isnan(row) else f" (already in row {int(row)})"
        problems.append(RowProblem(int(at), column, ", ".join(codes), once + where))
    return problems


def _blank(frame: pd.DataFrame, column: str, expected: str) -> list[RowProblem]:
    return [RowProblem(int(at), column, "", expected) for at in positions_where(frame[column].isna())]


def _unknown(frame: pd.DataFrame, column: str, unknown: BoolArray, expected: str) -> list[RowProblem]:
    values = frame[column]
    return [
        RowProblem(int(at), column, "" if values.iloc[at] is None else str(values.iloc[at]), expected)
        for at in positions_where(unknown)
    ]

"""Recovery and value of a study: from tree, log, board and grade frames to figures by log, tree and clone.

green recovery = sum of board volume in the named size basis / sum of under-bark log volume; graded recovery
the same with graded pieces; value per m3 of log = sum of volume x price / sum of log volume. All logs count
in the denominator, also those without boards. Always totals over totals, never a mean of ratios.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from reports.calc.figures import Figures, clone_intervals, figures_by, log_sums, total_figures
from reports.calc.recovery_problems import (
    FrameProblem,
    RecoveryInputError,
    hold_problem_rows,
    table_problems,
)
from reports.calc.recovery_tables import (
    FRAME_NAMES,
    FrameName,
    RecoveryFrames,
    RecoveryOptions,
    recovery_frames,
    recovery_tables,
)
from reports.calc.recovery_warnings import recovery_warnings
from sawing.calc.board_volume import SizeBasis
from sawing.calc.frames import numbers, texts
from sawing.calc.log_volume import FormulaInfo

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

__all__ = [
    "RecoveryInputError",
    "RecoveryOptions",
    "RecoveryResult",
    "compute_recovery",
    "compute_with_held_rows",
]

# What the figures depend on; anything else in the frames (notes, graders) does not change the input's hash.
_HASHED: dict[FrameName, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "trees": (("tree", "clone"), ()),
    "logs": (
        ("log", "tree", "bark", "sections_mm"),
        ("length_m", "sed1_mm", "led1_mm", "sed2_mm", "led2_mm", "mid1_mm", "mid2_mm", "centroid_mm"),
    ),
    "boards": (
        ("board", "log"),
        (
            "thickness_mm", "width_mm", "length_m", "nominal_thickness_mm", "nominal_width_mm",
            "dry_thickness_mm", "dry_width_mm", "dry_length_m",
        ),
    ),
    "grades": (("board", "rule_set", "grade"), ("graded_length_m", "graded_width_mm", "graded_thickness_mm")),
    "prices": (
        ("rule_set", "grade", "currency"),
        ("price_per_m3", "min_width_mm", "max_width_mm", "min_thickness_mm"),
    ),
}  # fmt: skip


@dataclass(frozen=True)
class RecoveryResult:
    """Figures of a study with all that makes them readable: formula, size basis, warnings, problems of held
    rows,
    and the sha256 of the input they were computed from (the same for the same rows in any order)."""

    formula: FormulaInfo
    size_basis: SizeBasis
    total: Figures
    by_clone: Mapping[str, Figures]
    by_tree: Mapping[str, Figures]
    by_log: Mapping[str, Figures]
    warnings: tuple[FrameProblem, ...]
    problems: tuple[FrameProblem, ...]
    input_hash: str
    resamples: int
    seed: int

    def to_dict(
        self,
        problems: Sequence[Mapping[str, object]] = (),
        file_names: Mapping[FrameName, str] | None = None,
    ) -> dict[str, object]:
        """As plain Python values ready for JSON, no NaN in it.

        `problems` are problems found before the computing (by the reader of the files), listed first;
        `file_names` names the files behind the frames.
        """
        return {
            "log_volume_formula": self.formula.name,
            "formula_text": self.formula.text,
            "size_basis": self.size_basis,
            **_figures_dict(self.total),
            "by_clone": {code: _figures_dict(figures) for code, figures in self.by_clone.items()},
            "by_tree": {code: _figures_dict(figures) for code, figures in self.by_tree.items()},
            "by_log": {code: _figures_dict(figures) for code, figures in self.by_log.items()},
            "resamples": self.resamples,
            "seed": self.seed,
            "input_hash": self.input_hash,
            "warnings": [warning.to_dict(file_names) for warning in self.warnings],
            "problems": [*map(dict, problems), *(problem.to_dict(file_names) for problem in self.problems)],
        }


def compute_recovery(
    trees: pd.DataFrame,
    logs: pd.DataFrame,
    boards: pd.DataFrame,
    grades: pd.DataFrame | None = None,
    prices: pd.DataFrame | None = None,
    options: RecoveryOptions | None = None,
) -> RecoveryResult:
    """Volumes, recoveries, out-turn and value of a study, in total and by log, tree and clone.

    Frames and columns: trees (tree, clone); logs (log, tree, sizes as in log_volumes); boards (board, log,
    sizes as in board_volumes); grades (board, rule_set, grade, graded sizes); prices (rule_set, grade,
    price_per_m3, width band, thickness threshold, currency), all optional columns may be absent, `_row` gives
    the row of the file. Trees count from their first log. Without prices values are None. Raises
    RecoveryInputError, with all problems, when there is any; ValueError for an unknown formula, size basis or
    impossible bark factor.
    """
    frames = recovery_frames(trees, logs, boards, grades, prices)
    return _computed(frames, options or RecoveryOptions())


def compute_with_held_rows(
    trees: pd.DataFrame,
    logs: pd.DataFrame,
    boards: pd.DataFrame,
    grades: pd.DataFrame | None = None,
    prices: pd.DataFrame | None = None,
    options: RecoveryOptions | None = None,
) -> RecoveryResult:
    """The same as compute_recovery, computed without the problem rows and what hangs on them; they stay
    listed."""
    options = options or RecoveryOptions()
    frames, held = hold_problem_rows(recovery_frames(trees, logs, boards, grades, prices), options)
    return replace(_computed(frames, options), problems=held)


def input_hash(frames: RecoveryFrames) -> str:
    """sha256 of the frames' content that figures depend on: independent of row order, other columns, trees
    without logs, and number types. The same rows from a folder and from the database have the same hash."""
    digest = hashlib.sha256()
    for name in FRAME_NAMES:
        text_columns, number_columns = _HASHED[name]
        frame = _counted(frames, name)
        table = pd.DataFrame({column: texts(frame, column).fillna("\x00") for column in text_columns})
        for column in number_columns:
            table[column] = numbers(frame, column) + 0.0  # -0.0 and 0.0 are the same measurement
        table = table.sort_values(list(table.columns), kind="stable", na_position="first")
        digest.update(f"{name}\x1d{len(table)}\x1d{','.join(table.columns)}\x1d".encode())
        for column in text_columns:
            digest.update("\x1f".join(map(str, table[column].tolist())).encode() + b"\x1e")
        for column in number_columns:
            values = table[column].to_numpy(dtype="<f8")
            digest.update(np.where(np.isnan(values), np.nan, values).astype("<f8").tobytes() + b"\x1e")
    return digest.hexdigest()


def _counted(frames: RecoveryFrames, name: FrameName) -> pd.DataFrame:
    """The rows of a frame that figures can depend on; "under bark" said in one way."""
    frame = frames.frame(name)
    if name == "trees":
        return frame[frame["tree"].isin(frames.logs["tree"])]
    return frame.assign(bark=texts(frame, "bark").fillna("under")) if name == "logs" else frame


def _computed(frames: RecoveryFrames, options: RecoveryOptions) -> RecoveryResult:
    tables = recovery_tables(frames, options)
    problems = table_problems(tables)
    if problems:
        raise RecoveryInputError(problems)
    sums = log_sums(tables, options)
    intervals = clone_intervals(sums, options)
    by_clone = figures_by(sums, "clone")
    return RecoveryResult(
        formula=tables.volumes.formula,
        size_basis=tables.boards.size_basis,
        total=total_figures(sums),
        by_clone={code: replace(figures, ci95=intervals[code]) for code, figures in by_clone.items()},
        by_tree=figures_by(sums, "tree"),
        by_log=figures_by(sums, "log"),
        warnings=recovery_warnings(tables),
        problems=(),
        input_hash=input_hash(frames),
        resamples=options.resamples,
        seed=options.seed,
    )


def _figures_dict(figures: Figures) -> dict[str, object]:
    """Figures as plain values; `ci95`, `tree` and `clone` only where they are given."""
    return {
        name: value
        for name, value in _plain_fields(figures).items()
        if value is not None or name not in ("ci95", "tree", "clone")
    }


def _plain_fields(result: DataclassInstance) -> dict[str, object]:
    return {part.name: _plain(getattr(result, part.name)) for part in fields(result)}


def _plain(value: object) -> object:
    """Dataclasses and mappings as dicts, pairs as lists (JSON has no other), anything else as it is."""
    if is_dataclass(value) and not isinstance(value, type):
        return _plain_fields(value)
    if isinstance(value, Mapping):
        return {str(key): _plain(part) for key, part in value.items()}
    return list(value) if isinstance(value, tuple) else value

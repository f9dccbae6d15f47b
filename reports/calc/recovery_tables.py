"""From the frames of a study to joined tables: logs with their volume, boards with theirs, graded pieces
with value."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from grading.calc.graded_piece import GradedPieces, graded_pieces
from reports.calc.prices import graded_prices
from sawing.calc.board_volume import BoardVolumes, SizeBasis, board_volumes
from sawing.calc.frames import FloatArray, texts
from sawing.calc.log_volume import LogVolumes, log_volumes
from sawing.calc.resampling import RESAMPLES, SEED

FrameName = Literal["trees", "logs", "boards", "grades", "prices"]
FRAME_NAMES: tuple[FrameName, ...] = ("trees", "logs", "boards", "grades", "prices")
_CODES: dict[FrameName, tuple[str, ...]] = {
    "trees": ("tree", "clone"),
    "logs": ("log", "tree", "bark", "sections_mm"),
    "boards": ("board", "log", "flitch"),
    "grades": ("board", "rule_set", "grade"),
    "prices": ("rule_set", "grade", "currency"),
}


@dataclass(frozen=True)
class RecoveryOptions:
    """How a recovery is computed: log volume formula, size basis, bark factor, resampling, order of grades.

    `grade_order` lists a rule set's grades as they shall be shown; other grades follow as the price list,
    then the grades frame, bring them. `reject_grades` names, for the rule sets that say so, the grades that
    accept nothing: their pieces count as graded, not as accepted. Without `clones_known` a tree needs no clone,
    and there are no figures by clone.
    """

    log_volume: str = "smalian"
    size_basis: SizeBasis = "actual_green"
    bark_factor: float | None = None
    resamples: int = RESAMPLES
    seed: int = SEED
    grade_order: Mapping[str, Sequence[str]] = field(default_factory=dict)
    reject_grades: Mapping[str, Collection[str]] = field(default_factory=dict)
    clones_known: bool = True


@dataclass(frozen=True)
class RecoveryFrames:
    """The frames of a study, rows numbered from 0, codes as text or None. `prices` is None when none are
    given."""

    trees: pd.DataFrame
    logs: pd.DataFrame
    boards: pd.DataFrame
    grades: pd.DataFrame
    prices: pd.DataFrame | None

    def frame(self, name: FrameName) -> pd.DataFrame:
        """One frame by its name; prices that are not given are an empty frame."""
        frame: pd.DataFrame | None = getattr(self, name)
        return pd.DataFrame(columns=list(_CODES[name])) if frame is None else frame

    def first_boards(self) -> pd.DataFrame:
        """Boards that have a code, of a code used twice the first."""
        return self.boards[self.boards["board"].notna()].drop_duplicates("board")

    def without(self, rows: Mapping[FrameName, set[int]]) -> RecoveryFrames:
        """The same frames without the rows at these positions."""
        kept = {name: _renumbered(self.frame(name).drop(index=list(at))) for name, at in rows.items() if at}
        result = replace(self, **kept)
        empty = result.prices is not None and not len(result.prices)
        return replace(result, prices=None) if empty else result


def recovery_frames(
    trees: pd.DataFrame,
    logs: pd.DataFrame,
    boards: pd.DataFrame,
    grades: pd.DataFrame | None = None,
    prices: pd.DataFrame | None = None,
) -> RecoveryFrames:
    """Frames made ready: missing code columns added, codes as text or None, rows numbered from 0.

    Columns: see RecoveryOptions and the functions that compute each part. No grades and an empty grades frame
    are the same, as are no prices and an empty price list.
    """
    given: dict[FrameName, pd.DataFrame | None] = {
        "trees": trees, "logs": logs, "boards": boards, "grades": grades, "prices": prices,
    }  # fmt: skip
    ready: dict[str, pd.DataFrame] = {}
    for name, frame in given.items():
        source = pd.DataFrame() if frame is None else frame
        ready[name] = _renumbered(source.assign(**{code: texts(source, code) for code in _CODES[name]}))
    if not len(ready["prices"]):
        return RecoveryFrames(ready["trees"], ready["logs"], ready["boards"], ready["grades"], None)
    return RecoveryFrames(**ready)


@dataclass(frozen=True)
class RecoveryTables:
    """Joined tables, aligned row by row to the frames they come from.

    `log_tree`, `log_clone`: code per log (None where unknown); `board_log`: position of its log per board, -1
    where unknown; `graded_board`: position of its board per graded row, -1 where unknown; `price` and `value`
    are NaN without prices.
    """

    frames: RecoveryFrames
    volumes: LogVolumes
    boards: BoardVolumes
    green: BoardVolumes
    pieces: GradedPieces
    log_clone: pd.Series[str]
    board_log: npt.NDArray[np.intp]
    graded_board: npt.NDArray[np.intp]
    price: FloatArray
    value: FloatArray
    clones_known: bool


def recovery_tables(frames: RecoveryFrames, options: RecoveryOptions) -> RecoveryTables:
    """Volumes, parents, prices and values for every row of the frames; of a code used twice the first row
    counts."""
    first_boards = frames.first_boards()
    sizes = board_volumes(frames.boards, options.size_basis)
    green = sizes if options.size_basis == "actual_green" else board_volumes(frames.boards, "actual_green")
    pieces = graded_pieces(frames.grades, first_boards, board_volumes(first_boards, options.size_basis))
    price = np.full(len(frames.grades), np.nan)
    if frames.prices is not None:
        found = graded_prices(frames.grades, pieces.width_mm, pieces.thickness_mm, frames.prices)
        price = found.to_numpy(dtype=np.float64)
    trees = frames.trees[frames.trees["tree"].notna()].drop_duplicates("tree")
    clones = trees.set_index("tree")["clone"]
    return RecoveryTables(
        frames=frames,
        volumes=log_volumes(frames.logs, options.log_volume, options.bark_factor),
        boards=sizes,
        green=green,
        pieces=pieces,
        log_clone=texts(pd.DataFrame({"clone": frames.logs["tree"].map(clones)}), "clone"),
        board_log=_positions(frames.boards["log"], frames.logs["log"]),
        graded_board=_positions(frames.grades["board"], frames.boards["board"]),
        price=price,
        value=price * pieces.volume_m3.to_numpy(dtype=np.float64),
        clones_known=options.clones_known,
    )


def _renumbered(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.reset_index(drop=True)


def _positions(codes: pd.Series[str], of: pd.Series[str]) -> npt.NDArray[np.intp]:
    """Position of each code in the codes `of`, its first use; -1 for a missing or unknown one."""
    first = of[of.notna()].drop_duplicates()
    positions = pd.Series(first.index.to_numpy(), index=first.to_numpy())
    return codes.map(positions).fillna(-1).to_numpy(dtype=np.intp)

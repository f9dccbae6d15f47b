"""What no single cell of a log list or a board tally shows: logs and boards that cannot be, and odd ones."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd

from portal.calc.file_findings import remark
from portal.calc.file_spec import Known, Problem, shown
from sawing.calc.board_volume import board_volumes
from sawing.calc.frames import RowProblem
from sawing.calc.log_volume import log_measures
from sawing.calc.stem_checks import REMARKS, stem_doubts
from sawing.calc.tally_frames import board_file_remarks

LENGTH_ALLOWANCE_M = 0.05
ROUNDING = 1e-9


def check_logs(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    """Heartwood thicker than its log, lists of sections nobody can read, trees without a clone.

    `known["trees"]` (tree, clone) is looked at when it has a clone column; unknown trees are found before.
    """
    problems = []
    for end in ("sed", "led"):
        largest = rows[[f"{end}1_mm", f"{end}2_mm"]].max(axis=1)
        for at in np.flatnonzero(rows[f"heart_{end}_mm"] > largest * (1 + ROUNDING)):
            expected = f"at most the log's own diameter at that end ({largest.iloc[at]:g} mm)"
            found = f"{rows[f'heart_{end}_mm'].iloc[at]:g}"
            problems.append(Problem(file, int(rows["_row"].iloc[at]), f"heart_{end}_mm", found, expected))
    unreadable = log_measures(rows, bark_factor=1.0)[1]
    return [*problems, *as_problems(unreadable, rows, file), *_trees_without_clone(rows, known, file)]


def as_problems(wrong: Iterable[RowProblem], rows: pd.DataFrame, file: str) -> list[Problem]:
    """Problems of a file from what a computation says about rows of a frame with the file's row numbers."""
    number_of = dict(zip(rows.index, rows["_row"], strict=True))
    return [Problem(file, int(number_of[w.index]), w.column, shown(w.found), w.expected) for w in wrong]


def _trees_without_clone(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    trees = known.get("trees")
    if trees is None or "clone" not in trees.columns:
        return []
    without = set(trees.loc[trees["clone"].isna(), "tree"])
    expected = "a tree with a clone; give the tree its clone in the layout first"
    return [
        Problem(file, int(row), "tree", f"{shown(tree)}, a tree without a clone", expected)
        for tree, row in zip(rows["tree"], rows["_row"], strict=True)
        if tree in without
    ]


def log_remarks(rows: pd.DataFrame, known: Known, file: str) -> list[str]:
    """What does not fit along a stem or with its tree: possible, but worth a look (sawing.calc.stem_checks).

    `known["stored_logs"]` may hold the logs stored for the same trees, `known["trees"]` what is known of each tree
    (stem_length_m, stump_m, height_m, dbh_mm). A log sent again counts once, as it stands in the file.
    """
    stored = known.get("stored_logs")
    logs = rows
    if stored is not None and len(stored):
        others = stored[stored["tree"].isin(rows["tree"]) & ~stored["log"].isin(rows["log"])]
        logs = pd.concat([rows, others], ignore_index=True) if len(others) else rows
    doubts = stem_doubts(logs, known.get("trees"))
    remarks = []
    for kind, text in REMARKS.items():
        of_logs = {d.log for d in doubts if d.kind == kind and d.log is not None}
        of_trees = {d.tree for d in doubts if d.kind == kind and d.log is None}
        remarks += remark(rows, rows["log"].isin(of_logs) | rows["tree"].isin(of_trees), text)
    return remarks


def check_boards(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    """More board volume than the log has: a problem of every board of that log in the file.

    `known["logs"]` may carry volume_m3 (without it nothing is judged); `known["stored_boards"]` (board, log,
    volume_m3 in actual green size) the boards already there. A board sent again counts once.
    """
    logs = known.get("logs")
    if logs is None or "volume_m3" not in logs.columns:
        return []
    over = over_volume(rows, logs, known.get("stored_boards"))
    texts = {
        log: over_volume_text(log, boards_m3, log_m3)
        for log, boards_m3, log_m3 in zip(over["log"], over["boards_m3"], over["log_m3"], strict=True)
    }
    return [
        Problem(file, int(row), "log", *texts[log])
        for log, row in zip(rows["log"], rows["_row"], strict=True)
        if log in texts
    ]


def board_remarks(rows: pd.DataFrame, known: Known, file: str) -> list[str]:
    """Boards longer than their log, nominal or dry sizes above the green ones, and what would be asked about at the
    saw (sawing.calc.tally_frames): possible, but worth a look."""
    remarks = []
    logs = known.get("logs")
    if logs is not None and "length_m" in logs.columns:
        of_log = _by_log(rows, logs, "length_m")
        longer = rows["length_m"] > of_log + LENGTH_ALLOWANCE_M
        remarks += remark(
            rows, longer, f"board longer than its log by more than {LENGTH_ALLOWANCE_M * 1000:g} mm"
        )
    for what, size in (
        ("nominal", "nominal size above the actual green size"),
        ("dry", "dry size above the green size"),
    ):
        pairs = [(f"{what}_{name}", name) for name in ("thickness_mm", "width_mm", "length_m")]
        above = [rows[own] > rows[green] * (1 + ROUNDING) for own, green in pairs if own in rows.columns]
        remarks += remark(rows, pd.concat(above, axis=1).any(axis=1), size)
    return remarks + board_file_remarks(rows, known)


def over_volume(boards: pd.DataFrame, logs: pd.DataFrame, stored: pd.DataFrame | None = None) -> pd.DataFrame:
    """Logs with more board volume than log volume: columns log, boards_m3, log_m3.

    `boards`: board rows (actual green size); `logs`: log, volume_m3; `stored`: boards already there (board,
    log, volume_m3), of which those that stand in `boards` too are counted once. Logs without a volume, and
    logs without a row in `boards`, are not judged.
    """
    sums = board_volumes(boards).volume_m3.groupby(boards["log"]).sum()
    table = logs.loc[logs["log"].isin(sums.index)].drop_duplicates("log").set_index("log")
    total = sums.reindex(table.index)
    if stored is not None and len(stored):
        others = stored[~stored["board"].isin(boards["board"])]
        earlier = others["volume_m3"].astype(float).groupby(others["log"]).sum()
        total = total + earlier.reindex(table.index).fillna(0.0)
    over = total > table["volume_m3"] * (1 + ROUNDING)
    frame = pd.DataFrame(
        {"log": table.index, "boards_m3": total.to_numpy(), "log_m3": table["volume_m3"].to_numpy()}
    )
    return frame[over.to_numpy()].reset_index(drop=True)


def over_volume_text(log: str, boards_m3: float, log_m3: float) -> tuple[str, str]:
    """What was found and what is expected, in words, where a log has more boards than wood."""
    found = f"{boards_m3:.4f} m³ of boards from log {shown(log)} of {log_m3:.4f} m³"
    return found, "boards of one log with at most its volume; look for a wrong log code, size or log diameter"


def _by_log(rows: pd.DataFrame, logs: pd.DataFrame, column: str) -> pd.Series[Any]:
    values = logs.drop_duplicates("log").set_index("log")[column]
    return rows["log"].map(values).astype(float)

"""Where the wood of a log went: boards, headsaw kerf, and the rest (slabs, edgings, dockings, edger kerf).

All parts are green volumes in m3. The kerf is an estimate: the width of a cut is not in the tally, so it is
taken from the boards beside it (see kerf_estimates_m3).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sawing.calc.frames import FloatArray, numbers, texts

KERF_NOTE = "kerf is an estimate: kerf width × mean sawn face of the log's flitches × (flitches + 1) cuts"


@dataclass(frozen=True)
class LogBalance:
    """Balance of logs. `parts` has one row a log, indexed by log code, all columns in m3:

    log_volume_m3 = boards_m3 + kerf_m3 (0 in this sum when NaN: unknown) + rest_m3 + closing_m3, where
    closing_m3 is 0 or, when boards and kerf make more than the log, negative by the excess; closing_share is
    closing_m3 over the log.
    """

    parts: pd.DataFrame
    kerf_note: str | None


def log_balance(
    log_codes: pd.Series[str],
    log_volume_m3: pd.Series[float],
    boards: pd.DataFrame,
    board_volume_m3: pd.Series[float],
    kerf_mm: float | None = None,
) -> LogBalance:
    """Balance of each log from its volume (aligned to `log_codes`) and its boards' actual green volumes.

    `boards` needs the column log, for the kerf also flitch, width_mm and length_m; `board_volume_m3` is
    aligned to it. Without `kerf_mm`, or where a board of the log has no flitch number, the log's kerf is NaN
    and part of the rest. ValueError for a negative kerf.
    """
    if kerf_mm is not None and not kerf_mm >= 0:
        raise ValueError(f"kerf of {kerf_mm!r} mm: expected 0 or more")
    index = pd.Index(log_codes, name="log")
    log_of_board = texts(boards, "log").to_numpy()
    summed = pd.Series(board_volume_m3.to_numpy(), index=boards.index).groupby(log_of_board).sum()
    in_boards = summed.reindex(index, fill_value=0.0).to_numpy(dtype=np.float64)
    kerf = kerf_estimates_m3(boards, kerf_mm).reindex(index).to_numpy(dtype=np.float64)
    volume = log_volume_m3.to_numpy(dtype=np.float64)
    left = volume - in_boards - np.nan_to_num(kerf)
    rest: FloatArray = np.where(left > 0.0, left, 0.0)
    closing: FloatArray = np.where(left < 0.0, left, 0.0)
    parts = pd.DataFrame(
        {
            "log_volume_m3": volume,
            "boards_m3": in_boards,
            "kerf_m3": kerf,
            "rest_m3": rest,
            "closing_m3": closing,
            "closing_share": _share(closing, np.asarray(volume, dtype=np.float64)),
        },
        index=index,
    )
    return LogBalance(parts, None if np.isnan(kerf).all() else KERF_NOTE)


def kerf_estimates_m3(boards: pd.DataFrame, kerf_mm: float | None) -> pd.Series[float]:
    """Headsaw kerf volume by log code in m3, estimated from the tally; empty or NaN where it cannot be.

    n flitches are parted from the log and from each other by n + 1 cuts, each as wide and long as the sawn
    faces of the flitches beside it. Of a face only the boards are known: the sum of width x length of the
    flitch's boards. So kerf = kerf_mm x mean face x (n + 1), which is low by the edgings and by flitches that
    gave no board.
    """
    if kerf_mm is None or not len(boards):
        return pd.Series(dtype=np.float64)
    face = numbers(boards, "width_mm") / 1000.0 * numbers(boards, "length_m")
    flitch = texts(boards, "flitch").to_numpy()
    faces = pd.DataFrame({"log": texts(boards, "log").to_numpy(), "flitch": flitch, "face_m2": face})
    by_log = faces.groupby("log", sort=False)
    flitches = by_log["flitch"].nunique()
    complete = faces["flitch"].notna().groupby(faces["log"]).all().reindex(flitches.index)
    kerf = kerf_mm / 1000.0 * by_log["face_m2"].sum(min_count=1) / flitches * (flitches + 1)
    return kerf.where(complete & (flitches > 0))


def _share(part: FloatArray, whole: FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(whole > 0, part / whole, np.nan)

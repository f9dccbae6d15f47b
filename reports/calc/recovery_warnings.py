"""What looks implausible in a study without making its figures wrong by itself.

Bands of recovery are common practice, without a published source, and our own proposal as limits: green
recovery of live-sawn young conifers near 58 %, graded near 51 %, warned about outside 35-75 % and 25-70 % of
a log.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pandas as pd

from reports.calc.recovery_problems import FrameProblem, framed
from reports.calc.recovery_tables import FrameName, RecoveryTables
from sawing.calc.board_volume import SIZE_BASIS_TITLES
from sawing.calc.frames import BoolArray, FloatArray, RowProblem, numbers, positions_where, shown
from sawing.calc.log_geometry import taper_mm_per_m

GREEN_BAND = (0.35, 0.75)
GRADED_BAND = (0.25, 0.70)
SED_EXCESS_MM = 5.0
BOARD_EXCESS_MM = 50.0
LONGEST_LOG_M = 13.0
STRONGEST_TAPER_MM_PER_M = 40.0
HEIGHT_OVERLAP_M = 0.05


def recovery_warnings(tables: RecoveryTables) -> tuple[FrameProblem, ...]:
    """All warnings of a study whose frames have no problems, in the shape of problems."""
    by_frame: list[tuple[FrameName, list[RowProblem]]] = [
        ("logs", [*_log_sizes(tables.frames.logs), *_log_heights(tables.frames.logs)]),
        ("logs", [RowProblem(label, "log", text, "") for label, text in tables.volumes.notes]),
        ("logs", _log_recoveries(tables)),
        ("boards", _board_sizes(tables)),
    ]
    found = [warning for name, problems in by_frame for warning in framed(tables.frames, name, problems)]
    return (*found, *_ungraded(tables))


def _marked(mask: BoolArray, column: str, found: Callable[[int], str], expected: str) -> list[RowProblem]:
    return [RowProblem(at, column, found(at), expected) for at in positions_where(mask)]


def _log_sizes(logs: pd.DataFrame) -> list[RowProblem]:
    sed = np.fmin(numbers(logs, "sed1_mm"), numbers(logs, "sed2_mm"))
    led = np.fmax(numbers(logs, "led1_mm"), numbers(logs, "led2_mm"))
    length = numbers(logs, "length_m")
    heart_sed, heart_led = numbers(logs, "heart_sed_mm"), numbers(logs, "heart_led_mm")
    with np.errstate(invalid="ignore", divide="ignore"):
        taper = taper_mm_per_m(led, sed, length)
    return [
        *_marked(
            sed > led + SED_EXCESS_MM,
            "sed1_mm",
            lambda at: f"small end {shown(sed[at])} mm, large end {shown(led[at])} mm",
            "a small end not larger than the large end",
        ),
        *_marked(
            taper > STRONGEST_TAPER_MM_PER_M,
            "led1_mm",
            lambda at: f"taper {taper[at]:.1f} mm/m",
            f"at most {STRONGEST_TAPER_MM_PER_M:g} mm/m",
        ),
        *_marked(
            length > LONGEST_LOG_M,
            "length_m",
            lambda at: f"{shown(length[at])} m",
            f"at most {LONGEST_LOG_M:g} m",
        ),
        *_marked(
            heart_sed > np.fmax(numbers(logs, "sed1_mm"), numbers(logs, "sed2_mm")),
            "heart_sed_mm",
            lambda at: f"{shown(heart_sed[at])} mm",
            "heartwood not wider than the small end",
        ),
        *_marked(
            heart_led > led,
            "heart_led_mm",
            lambda at: f"{shown(heart_led[at])} mm",
            "heartwood not wider than the large end",
        ),
    ]


def _log_heights(logs: pd.DataFrame) -> list[RowProblem]:
    """Logs of a tree that would stand in each other."""
    ordered = pd.DataFrame({"tree": logs["tree"], "bottom": numbers(logs, "bottom_m")}, index=logs.index)
    ordered = ordered.assign(top=ordered["bottom"] + numbers(logs, "length_m")).sort_values(
        ["tree", "bottom"]
    )
    below = ordered.groupby("tree")["top"].shift()
    overlap = ordered.index[(ordered["bottom"] < below - HEIGHT_OVERLAP_M).to_numpy()]
    return [
        RowProblem(
            label,
            "bottom_m",
            f"{ordered['bottom'].loc[label]:g} m, the log below ends at {below.loc[label]:g} m",
            "logs of a tree one above the other",
        )
        for label in sorted(overlap)
    ]


def _log_recoveries(tables: RecoveryTables) -> list[RowProblem]:
    logs, grades = tables.frames.logs, tables.frames.grades
    volume = tables.volumes.volume_m3.to_numpy(dtype=np.float64)
    boards = np.bincount(tables.board_log, minlength=len(logs))
    green = np.bincount(tables.board_log, weights=tables.boards.volume_m3, minlength=len(logs)) / volume
    basis = SIZE_BASIS_TITLES[tables.boards.size_basis]
    warnings = [
        *_marked(boards == 0, "log", lambda _: "no boards", "boards; the log counts in every recovery"),
        *_marked(
            (boards > 0) & _outside(green, GREEN_BAND),
            "log",
            lambda at: f"green recovery {green[at]:.1%} ({basis})",
            _band_text(GREEN_BAND),
        ),
    ]
    piece = tables.pieces.volume_m3.to_numpy(dtype=np.float64)
    log_of_grade = tables.board_log[tables.graded_board]
    for rule_set in grades["rule_set"].drop_duplicates():
        mine = (grades["rule_set"] == rule_set).to_numpy()
        pieces = np.bincount(log_of_grade[mine], minlength=len(logs))
        graded = np.bincount(log_of_grade[mine], weights=piece[mine], minlength=len(logs)) / volume
        warnings += _graded_warnings(str(rule_set), pieces, graded)
    return warnings


def _graded_warnings(rule_set: str, pieces: npt.NDArray[np.intp], graded: FloatArray) -> list[RowProblem]:
    return _marked(
        (pieces > 0) & _outside(graded, GRADED_BAND),
        "log",
        lambda at: f"graded recovery {graded[at]:.1%} ({rule_set})",
        _band_text(GRADED_BAND),
    )


def _outside(share: FloatArray, band: tuple[float, float]) -> BoolArray:
    return (share < band[0]) | (share > band[1])


def _band_text(band: tuple[float, float]) -> str:
    return f"usually {band[0]:.0%} to {band[1]:.0%} (common practice, no published source)"


def _board_sizes(tables: RecoveryTables) -> list[RowProblem]:
    boards, logs = tables.frames.boards, tables.frames.logs
    length, width, thickness = (numbers(boards, c) for c in ("length_m", "width_mm", "thickness_mm"))
    log_length = numbers(logs, "length_m")[tables.board_log]
    led = np.fmax(numbers(logs, "led1_mm"), numbers(logs, "led2_mm"))[tables.board_log]
    warnings = [
        *_marked(
            length > log_length + BOARD_EXCESS_MM / 1000.0,
            "length_m",
            lambda at: f"{shown(length[at])} m from a log of {shown(log_length[at])} m",
            "a board not longer than its log",
        ),
        *_marked(
            width > led,
            "width_mm",
            lambda at: f"{shown(width[at])} mm from a log of {shown(led[at])} mm",
            "a board not wider than its log",
        ),
    ]
    for column, green in (("thickness_mm", thickness), ("width_mm", width), ("length_m", length)):
        for kind in ("nominal", "dry"):
            size = numbers(boards, f"{kind}_{column}")
            warnings += [
                RowProblem(at, f"{kind}_{column}", shown(size[at]), f"at most the green {shown(green[at])}")
                for at in positions_where(size > green)
            ]
    return warnings


def _ungraded(tables: RecoveryTables) -> list[FrameProblem]:
    """One warning a rule set that not every board was graded by."""
    grades, n_boards = tables.frames.grades, len(tables.frames.boards)
    counts = grades["rule_set"].value_counts(sort=False)
    return [
        FrameProblem(
            "grades",
            None,
            None,
            "rule_set",
            f"{n_boards - count} of {n_boards} boards without a grade by {name}",
            "a grade for every board; ungraded boards count as no graded volume",
        )
        for name, count in counts.items()
        if count < n_boards
    ]

"""Problems of a study's frames: all listed, nothing computed; held rows are left out with what hangs on
them."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import pytest

from reports.calc.recovery import RecoveryOptions, compute_recovery, compute_with_held_rows
from reports.calc.recovery_problems import RecoveryInputError

FAST = RecoveryOptions(resamples=100)
Frames = dict[str, pd.DataFrame]


def good() -> Frames:
    """Two clones, three trees, three logs, four boards, all graded and priced; rows numbered as in files
    with a header."""
    frames = {
        "trees": pd.DataFrame({"tree": ["T1", "T2", "T3"], "clone": ["C1", "C1", "C2"]}),
        "logs": pd.DataFrame(
            {
                "log": ["L1", "L2", "L3"],
                "tree": ["T1", "T2", "T3"],
                "length_m": 4.0,
                "sed1_mm": 300.0,
                "led1_mm": 340.0,
            }
        ),
        "boards": pd.DataFrame(
            {
                "board": ["B1", "B2", "B3", "B4"],
                "log": ["L1", "L1", "L2", "L3"],
                "thickness_mm": 40.0,
                "width_mm": 200.0,
                "length_m": 4.0,
            }
        ),
        "grades": pd.DataFrame(
            {
                "board": ["B1", "B2", "B3", "B4"],
                "rule_set": "trial",
                "grade": ["a", "b", "a", "a"],
                "graded_length_m": [3.0, None, None, None],
            }
        ),
        "prices": pd.DataFrame(
            {"rule_set": "trial", "grade": ["a", "b"], "price_per_m3": [400.0, 300.0], "currency": "EUR"}
        ),
    }
    return {name: frame.assign(_row=range(2, len(frame) + 2)) for name, frame in frames.items()}


def change(frame: str, row: int, column: str, value: object) -> Callable[[Frames], None]:
    def spoil(frames: Frames) -> None:
        frames[frame][column] = frames[frame][column].astype(object)
        frames[frame].loc[frames[frame]["_row"] == row, column] = value
        if frame != "trees" and column not in ("log", "tree", "board", "rule_set", "grade", "currency"):
            frames[frame][column] = pd.to_numeric(frames[frame][column])

    return spoil


def again(frame: str, row: int, **changes: object) -> Callable[[Frames], None]:
    def spoil(frames: Frames) -> None:
        rows = frames[frame]
        copy = rows[rows["_row"] == row].assign(_row=len(rows) + 2, **changes)
        frames[frame] = pd.concat([rows, copy], ignore_index=True)

    return spoil


CASES = {
    "a tree without a clone": (change("trees", 2, "clone", None), ("layout", 2, "clone", "")),
    "a tree twice": (again("trees", 2), ("layout", 5, "tree", "T1")),
    "a log of an unknown tree": (change("logs", 3, "tree", "T9"), ("logs", 3, "tree", "T9")),
    "a log twice": (again("logs", 2), ("logs", 5, "log", "L1")),
    "a log without its large end": (change("logs", 4, "led1_mm", None), ("logs", 4, "led1_mm", "")),
    "a board of an unknown log": (change("boards", 4, "log", "L9"), ("boards", 4, "log", "L9")),
    "a board twice": (again("boards", 3), ("boards", 6, "board", "B2")),
    "a board without width": (change("boards", 2, "width_mm", None), ("boards", 2, "width_mm", "")),
    "a grade of an unknown board": (change("grades", 2, "board", "B9"), ("grades", 2, "board", "B9")),
    "two grades in one rule set": (again("grades", 2, grade="b"), ("grades", 6, "board", "B1, trial")),
    "a grade without a price": (
        change("grades", 5, "grade", "c"),
        ("grades", 5, "grade", "trial c, 40 × 200 mm"),
    ),
    "a piece longer than its board": (
        change("grades", 2, "graded_length_m", 4.1),
        ("grades", 2, "graded_length_m", "4.1"),
    ),
    "a price twice": (again("prices", 2), ("prices", 4, "min_width_mm", "trial a, any width")),
    "a price in other money": (
        again("prices", 2, grade="c", currency="NZD"),
        ("prices", 4, "currency", "NZD"),
    ),
    "a negative price": (change("prices", 3, "price_per_m3", -1.0), ("prices", 3, "price_per_m3", "-1")),
}


def test_the_good_study_has_no_problems() -> None:
    result = compute_recovery(**good(), options=FAST)
    assert result.problems == ()
    assert result.total.boards == 4


@pytest.mark.parametrize("name", CASES)
def test_each_problem_names_its_row_and_nothing_is_computed(name: str) -> None:
    spoil, expected = CASES[name]
    frames = good()
    spoil(frames)
    with pytest.raises(RecoveryInputError) as raised:
        compute_recovery(**frames, options=FAST)
    found = [
        (p["file"], p["row"], p["column"], p["found"]) for p in (q.to_dict() for q in raised.value.problems)
    ]
    assert expected in found
    assert all(problem.expected for problem in raised.value.problems)


@pytest.mark.parametrize("name", CASES)
def test_held_rows_stay_listed_and_the_rest_is_computed(name: str) -> None:
    spoil, expected = CASES[name]
    frames = good()
    spoil(frames)
    result = compute_with_held_rows(**frames, options=FAST)
    found = [(p["file"], p["row"], p["column"], p["found"]) for p in result.to_dict()["problems"]]  # type: ignore[attr-defined]
    assert expected in found
    assert 0 < (result.total.green_recovery or 0) < 1


def test_all_problems_come_at_once() -> None:
    frames = good()
    for name in (
        "a tree without a clone",
        "a board without width",
        "a grade without a price",
        "a negative price",
    ):
        CASES[name][0](frames)
    with pytest.raises(RecoveryInputError, match="4 problem") as raised:
        compute_recovery(**frames, options=FAST)
    assert [problem.frame for problem in raised.value.problems] == ["trees", "boards", "grades", "prices"]


def test_more_board_than_log_is_a_problem() -> None:
    frames = good()
    frames["boards"]["thickness_mm"] = 240.0
    with pytest.raises(RecoveryInputError) as raised:
        compute_recovery(**frames, options=FAST)
    (problem,) = raised.value.problems
    assert (problem.frame, problem.row, problem.column) == ("logs", 2, "log")
    assert problem.found == "0.38400 m³ of boards (actual green size) in a log of 0.32296 m³"


def test_what_hangs_on_a_held_log_is_held_and_listed() -> None:
    frames = good()
    change("logs", 2, "led1_mm", None)(frames)
    result = compute_with_held_rows(**frames, options=FAST)
    assert [(p.frame, p.row) for p in result.problems] == [
        ("logs", 2),
        ("boards", 2),
        ("boards", 3),
        ("grades", 2),
        ("grades", 3),
    ]
    assert set(result.by_log) == {"L2", "L3"}
    assert result.total.boards == 2


def test_everything_held_computes_nothing_without_failing() -> None:
    frames = good()
    frames["logs"]["length_m"] = 0.0
    result = compute_with_held_rows(**frames, options=FAST)
    assert (result.total.logs, result.total.green_recovery, result.by_clone) == (0, None, {})
    assert result.to_dict()["graded"] == {}


def test_caller_may_name_the_files_and_add_its_own_problems() -> None:
    frames = good()
    change("boards", 2, "width_mm", None)(frames)
    mine = {"file": "boards.xlsx", "row": 9, "column": "width_mm", "found": "wide", "expected": "a number"}
    plain = compute_with_held_rows(**frames, options=FAST).to_dict([mine], {"boards": "boards.xlsx"})
    problems: list[dict[str, object]] = plain["problems"]  # type: ignore[assignment]
    assert problems[0] == mine
    assert problems[1]["file"] == "boards.xlsx"


def test_rows_without_numbers_are_none() -> None:
    frames = {name: frame.drop(columns="_row") for name, frame in good().items()}
    frames["logs"].loc[0, "length_m"] = float("nan")
    with pytest.raises(RecoveryInputError) as raised:
        compute_recovery(**frames, options=FAST)
    assert raised.value.problems[0].row is None


def test_implausible_sizes_are_warnings_and_do_not_stop_anything() -> None:
    frames = good()
    frames["logs"].loc[0, ["sed1_mm", "led1_mm"]] = [346.0, 340.0]
    frames["boards"].loc[0, "length_m"] = 4.06
    frames["boards"] = frames["boards"][frames["boards"]["board"] != "B4"]
    frames["grades"] = frames["grades"][frames["grades"]["board"] != "B4"].drop(index=1)
    result = compute_recovery(**frames, options=FAST)
    found = {(w.frame, w.row, w.column): w.found for w in result.warnings}
    assert found["logs", 2, "sed1_mm"] == "small end 346 mm, large end 340 mm"
    assert found["logs", 4, "log"] == "no boards"
    assert found["boards", 2, "length_m"] == "4.06 m from a log of 4 m"
    assert found["grades", None, "rule_set"] == "1 of 3 boards without a grade by trial"
    assert all(set(w.to_dict()) == {"file", "row", "column", "found", "expected"} for w in result.warnings)


def test_edges_of_the_warnings() -> None:
    frames = good()
    frames["logs"].loc[0, ["sed1_mm", "led1_mm"]] = [345.0, 340.0]
    frames["boards"].loc[0, "length_m"] = 4.05
    columns = {(w.row, w.column) for w in compute_recovery(**frames, options=FAST).warnings}
    assert (2, "sed1_mm") not in columns
    assert (2, "length_m") not in columns


def test_logs_standing_in_each_other_are_warned_about() -> None:
    frames = good()
    frames["logs"]["tree"] = "T1"
    frames["logs"]["bottom_m"] = [0.2, 8.3, 4.1]
    found = [w for w in compute_recovery(**frames, options=FAST).warnings if w.column == "bottom_m"]
    assert [(w.row, w.found) for w in found] == [(4, "4.1 m, the log below ends at 4.2 m")]
    assert "by_clone" in compute_recovery(**frames, options=FAST).to_dict()

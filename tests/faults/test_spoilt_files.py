"""Every kind of spoilt file gets its clear message; none raises, none is half read, good rows are kept."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from portal.calc.file_checks import Checked, check_file
from portal.calc.file_spec import Problem
from sawing.columns import BOARDS
from tests.faults.spoilt_files import (
    LOG_VOLUME_M3,
    LOGS,
    MB,
    SPOILT,
    Spoilt,
    good_sheet,
    tally,
    workbook,
    write_sparse,
)

KNOWN = {"logs": pd.DataFrame({"log": LOGS, "volume_m3": LOG_VOLUME_M3})}
WHOLE = [spoilt for spoilt in SPOILT if spoilt.whole]
ROWS = [spoilt for spoilt in SPOILT if not spoilt.whole]


def checked(spoilt: Spoilt) -> Checked:
    return check_file(spoilt.build(), spoilt.filename, BOARDS, KNOWN)


def says(problem: Problem, told: str) -> bool:
    return told in f"{problem.found} / {problem.expected}"


def test_there_are_thirty_kinds_at_least():
    assert len({spoilt.name for spoilt in SPOILT}) == len(SPOILT) >= 30


@pytest.mark.parametrize("data", [tally(), workbook(good_sheet())], ids=["csv", "xlsx"])
def test_the_good_tally_is_taken_whole(data: bytes):
    result = check_file(data, "tally.xlsx", BOARDS, KNOWN)
    assert result.problems == []
    assert result.accepted["board"].tolist() == ["K1", "K2", "K3"]
    assert result.accepted["width_mm"].tolist() == [152.0, 110.0, 100.0]
    assert result.accepted["_row"].tolist() == [2, 3, 4]


@pytest.mark.parametrize("spoilt", WHOLE, ids=lambda spoilt: spoilt.name)
def test_a_spoilt_file_is_refused_with_a_clear_message(spoilt: Spoilt):
    result = checked(spoilt)
    assert result.unreadable
    assert result.accepted.empty
    assert result.held.empty
    assert [says(problem, spoilt.told) for problem in result.problems] == [True]
    assert result.problems[0].file == spoilt.filename
    assert result.problems[0].expected


@pytest.mark.parametrize("spoilt", ROWS, ids=lambda spoilt: spoilt.name)
def test_a_spoilt_row_is_held_with_its_place_and_the_others_are_taken(spoilt: Spoilt):
    result = checked(spoilt)
    assert not result.unreadable
    told = [problem for problem in result.problems if says(problem, spoilt.told)]
    assert (spoilt.row, spoilt.column) in [(problem.row, problem.column) for problem in told]
    assert len(result.accepted) == spoilt.good
    assert set(result.held["_row"]) == {problem.row for problem in result.problems}
    assert not set(result.held["_row"]) & set(result.accepted["_row"])


def test_a_file_of_200_mb_is_refused_without_reading_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    path = write_sparse(tmp_path / "tally.csv", 200 * MB)

    def must_not_read(*_: object, **__: object) -> None:
        raise AssertionError("the file was opened")

    monkeypatch.setattr("builtins.open", must_not_read)
    monkeypatch.setattr("io.open", must_not_read)
    result = check_file(path, "tally.csv", BOARDS, KNOWN)
    assert result.unreadable
    assert says(result.problems[0], "209.7 MB")
    assert says(result.problems[0], "at most 52 MB")


def test_a_file_that_is_not_there_is_a_problem_not_a_failure(tmp_path: Path):
    result = check_file(tmp_path / "gone.csv", "gone.csv", BOARDS, KNOWN)
    assert result.unreadable
    assert says(result.problems[0], "cannot be opened")


def test_all_problems_of_a_file_are_told_at_once():
    rows = [
        spoilt.build().decode().splitlines()[-1]
        for spoilt in ROWS
        if spoilt.filename == "tally.csv" and spoilt.row == 5 and spoilt.good == 3
    ]
    result = check_file(tally(*rows), "tally.csv", BOARDS, KNOWN)
    assert {problem.row for problem in result.problems} == set(range(5, 5 + len(rows)))
    assert len(result.accepted) == 3

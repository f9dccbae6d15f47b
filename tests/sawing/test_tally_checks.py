"""What no single cell of a log list or a board tally shows."""

from __future__ import annotations

import pandas as pd
import pytest

from portal.calc.file_checks import Checked, check_file
from sawing.columns import BOARDS, LOGS

TREES = {"trees": pd.DataFrame({"tree": ["T1", "T2"], "clone": ["H1", None]})}
LOG_HEADER = (
    "log,tree,bottom_m,length_m,sed1_mm,led1_mm,sed2_mm,led2_mm,heart_sed_mm,heart_led_mm,sections_mm\n"
)
BOARD_HEADER = "board,log,thickness_mm,width_mm,length_m,flitch,nominal_thickness_mm,dry_width_mm\n"


def logs(*rows: str, known: dict[str, pd.DataFrame] | None = None) -> Checked:
    return check_file((LOG_HEADER + "\n".join(rows)).encode(), "logs.csv", LOGS, known or {})


def boards(*rows: str, logs: pd.DataFrame | None = None, stored: pd.DataFrame | None = None) -> Checked:
    known = {name: frame for name, frame in (("logs", logs), ("stored_boards", stored)) if frame is not None}
    return check_file((BOARD_HEADER + "\n".join(rows)).encode(), "boards.csv", BOARDS, known)


def places(result: Checked) -> list[tuple[int | None, str | None]]:
    return [(problem.row, problem.column) for problem in result.problems]


def test_sound_logs_are_taken_whole():
    result = logs("L1,T1,0.3,4.1,240,280,238,276,96,128,280;262;240", "L2,T1,4.4,4,210,240,,,,,", known=TREES)
    assert (result.problems, result.notes) == ([], [])


def test_heartwood_thicker_than_its_log_is_a_problem():
    result = logs("L1,T1,0.3,4.1,240,280,230,,241,300,", "L2,T1,4.4,4,240,280,245,,244,280,")
    assert places(result) == [(2, "heart_sed_mm"), (2, "heart_led_mm")]
    assert result.problems[0].expected == "at most the log's own diameter at that end (240 mm)"


@pytest.mark.parametrize("sections", ["420", "420;x", "420;-1", "420 360", "0;0"])
def test_a_list_of_sections_nobody_can_read_is_a_problem(sections: str):
    assert places(logs(f"L1,T1,0.3,4.1,240,280,,,,,{sections}")) == [(2, "sections_mm")]


def test_a_tree_that_is_unknown_or_has_no_clone_is_a_problem():
    result = logs("L1,T1,0,4,240,280,,,,,", "L2,T2,0,4,240,280,,,,,", "L3,T3,0,4,240,280,,,,,", known=TREES)
    assert places(result) == [(3, "tree"), (4, "tree")]
    assert result.problems[0].found == "T2, a tree without a clone"


@pytest.mark.parametrize("length", ["13.5", "0", "-4"])
def test_a_length_that_cannot_be_is_a_problem(length: str):
    assert places(logs(f"L1,T1,0.3,{length},240,280,,,,,")) == [(2, "length_m")]


def test_what_is_odd_but_possible_is_a_note():
    result = logs(
        "L1,T1,0.3,4,240,280,,,,,",
        "L2,T1,4.2,4,230,250,,,,,",  # 10 cm into L1
        "L3,T1,8.18,4,230,240,,,,,",  # 2 cm into L2: within the allowance
        "L4,T2,0,4,290,280,,,,,",  # wrong way round by 10 mm
        "L5,T2,4,2,100,200,,,,,",  # 50 mm per m
    )
    assert result.problems == []
    assert result.notes == [
        "log begins below the top of the one under it in the same tree: row 3",
        "small end thicker than the large end: row 5",
        "taper above 40 mm per m: row 6",
    ]


def test_more_board_than_log_is_a_problem_of_every_board_of_that_log():
    # 50 x 200 x 4 m = 0.04 m³ a board; L1 has room for two, L2 for one.
    known = pd.DataFrame({"log": ["L1", "L2"], "volume_m3": [0.08, 0.05]})
    result = boards(
        "K1,L1,50,200,4,,,", "K2,L2,50,200,4,,,", "K3,L1,50,200,4,,,", "K4,L2,50,200,4,,,", logs=known
    )
    assert places(result) == [(3, "log"), (5, "log")]
    assert result.problems[0].found == "0.0800 m³ of boards from log L2 of 0.0500 m³"
    assert result.accepted["board"].tolist() == ["K1", "K3"]


def test_boards_stored_already_count_towards_the_volume():
    known = pd.DataFrame({"log": ["L1", "L2"], "volume_m3": 0.08})
    stored = pd.DataFrame({"board": ["K8", "K9"], "log": ["L1", "L9"], "volume_m3": [0.06, 0.06]})
    result = boards("K1,L1,50,200,4,,,", "K2,L2,50,200,4,,,", logs=known, stored=stored)
    assert places(result) == [(2, "log")]
    assert result.problems[0].found == "0.1000 m³ of boards from log L1 of 0.0800 m³"


def test_a_board_sent_again_counts_once():
    known = pd.DataFrame({"log": ["L1"], "volume_m3": [0.05]})
    stored = pd.DataFrame({"board": ["K1"], "log": ["L1"], "volume_m3": [0.04]})
    assert boards("K1,L1,50,200,4,,,", logs=known, stored=stored).problems == []


def test_a_held_board_does_not_count_towards_the_volume():
    known = pd.DataFrame({"log": ["L1"], "volume_m3": [0.05]})
    assert places(boards("K1,L1,50,200,4,,,", "K2,L1,50,200,x,,,", logs=known)) == [(3, "length_m")]


def test_flitches_may_be_numbered_anew_in_each_log():
    result = boards("K1,L1,50,200,4,1,,", "K2,L2,50,200,4,1,,")
    assert result.problems == []
    assert result.accepted["flitch"].tolist() == ["1", "1"]


def test_boards_longer_than_their_log_and_sizes_above_the_green_ones_are_notes():
    known = pd.DataFrame({"log": ["L1"], "length_m": [4.0]})
    result = boards("K1,L1,28,200,4.04,,25,196", "K2,L1,28,200,4.06,,29,", "K3,L1,28,200,4,,,201", logs=known)
    assert result.problems == []
    assert result.notes == [
        "board longer than its log by more than 50 mm: row 3",
        "nominal size above the actual green size: row 3",
        "dry size above the green size: row 4",
    ]

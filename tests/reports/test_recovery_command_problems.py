"""`manage.py recovery FOLDER`: problems are all named and stop the computing, or are held and left out."""

import math
from pathlib import Path

import pytest

from tests.conftest import BOARDS, CLONES, GRADES, LAYOUT, LOGS, PRICES
from tests.reports.headless import recovery, write
from tests.reports.test_recovery_command import TOP

PROBLEMS: dict[str, tuple[dict[str, str | None], tuple[str, int, str], str]] = {
    "a grade without a price": (
        {"prices": PRICES.replace("look,Out,0,,,EUR\n", "")},
        ("grades.csv", 5, "grade"),
        "Out",
    ),
    "no price at its width": (
        {"prices": PRICES.replace("look,Fine,300,,200,EUR\n", "")},
        ("grades.csv", 4, "grade"),
        "Fine",
    ),
    "a graded piece larger than its board": (
        {"grades": GRADES.replace("look,Fine,2.7,200", "look,Fine,3.1,200")},
        ("grades.csv", 2, "graded_length_m"),
        "3.1",
    ),
    "two grades of one board in one rule set": (
        {"grades": GRADES + "B1,look,Plain,,\n"},
        ("grades.csv", 6, "board"),
        "B1",
    ),
    "more board volume than log volume": (
        {"boards": BOARDS.replace("B4,L2,28,150,3", "B4,L2,280,190,3")},
        ("logs.csv", 3, "log"),
        "L2",
    ),
    "a tree without a clone": (
        {"layout": LAYOUT.replace("S,1,2,K2,", "S,1,2,,")},
        ("layout.csv", 3, "clone"),
        "",
    ),
    "a clone nobody knows": (
        {"layout": LAYOUT.replace("S,1,2,K2,", "S,1,2,K9,")},
        ("layout.csv", 3, "clone"),
        "K9",
    ),
    "a tree twice": ({"layout": LAYOUT + "S,2,5,K1,S-1-1,9,9\n"}, ("layout.csv", 6, "tree"), "S-1-1"),
    "a log twice": ({"logs": LOGS + "L1,S-1-2,4.3,3,260,280\n"}, ("logs.csv", 5, "log"), "L1"),
    "a board twice": ({"boards": BOARDS + "B1,L3,28,100,3,9\n"}, ("boards.csv", 9, "board"), "B1"),
    "a clone twice": ({"clones": CLONES + "k1,hybrid\n"}, ("clones.csv", 5, "clone"), "k1"),
}


@pytest.mark.parametrize("name", PROBLEMS)
def test_each_kind_of_problem_is_named_and_stops_the_computing(tmp_path: Path, name: str) -> None:
    changes, place, found = PROBLEMS[name]
    run = recovery(write(tmp_path, **changes), "--json")
    assert run.code == 1
    assert set(run.answer) == {"problems", "notes"}
    problem = run.answer["problems"][run.places.index(place)]
    assert found in problem["found"]
    assert problem["expected"]


@pytest.mark.parametrize("name", PROBLEMS)
def test_held_rows_stay_listed_and_the_rest_is_computed(tmp_path: Path, name: str) -> None:
    changes, place, _ = PROBLEMS[name]
    run = recovery(write(tmp_path, **changes), "--json", "--hold")
    assert run.code == 0
    assert place in run.places
    assert set(run.answer) >= TOP
    assert 0 < run.answer["green_recovery"] < 1


def test_what_is_held_is_left_out_of_the_figures(tmp_path: Path) -> None:
    """Without the row of L3 there are L1 and L2 and their five boards: 0.05964 of 0.40044 m3, by hand."""
    run = recovery(write(tmp_path, logs=LOGS.replace("L3,S-1-2", "L3,S-9-9")), "--json", "--hold")
    assert run.places == [
        ("logs.csv", 4, "tree"),
        ("boards.csv", 7, "log"),
        ("boards.csv", 8, "log"),
        ("grades.csv", 5, "board"),
    ]
    log_m3 = math.pi / 8 * 3 * (0.3**2 + 0.33**2 + 0.25**2 + 0.28**2)
    green_m3 = 0.028 * (0.2 * 3 + 0.22 * 3 + 0.18 * 2.4 + 0.15 * 3 + 0.17 * 3)
    assert run.answer["green_recovery"] == pytest.approx(green_m3 / log_m3)
    assert set(run.answer["by_clone"]) == {"K1"}


def test_a_missing_file_cannot_be_held(tmp_path: Path) -> None:
    run = recovery(write(tmp_path, boards=None), "--json", "--hold")
    assert run.code == 1
    assert run.places[0][0] == "boards"


def test_without_prices_there_is_no_value_and_no_problem(tmp_path: Path) -> None:
    run = recovery(write(tmp_path, prices=None), "--json")
    assert run.code == 0
    assert run.answer["best_use"] == {"value": None, "value_per_m3_log": None}
    assert run.answer["graded"]["look"]["value"] is None
    assert run.answer["graded"]["look"]["graded_recovery"] > 0

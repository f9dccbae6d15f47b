"""`manage.py grade`: from files of features and boards to grades and best pieces, without a database."""

from __future__ import annotations

import io
import json
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from django.core.management import execute_from_command_line
from django.db import connections

from tests.reports.headless import ROOT, Run

SAMPLE = ROOT / "fixtures" / "grading_sample"
KEYS = {
    "board",
    "grade",
    "from_mm",
    "to_mm",
    "graded_length_m",
    "graded_width_mm",
    "from_edge_mm",
    "deciding_feature",
    "value",
    "pieces",
    "not_assessed",
    "provisional_grade",
    "provisional_pieces",
    "whole_board_grade",
    "reasons",
}
BOARDS = "board,log,thickness_mm,width_mm,length_m\nK1,L,28,150,3.0\nK2,L,28,150,0.6\n"
FEATURES = "board,kind,face,x_mm,y_mm,width_mm\nK1,dead_knot,face1,1040,75,32\n"


def grade(*words: Any) -> Run:
    out, err, code = io.StringIO(), io.StringIO(), 0
    # At its end a command closes all connections, those of the tests around it too.
    kept_open = patch.object(connections, "close_all")
    with redirect_stdout(out), redirect_stderr(err), kept_open:
        try:
            execute_from_command_line(["manage.py", "grade", *map(str, words)])
        except SystemExit as end:
            code = int(end.code or 0)
    return Run(code, out.getvalue(), err.getvalue())


@pytest.fixture
def files(tmp_path: Path) -> tuple[Any, ...]:
    (tmp_path / "boards.csv").write_text(BOARDS)
    (tmp_path / "features.csv").write_text(FEATURES)
    return tmp_path / "features.csv", "--boards", tmp_path / "boards.csv", "--rule-set", "trial_appearance"


def test_one_object_with_an_answer_for_each_board(files: tuple[Any, ...]) -> None:
    run = grade(*files, "--assessed", "all", "--json")
    assert (run.code, run.err) == (0, "")
    assert run.out.strip().count("\n") == 0
    first, second = run.answer["boards"]
    assert set(first) == KEYS
    assert (first["board"], first["grade"]) == ("K1", "Clear")
    assert (first["from_mm"], first["to_mm"]) == (1100.0, 3000.0), (
        "a knot of 32 mm at 1040 mm ends at 1056 mm"
    )
    assert first["graded_length_m"] == 1.9
    assert first["deciding_feature"]["row"] == 2
    assert first["value"] is None
    assert (second["grade"], second["pieces"]) == ("Reject", []), "0.6 m is no piece"
    assert run.answer["cautions"] == ["C5"]
    assert run.answer["problems"] == []


def test_for_people_the_cautions_come_first_and_a_line_for_each_board(files: tuple[Any, ...]) -> None:
    run = grade(*files, "--assessed", "all")
    assert run.code == 0
    assert "Not a certified, licensed or marked grade" in run.out.split("\n\n")[0]
    assert "K1: Clear; 1.9 m × 150 mm from 1100 to 3000 mm" in run.out
    assert "decided by dead knot 32 mm at 1040 mm on face1" in run.out
    assert "K2: Reject" in run.out


def test_what_was_not_looked_for_is_said(files: tuple[Any, ...]) -> None:
    run = grade(*files)
    assert "K1: grade not said" in run.out
    assert "Clear if nothing is found; not assessed: check, split" in run.out


def test_limits_from_memory_stand_under_their_caution(files: tuple[Any, ...]) -> None:
    run = grade(*files[:-1], "bs4978", "--assessed", "all", "--json")
    assert run.answer["cautions"] == ["C5", "C6", "C12"]


def test_the_sample_of_the_readme_by_value() -> None:
    words = (SAMPLE / "features.csv", "--boards", SAMPLE / "boards.csv", "--rule-set", "trial_appearance")
    run = grade(*words, "--assessed", "all", "--prices", SAMPLE / "prices.csv", "--json")
    assert (run.code, run.err) == (0, "")
    answer = {b["board"]: b for b in run.answer["boards"]}
    assert len(answer) == 6
    clean = answer["1646698583"]
    assert clean["value"] == pytest.approx(780 * 3.0 * 0.275 * 0.025), "the whole board at its nominal size"
    assert sum(line["boards"] for line in run.answer["summary"]) == 6
    total = sum(b["value"] for b in answer.values())
    assert sum(line["value"] or 0 for line in run.answer["summary"]) == pytest.approx(total)
    assert all(p["grade"] == b["grade"] for b in answer.values() for p in b["pieces"])


def test_a_list_for_every_rule_set_serves(files: tuple[Any, ...]) -> None:
    """The demo's price list has rows of two rule sets."""
    run = grade(*files, "--assessed", "all", "--prices", ROOT / "fixtures" / "demo" / "prices.csv", "--json")
    assert run.code == 0
    assert run.answer["boards"][0]["value"] > 0


@pytest.mark.parametrize(
    ("boards", "features", "places"),
    [
        (BOARDS, FEATURES + "K1,gnarl,face1,5,5,5\nK7,pith,face1,5,5,5\n", {(3, "kind"), (4, "board")}),
        (BOARDS, FEATURES.replace("1040", "4040"), {(2, "x_mm")}),
        (BOARDS.replace("150,3.0", "-150,3.0"), FEATURES, {(2, "width_mm"), (2, "board")}),
        (BOARDS, "kind,face\npith,face1\n", {(1, "board"), (None, "board")}),
        (BOARDS.replace("K2,", "K1,"), FEATURES, {(3, "board")}),
        ("", FEATURES, {(None, None), (2, "board")}),
    ],
)
def test_problems_end_with_one_and_all_are_listed(
    tmp_path: Path, boards: str, features: str, places: set[tuple[int | None, str | None]]
) -> None:
    (tmp_path / "b.csv").write_text(boards)
    (tmp_path / "f.csv").write_text(features)
    words = (tmp_path / "f.csv", "--boards", tmp_path / "b.csv", "--rule-set", "trial_appearance")
    run = grade(*words, "--json")
    assert run.code == 1
    assert {(row, column) for _, row, column in run.places} <= places
    assert run.places
    assert "nothing was graded" in run.err
    assert "expected" in run.err


def test_held_rows_are_left_out_and_listed_when_asked(tmp_path: Path, files: tuple[Any, ...]) -> None:
    files[0].write_text(FEATURES + "K1,gnarl,face1,5,5,5\n")
    run = grade(*files, "--assessed", "all", "--hold", "--json")
    assert run.code == 0
    assert [p["row"] for p in run.answer["problems"]] == [3]
    assert "held: features.csv, row 3, kind" in grade(*files, "--hold").err


def test_faulty_prices_are_problems(tmp_path: Path, files: tuple[Any, ...]) -> None:
    listed = tmp_path / "prices.csv"
    listed.write_text(
        "rule_set,grade,price_per_m3,min_width_mm,max_width_mm\n"
        "trial_appearance,Clear,700,,\ntrial_appearance,Clear,900,100,\ntrial_appearance,Z,1,,\n"
    )
    run = grade(*files, "--prices", listed, "--json")
    assert run.code == 1
    assert run.places == [("prices.csv", 3, "min_width_mm"), ("prices.csv", 4, "grade")]
    listed.write_text("rule_set,grade,price_per_m3\nother,Clear,700\n")
    assert grade(*files, "--prices", listed).code == 1


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--rule-set", "nonesuch"], "no rule set"),
        (["--rule-set", "nonesuch.toml"], "is no file"),
        (["--rule-set", "trial_appearance", "--assessed", "gnarls"], "no kind of feature"),
        (["--rule-set", "trial_appearance", "--by", "value"], "needs prices"),
        (["--rule-set", "trial_appearance", "--prices", "nowhere.csv"], "is no file"),
    ],
)
def test_wrong_use_ends_with_two(files: tuple[Any, ...], words: list[str], says: str) -> None:
    run = grade(*files[:3], *words)
    assert run.code == 2
    assert says in run.err


def test_a_set_without_limits_cannot_grade(files: tuple[Any, ...]) -> None:
    run = grade(*files[:-1], "en1611_1_g4")
    assert run.code == 1
    assert "limits not filled in" in run.err


def test_a_document_of_ones_own_is_taken_by_its_path(tmp_path: Path, files: tuple[Any, ...]) -> None:
    text = (ROOT / "fixtures/rule_sets/trial_appearance.toml").read_text(encoding="utf-8")
    own = tmp_path / "mine.toml"
    own.write_text(text.replace('code = "trial_appearance"', 'code = "mine"'), encoding="utf-8")
    assert json.loads(grade(*files[:-1], own, "--assessed", "all", "--json").out)["rule_set"] == "mine"
    own.write_text(text.replace("length_module_mm = 100", "length_module_mm = 0"), encoding="utf-8")
    run = grade(*files[:-1], own)
    assert run.code == 2
    assert "length_module_mm" in run.err

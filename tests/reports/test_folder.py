"""A folder of files: found by name, checked one after the other and against each other; bad rows are held."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from reports.calc.folder import FolderData, FolderOptions, read_folder

CLONES = ["clone,kind", "H1,hybrid", "H2,hybrid"]
LAYOUT = ["site,block,plot,clone,tree,row,col", "AR,1,1,H1,T1,1,1", "AR,1,2,H2,T2,1,2", "AR,1,3,H2,T3,1,3"]
# Smalian on 200 and 200 mm over 4 m: pi/4 0.2² x 4 = 0.1257 m³.
LOGS = [
    "log,tree,bottom_m,length_m,sed1_mm,led1_mm",
    "L1,T1,0.3,4,200,200",
    "L2,T1,4.4,4,200,200",
    "L3,T2,0.3,4,200,200",
]
# 50 x 100 x 4 m = 0.02 m³ a board.
BOARDS = [
    "board,log,thickness_mm,width_mm,length_m",
    "K1,L1,50,100,4",
    "K2,L1,50,100,4",
    "K3,L2,50,100,4",
    "K4,L3,50,100,4",
]
GRADES = [
    "board,rule_set,grade,graded_length_m,graded_width_mm",
    "K1,look,A,3.5,95",
    "K1,frame,F1,,",
    "K2,look,B,,",
    "K3,look,A,,",
    "K4,look,A,,",
]
PRICES = [
    "rule_set,grade,price_per_m3,min_width_mm,max_width_mm,currency",
    "look,A,600,,150,EUR",
    "look,B,400,,,EUR",
    "frame,F1,300,,,EUR",
]
FILES = {
    "clones": CLONES,
    "layout": LAYOUT,
    "logs": LOGS,
    "boards": BOARDS,
    "grades": GRADES,
    "prices": PRICES,
}


def write(folder: Path, changes: dict[str, list[str] | None] | None = None) -> Path:
    """The sound folder with some files changed, or left out where the change is None."""
    for name, rows in {**FILES, **(changes or {})}.items():
        if rows is not None:
            (folder / f"{name}.csv").write_text("\n".join(rows) + "\n")
    return folder


def with_row(name: str, row: str) -> dict[str, list[str] | None]:
    """One more row at the end of a file."""
    return {name: [*FILES[name], row]}


def places(data: FolderData) -> list[tuple[str, int | None, str | None]]:
    return [(problem.file, problem.row, problem.column) for problem in data.problems]


def test_a_sound_folder_gives_all_frames_without_problems(tmp_path: Path):
    data = read_folder(write(tmp_path))
    assert (data.problems, data.notes, data.missing) == ([], [], ())
    assert data.trees.to_dict("list") == {
        "tree": ["T1", "T2", "T3"],
        "clone": ["H1", "H2", "H2"],
        "site": ["AR"] * 3,
        "block": ["1"] * 3,
        "plot": ["1", "2", "3"],
    }
    assert data.logs["log"].tolist() == ["L1", "L2", "L3"]
    assert data.boards["board"].tolist() == ["K1", "K2", "K3", "K4"]
    assert len(data.grades) == 5
    assert data.prices["price_per_m3"].tolist() == [600, 400, 300]
    assert data.files["boards"] == "boards.csv"


KINDS_OF_PROBLEM = {
    "grade_without_price": (with_row("grades", "K4,frame,F9,,"), [("grades.csv", 7, "grade")]),
    "grade_without_price_at_its_width": (
        {"prices": [PRICES[0], "look,A,600,,95,EUR", *PRICES[2:]]},
        [("grades.csv", 2, "grade"), ("grades.csv", 5, "grade"), ("grades.csv", 6, "grade")],
    ),
    "piece_larger_than_its_board": (
        with_row("grades", "K4,frame,F1,4.5,120"),
        [("grades.csv", 7, "graded_length_m"), ("grades.csv", 7, "graded_width_mm")],
    ),
    "two_grades_in_one_rule_set": (with_row("grades", "K4,look,B,,"), [("grades.csv", 7, "board")]),
    "more_boards_than_log": (
        with_row("boards", "K5,L3,100,300,4"),
        [
            ("logs.csv", 4, "log"),
            ("boards.csv", 5, "log"),
            ("boards.csv", 6, "log"),
            ("grades.csv", 6, "board"),
        ],
    ),
    "tree_without_a_clone": (
        {"layout": [*LAYOUT[:2], "AR,1,2,,T2,1,2", LAYOUT[3]]},
        [
            ("layout.csv", 3, "clone"),
            ("logs.csv", 4, "tree"),
            ("boards.csv", 5, "log"),
            ("grades.csv", 6, "board"),
        ],
    ),
    "tree_not_in_the_layout": (with_row("logs", "L4,T9,0,4,200,200"), [("logs.csv", 5, "tree")]),
    "duplicate_log": (with_row("logs", "L1,T2,0,4,200,200"), [("logs.csv", 5, "log")]),
    "duplicate_board": (with_row("boards", "K1,L3,50,100,4"), [("boards.csv", 6, "board")]),
    "duplicate_tree": (with_row("layout", "AR,1,3,H2,T3,1,4"), [("layout.csv", 5, "tree")]),
    "unknown_log": (with_row("boards", "K5,L9,50,100,4"), [("boards.csv", 6, "log")]),
    "unknown_board": (with_row("grades", "K9,look,A,,"), [("grades.csv", 7, "board")]),
    "negative_size": (with_row("boards", "K5,L1,-50,100,4"), [("boards.csv", 6, "thickness_mm")]),
    "overlapping_prices": (with_row("prices", "look,A,650,140,,EUR"), [("prices.csv", 5, "min_width_mm")]),
    "volume_that_cannot_be_computed": (
        {"logs": [f"{LOGS[0]},bark", *(f"{row}," for row in LOGS[1:]), "L4,T3,0,4,200,200,over"]},
        [("logs.csv", 5, "bark")],
    ),
}


@pytest.mark.parametrize("name", KINDS_OF_PROBLEM)
def test_each_kind_of_problem_is_found_with_file_row_and_column_and_the_rest_is_left(
    name: str, tmp_path: Path
):
    changes, expected = KINDS_OF_PROBLEM[name]
    data = read_folder(write(tmp_path, changes))
    assert places(data) == expected
    held = {
        file.removesuffix(".csv"): {row for f, row, _ in expected if f == file} for file, _, _ in expected
    }
    for kind, frame in (("logs", data.logs), ("boards", data.boards), ("grades", data.grades)):
        rows = len(changes.get(kind) or FILES[kind]) - 1
        assert set(frame["_row"]) == set(range(2, rows + 2)) - held.get(kind, set())


def test_boards_of_a_held_log_say_so(tmp_path: Path):
    data = read_folder(write(tmp_path, with_row("boards", "K5,L3,100,300,4")))
    log, board, _, grade = data.problems
    assert log.found == board.found == "0.1400 m³ of boards from log L3 of 0.1257 m³"
    assert "board K4 is itself held (boards.csv row 5)" in grade.expected


def test_all_problems_of_all_files_are_told_at_once(tmp_path: Path):
    changes = {
        **with_row("boards", "K5,L9,50,100,x"),
        **with_row("logs", "L5,T1,0,99,200,200"),
        **with_row("grades", "K1,look,A,,"),
    }
    data = read_folder(write(tmp_path, changes))
    assert places(data) == [
        ("logs.csv", 5, "length_m"),
        ("boards.csv", 6, "log"),
        ("boards.csv", 6, "length_m"),
        ("grades.csv", 7, "board"),
    ]


@pytest.mark.parametrize("name", ["logs", "boards"])
def test_logs_and_boards_are_required(name: str, tmp_path: Path):
    data = read_folder(write(tmp_path, {name: None}))
    (problem,) = [p for p in data.problems if p.file == name]
    assert (problem.row, problem.column) == (None, None)
    assert f"a file {name}.csv or {name}.xlsx" in problem.expected
    assert data.missing == (name,)


def test_without_layout_the_trees_come_from_the_logs(tmp_path: Path):
    data = read_folder(write(tmp_path, {"layout": None, "clones": None}))
    assert data.problems == []
    assert data.trees["tree"].tolist() == ["T1", "T2"]
    assert data.trees["clone"].tolist() == [None, None]
    assert "no layout read" in data.notes[0]


def test_without_prices_grades_need_none(tmp_path: Path):
    data = read_folder(write(tmp_path, {**with_row("grades", "K4,frame,F9,,"), "prices": None}))
    assert data.problems == []
    assert data.prices.empty
    assert len(data.grades) == 6


def test_without_grades_there_is_still_a_green_recovery_to_compute(tmp_path: Path):
    data = read_folder(write(tmp_path, {"grades": None, "prices": None}))
    assert data.problems == []
    assert data.grades.empty
    assert "graded_length_m" in data.grades


def test_grades_are_read_in_the_spelling_of_the_prices(tmp_path: Path):
    data = read_folder(write(tmp_path, with_row("grades", "K4,Frame,f1,,")))
    assert data.problems == []
    assert data.grades.iloc[-1][["rule_set", "grade"]].tolist() == ["frame", "F1"]
    assert "grades.csv: 1 grades read in the spelling of the price list" in data.notes


def as_workbook(rows: list[str]) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append([float(c) if c.replace(".", "").isdigit() else c or None for c in row.split(",")])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def test_files_are_found_by_a_word_of_their_name_in_any_case_and_either_format(tmp_path: Path):
    write(tmp_path, {"boards": None, "logs": None})
    (tmp_path / "Mill-BOARDS_2026.XLSX").write_bytes(as_workbook(BOARDS))
    (tmp_path / "2026 logs.csv").write_text("\n".join(LOGS))
    (tmp_path / "~$boards.xlsx").write_bytes(b"a lock")
    (tmp_path / "notes.txt").write_text("hello")
    (tmp_path / "logs and boards.csv").write_text("both")
    data = read_folder(tmp_path)
    assert data.problems == []
    assert data.files["boards"] == "Mill-BOARDS_2026.XLSX"
    assert data.files["logs"] == "2026 logs.csv"
    assert data.notes == ["not read: logs and boards.csv, notes.txt"]


def test_two_files_of_one_kind_are_asked_about(tmp_path: Path):
    write(tmp_path)
    (tmp_path / "boards.xlsx").write_bytes(as_workbook(BOARDS))
    data = read_folder(tmp_path)
    (problem,) = [p for p in data.problems if p.file == "boards"]
    assert problem.found == "several files of boards: boards.csv, boards.xlsx"


def test_an_unreadable_file_is_one_problem_and_does_not_accuse_the_others(tmp_path: Path):
    write(tmp_path)
    (tmp_path / "logs.csv").write_bytes(b"\x89PNG\r\n\x1a\n")
    data = read_folder(tmp_path)
    assert places(data) == [("logs.csv", None, None)]
    assert data.missing == ("logs",)
    assert len(data.boards) == 4


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        (
            FolderOptions(size_basis="nominal"),
            [("boards.csv", row, "nominal_thickness_mm") for row in range(2, 6)],
        ),
        (FolderOptions(log_volume="huber"), [("logs.csv", row, "mid1_mm") for row in range(2, 5)]),
    ],
)
def test_what_the_chosen_formula_or_size_needs_must_be_there(
    options: FolderOptions, expected: list[tuple[str, int, str]], tmp_path: Path
):
    assert set(expected) <= set(places(read_folder(write(tmp_path), options)))


def test_a_bark_factor_makes_logs_over_bark_computable(tmp_path: Path):
    changes, _ = KINDS_OF_PROBLEM["volume_that_cannot_be_computed"]
    assert read_folder(write(tmp_path, changes), FolderOptions(bark_factor=0.9)).problems == []


@pytest.mark.parametrize("make", [lambda path: path / "gone", lambda path: write(path) / "logs.csv"])
def test_what_is_no_folder_is_refused(make: Callable[[Path], Path], tmp_path: Path):
    with pytest.raises(NotADirectoryError, match="is not a folder"):
        read_folder(make(tmp_path))

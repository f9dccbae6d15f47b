"""`manage.py recovery FOLDER`: from files to figures without a database."""

import math
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
import pytest

from tests.conftest import BOARDS, GRADES, LOGS
from tests.reports.headless import DEMO, Run, recovery, recovery_apart, write

TOP = {
    "log_volume_formula",
    "log_volume_m3",
    "green_volume_m3",
    "green_recovery",
    "graded",
    "best_use",
    "by_clone",
    "by_tree",
    "by_log",
    "problems",
}
SAME_FIGURES = {"log_volume_m3", "green_volume_m3", "green_recovery", "graded", "best_use"}
GRADED = {"graded_volume_m3", "graded_recovery", "by_grade", "value", "value_per_m3_log", "currency"}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: Any) -> tuple[Run, Path]:
    """The demo folder through a process of its own, with an empty home; and that home afterwards."""
    home = tmp_path_factory.mktemp("home")
    return recovery_apart(home, DEMO, "--json"), home


@pytest.fixture(scope="module")
def answer(demo: tuple[Run, Path]) -> dict[str, Any]:
    return demo[0].answer


# As a person runs it --------------------------------------------------------------------------------------


def test_the_demo_computes_without_a_database(demo: tuple[Run, Path]) -> None:
    run, home = demo
    assert (run.code, run.err) == (0, "")
    assert run.answer["problems"] == []
    assert run.out.strip().startswith("{")
    assert run.out.strip().count("\n") == 0  # one object, on one line
    assert not (home / "postgres").exists()
    assert not list(home.rglob("PG_VERSION"))


def test_problems_end_with_one_and_are_all_listed(tmp_path: Path) -> None:
    home = tmp_path / "home"
    folder = tmp_path / "files"
    folder.mkdir()
    write(folder, grades=GRADES + "B1,look,Plain,,\nB7,look,Wonder,,\n")
    run = recovery_apart(home, folder, "--json")
    assert run.code == 1
    assert set(run.answer) == {"problems", "notes"}
    assert [p[:2] for p in run.places] == [("grades.csv", 6), ("grades.csv", 7)]
    assert "2\xa0problems; nothing was computed" in run.err
    assert not (home / "postgres").exists()


def test_wrong_use_ends_with_two_and_says_nothing_on_stdout(tmp_path: Path) -> None:
    run = recovery_apart(tmp_path / "home", tmp_path / "nowhere", "--json")
    assert (run.code, run.out) == (2, "")
    assert "nowhere" in run.err
    assert "Traceback" not in run.err


# What the object holds ------------------------------------------------------------------------------------


def test_the_keys_are_those_promised(answer: dict[str, Any]) -> None:
    assert set(answer) >= TOP
    for graded in answer["graded"].values():
        assert set(graded) >= GRADED
        for grade in graded["by_grade"].values():
            assert set(grade) == {"boards", "volume_m3", "share"}
    assert set(answer["best_use"]) == {"value", "value_per_m3_log"}
    for clone in answer["by_clone"].values():
        assert set(clone) >= SAME_FIGURES | {"trees", "logs", "boards", "ci95"}
        assert set(clone["ci95"]) >= {"green_recovery", "graded_recovery", "value_per_m3_log"}
        assert set(clone["ci95"]["graded_recovery"]) == set(answer["graded"])
        low, high = clone["ci95"]["green_recovery"]
        assert low <= clone["green_recovery"] <= high
    for level in ("by_tree", "by_log"):
        for unit in answer[level].values():
            assert set(unit) >= SAME_FIGURES | {"boards"}
    assert (len(answer["by_clone"]), len(answer["by_tree"]), len(answer["by_log"])) == (3, 16, 48)


def test_problems_have_file_row_column_found_and_expected(tmp_path: Path) -> None:
    run = recovery(write(tmp_path, boards=BOARDS + "B8,L9,28,100,3,\n"), "--json")
    (problem,) = run.answer["problems"]
    assert set(problem) == {"file", "row", "column", "found", "expected"}
    assert (problem["file"], problem["row"], problem["column"], problem["found"]) == (
        "boards.csv",
        9,
        "log",
        "L9",
    )


# Against a little computation of this test's own ----------------------------------------------------------


def demo_logs() -> pd.DataFrame:
    rows = list(openpyxl.load_workbook(DEMO / "logs.xlsx").active.iter_rows(values_only=True))
    logs = pd.DataFrame(rows[2:], columns=[str(name).lower() for name in rows[1]])
    clones = pd.read_csv(DEMO / "layout.csv").set_index("tree")["clone"]
    assert set(logs["bark"]) == {"under"}
    areas = [math.pi / 4 * logs[f"{end}1_mm"] * logs[f"{end}2_mm"] / 1e6 for end in ("sed", "led")]
    return logs.assign(clone=logs["tree"].map(clones), log_m3=(areas[0] + areas[1]) / 2 * logs["length_m"])


def demo_pieces() -> pd.DataFrame:
    """One row per board and rule set: graded volume and value, each price picked row by row."""
    boards = pd.read_csv(DEMO / "boards.csv", dtype={"board": str})
    grades = pd.read_csv(DEMO / "grades.csv", dtype={"board": str})
    prices = pd.read_csv(DEMO / "prices.csv").to_dict("records")
    pieces = grades.merge(boards, on="board").merge(demo_logs()[["log", "tree", "clone"]], on="log")
    sizes = {n: pieces[f"graded_{n}"].fillna(pieces[n]) for n in ("length_m", "width_mm", "thickness_mm")}
    pieces["graded_m3"] = sizes["length_m"] * sizes["width_mm"] * sizes["thickness_mm"] / 1e6

    def price(rule_set: str, grade: str, width: float) -> float:
        (found,) = (
            row["price_per_m3"]
            for row in prices
            if (row["rule_set"], row["grade"]) == (rule_set, grade)
            and (np.isnan(row["min_width_mm"]) or row["min_width_mm"] <= width)
            and (np.isnan(row["max_width_mm"]) or width < row["max_width_mm"])
        )
        return float(found)

    picked = map(price, pieces["rule_set"], pieces["grade"], sizes["width_mm"])
    return pieces.assign(value=pieces["graded_m3"] * list(picked))


def test_the_figures_are_those_of_a_plain_computation(answer: dict[str, Any]) -> None:
    """Smalian with the geometric mean of two readings; ratios of totals; best use board by board."""
    logs, pieces = demo_logs(), demo_pieces()
    boards = pieces.drop_duplicates("board")
    green = boards["thickness_mm"] * boards["width_mm"] * boards["length_m"] / 1e6
    best = pieces.groupby("board")["value"].max().reindex(boards["board"]).to_numpy()
    boards = boards.assign(green_m3=green, best=best)
    for level, units in (
        ("clone", answer["by_clone"]),
        ("tree", answer["by_tree"]),
        ("log", answer["by_log"]),
    ):
        assert set(units) == set(logs[level])
        for code, figures in units.items():
            check(figures, *(frame[frame[level] == code] for frame in (logs, boards, pieces)))
    check(answer, logs, boards, pieces)
    assert answer["log_volume_formula"] == "smalian"


def check(figures: dict[str, Any], logs: pd.DataFrame, boards: pd.DataFrame, pieces: pd.DataFrame) -> None:
    log_m3 = logs["log_m3"].sum()
    assert (figures["logs"], figures["boards"]) == (len(logs), len(boards))
    assert figures["log_volume_m3"] == pytest.approx(log_m3, rel=1e-12)
    assert figures["green_volume_m3"] == pytest.approx(boards["green_m3"].sum(), rel=1e-12)
    assert figures["green_recovery"] == pytest.approx(boards["green_m3"].sum() / log_m3, rel=1e-12)
    assert figures["best_use"]["value"] == pytest.approx(boards["best"].sum(), rel=1e-12)
    assert figures["best_use"]["value_per_m3_log"] == pytest.approx(boards["best"].sum() / log_m3, rel=1e-12)
    for rule_set, mine in pieces.groupby("rule_set"):
        graded = figures["graded"][rule_set]
        volume = mine["graded_m3"].sum()
        assert graded["graded_volume_m3"] == pytest.approx(volume, rel=1e-12)
        assert graded["graded_recovery"] == pytest.approx(volume / log_m3, rel=1e-12)
        assert graded["value"] == pytest.approx(mine["value"].sum(), rel=1e-12)
        assert graded["value_per_m3_log"] == pytest.approx(mine["value"].sum() / log_m3, rel=1e-12)
        assert graded["currency"] == "EUR"
        for grade, rows in mine.groupby("grade"):
            found = graded["by_grade"][grade]
            assert found["boards"] == len(rows)
            assert found["volume_m3"] == pytest.approx(rows["graded_m3"].sum(), rel=1e-12)
            assert found["share"] == pytest.approx(rows["graded_m3"].sum() / volume, rel=1e-12)
        assert sum(g["boards"] for g in graded["by_grade"].values()) == len(mine)


def test_the_demo_is_plausible(answer: dict[str, Any]) -> None:
    """Common practice, no published source: live-sawn young conifers give near 58 % green, near 51 % graded.

    Bands for plausibility, wide on purpose; the demo is not tuned to them.
    """
    assert 0.45 < answer["green_recovery"] < 0.70
    for graded in answer["graded"].values():
        assert 0.35 < graded["graded_recovery"] < 0.62


def test_the_order_of_rows_and_files_changes_nothing(answer: dict[str, Any], tmp_path: Path) -> None:
    shutil.copytree(DEMO, tmp_path / "demo")
    for name in ("boards", "grades", "layout"):
        path = tmp_path / "demo" / f"{name}.csv"
        head, *rows = path.read_text().splitlines()
        path.write_text("\n".join([head, *reversed(rows)]) + "\n")
    assert recovery(tmp_path / "demo", "--json").answer == answer


# Choices --------------------------------------------------------------------------------------------------

# L1 300/330 mm, 3 m; L2 250/280 mm, 3 m; L3 280/320 mm, 4 m: by hand from the formulae as published.
VOLUMES = {
    "smalian": math.pi / 8 * ((0.3**2 + 0.33**2) * 3 + (0.25**2 + 0.28**2) * 3 + (0.28**2 + 0.32**2) * 4),
    "cone_frustum": math.pi / 12 * (0.2979 * 3 + 0.2109 * 3 + 0.2704 * 4),
    "small_end_cylinder": math.pi / 4 * (0.3**2 * 3 + 0.25**2 * 3 + 0.28**2 * 4),
    "mean_diameter": math.pi / 4 * (0.315**2 * 3 + 0.265**2 * 3 + 0.3**2 * 4),
    "jas": 0.270 + 0.173 + 0.314,  # 30² x 3, 24² x 3, 28² x 4, / 10 000, each to three decimals
}


@pytest.mark.parametrize(("name", "volume"), VOLUMES.items())
def test_the_log_volume_is_the_chosen_one(tmp_path: Path, name: str, volume: float) -> None:
    found = recovery(write(tmp_path), "--json", "--log-volume", name).answer
    assert found["log_volume_formula"] == name
    assert found["log_volume_m3"] == pytest.approx(volume, rel=1e-12)
    assert found["green_recovery"] == pytest.approx(found["green_volume_m3"] / volume)


MIDS = "log,tree,bottom_m,length_m,sed1_mm,led1_mm,mid1_mm\n" + "".join(
    f"{line},{mid}\n" for line, mid in zip(LOGS.splitlines()[1:], (316, 264, 301), strict=True)
)


@pytest.mark.parametrize(
    ("name", "l1"),
    [
        ("huber", math.pi / 4 * 0.316**2 * 3),
        ("newton", math.pi / 4 * (0.3**2 + 4 * 0.316**2 + 0.33**2) / 6 * 3),
    ],
)
def test_formulae_of_the_middle_take_the_middle(tmp_path: Path, name: str, l1: float) -> None:
    found = recovery(write(tmp_path, logs=MIDS), "--json", "--log-volume", name).answer
    assert found["by_log"]["L1"]["log_volume_m3"] == pytest.approx(l1, rel=1e-12)


def test_a_formula_whose_measure_is_missing_is_a_problem_of_each_log(tmp_path: Path) -> None:
    run = recovery(write(tmp_path), "--json", "--log-volume", "huber")
    assert run.code == 1
    assert [p for p in run.places if p[0] == "logs.csv"] == [("logs.csv", n, "mid1_mm") for n in (2, 3, 4)]


def test_bark_is_taken_off_with_a_factor_and_a_problem_without(tmp_path: Path) -> None:
    over = (
        LOGS.replace("led1_mm\n", "led1_mm,bark\n").replace("330\n", "330,over\n").replace("280\n", "280,\n")
    )
    write(tmp_path, logs=over.replace("320\n", "320,under\n"))
    run = recovery(tmp_path, "--json")
    assert run.code == 1
    assert run.places[0] == ("logs.csv", 2, "bark")
    found = recovery(tmp_path, "--json", "--bark-factor", "0.9").answer
    assert found["by_log"]["L1"]["log_volume_m3"] == pytest.approx(
        0.81 * math.pi / 8 * (0.3**2 + 0.33**2) * 3
    )
    assert found["by_log"]["L3"]["log_volume_m3"] == pytest.approx(math.pi / 8 * (0.28**2 + 0.32**2) * 4)


def test_the_size_basis_is_named_and_chosen(tmp_path: Path) -> None:
    """B1 to B7 at 25 mm nominal instead of 28 mm actual: the same widths, so 25/28 of the green volume."""
    boards = BOARDS.replace("flitch\n", "flitch,nominal_thickness_mm,nominal_width_mm\n")
    for line in BOARDS.splitlines()[1:]:
        boards = boards.replace(f"{line}\n", f"{line},25,{line.split(',')[3]}\n")
    write(tmp_path, boards=boards)
    actual = recovery(tmp_path, "--json").answer
    nominal = recovery(tmp_path, "--json", "--size-basis", "nominal").answer
    assert (actual["size_basis"], nominal["size_basis"]) == ("actual_green", "nominal")
    assert nominal["green_volume_m3"] == pytest.approx(actual["green_volume_m3"] * 25 / 28)


@pytest.mark.parametrize(
    "words",
    [
        ["--log-volume", "guess"],
        ["--size-basis", "guess"],
        ["--bark-factor", "0"],
        ["--bark-factor", "1.2"],
        ["--bark-factor", "nan"],
        ["--bark-factor", "thick"],
        ["--resamples", "0"],
        ["--resamples", "99"],
        ["--seed", "-1"],
        ["--rule-sets", "/nowhere/at/all"],
        ["--guess"],
    ],
)
def test_choices_that_are_none_are_wrong_use(tmp_path: Path, words: list[str]) -> None:
    run = recovery(write(tmp_path), "--json", *words)
    assert (run.code, run.out) == (2, "")
    assert run.err
    assert "Traceback" not in run.err


def test_a_seed_and_a_number_of_resamples_can_be_given(tmp_path: Path) -> None:
    write(tmp_path)
    usual, other = (
        recovery(tmp_path, "--json", *words).answer for words in ([], ["--seed", "7", "--resamples", "100"])
    )
    assert (other["seed"], other["resamples"]) == (7, 100)
    assert (usual["resamples"], usual["green_recovery"]) == (2000, other["green_recovery"])


def test_for_people_it_is_text_with_the_formula_and_the_size_basis(tmp_path: Path) -> None:
    run = recovery(write(tmp_path))
    assert run.code == 0
    assert "Smalian" in run.out
    assert "actual green size" in run.out
    assert "K1: 2\xa0trees, 2\xa0logs, 5\xa0boards" in run.out
    assert "value per m³ log, best use" in run.out
    held = recovery(write(tmp_path, boards=BOARDS + "B8,L9,28,100,3,\n"), "--hold")
    assert held.code == 0
    assert "held: boards.csv, row 9, log: found L9" in held.err


def test_without_a_layout_there_are_totals_but_no_clones(tmp_path: Path) -> None:
    whole = recovery(write(tmp_path), "--json").answer
    for name in ("layout", "clones"):
        (tmp_path / f"{name}.csv").unlink()
    found = recovery(tmp_path, "--json").answer
    assert found["problems"] == []
    assert found["by_clone"] == {}
    for name in ("log_volume_m3", "green_recovery", "graded", "best_use"):
        assert found[name] == whole[name]
    assert found["by_log"].keys() == whole["by_log"].keys()
    assert any("no layout" in note for note in found["notes"])


def test_a_header_alone_is_no_price_list(tmp_path: Path) -> None:
    header = "rule_set,grade,price_per_m3,currency\n"
    found = recovery(write(tmp_path, prices=header), "--json").answer
    assert found["problems"] == []
    assert found["best_use"] == {"value": None, "value_per_m3_log": None}


def test_prices_without_grades_give_no_value(tmp_path: Path) -> None:
    found = recovery(write(tmp_path, grades=None), "--json").answer
    assert found["best_use"]["value"] is None

"""`manage.py dock FLITCHES --rules RULES`: from files to plans without a database, every fault named."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from django.core.management import CommandError, call_command

from sawing.calc.dock_rules import KEYS, read_rules

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "fixtures" / "dock"
RULES = "widths_mm = [100, 125, 150, 175, 200]\ngrid_step_mm = 100\nthickness_mm = 25\n"
TAPER = "flitch,x_mm,left_mm,right_mm\nA,0,0,200\nA,4000,0,150\n"
TAPER_VALUE = (175 * 2000 + 150 * 1900) * 25 / 1e9


def docked(folder: Path, flitches: str | bytes, rules: str = RULES, *more: str, name: str = "f.csv") -> Any:
    """The command's JSON answer; with problems a tuple of exit code, answer and error lines."""
    data = flitches.encode() if isinstance(flitches, str) else flitches
    (folder / name).write_bytes(data)
    (folder / "rules.toml").write_text(rules, encoding="utf-8")
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command(
            "dock",
            str(folder / name),
            "--rules",
            str(folder / "rules.toml"),
            "--json",
            *more,
            stdout=out,
            stderr=err,
        )
    except CommandError as error:
        return error.returncode, json.loads(out.getvalue() or "{}"), err.getvalue().splitlines()
    return json.loads(out.getvalue())


def places(answer: tuple[int, dict[str, Any], list[str]]) -> list[tuple[int | None, str | None]]:
    return [(p["row"], p["column"]) for p in answer[1]["problems"]]


def test_the_sample_as_a_person_runs_it() -> None:
    command = [sys.executable, "manage.py", "dock", SAMPLE / "flitches.csv", "--rules", SAMPLE / "rules.toml"]
    environment = {**os.environ, "DATABASE_URL": "postgres://nobody@127.0.0.1:1/none"}
    run = subprocess.run(
        [*map(str, command), "--json"], cwd=ROOT, capture_output=True, text=True, env=environment
    )
    assert (run.returncode, run.stderr) == (0, "")
    found = json.loads(run.stdout)["flitches"]
    assert [f["flitch"] for f in found] == ["2", "3", "6", "7"]
    for flitch in found:
        assert flitch["status"] == "ok"
        assert flitch["value"] == max(flitch["value_by_docks"].values())
        assert 0 < flitch["value"] <= flitch["bound_local"] <= flitch["bound_area"]
        assert flitch["share_of_bound"] == pytest.approx(flitch["value"] / flitch["bound_local"])


def test_bad_usage_ends_with_two(tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "manage.py", "dock", str(SAMPLE / "flitches.csv")],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert run.returncode == 2
    with pytest.raises(CommandError) as refused:
        call_command("dock", str(tmp_path / "none.csv"), "--rules", str(SAMPLE / "rules.toml"))
    assert refused.value.returncode == 2


def test_answers_as_described(tmp_path: Path) -> None:
    answer = docked(tmp_path, TAPER, RULES, "--any-cut")["flitches"][0]
    assert answer["value_by_docks"] == {
        "0": pytest.approx(150 * 4000 * 25 / 1e9),
        "1": pytest.approx(TAPER_VALUE),
    }
    assert answer["volume_m3"] == pytest.approx(TAPER_VALUE)
    assert answer["value"] <= answer["bound_any_cut"] <= answer["bound_area"]
    assert set(answer["boards"][0]) == {
        "start_mm",
        "end_mm",
        "length_mm",
        "widths_mm",
        "available_mm",
        "slope",
        "intercept_mm",
        "value",
    }


def test_x_is_told_as_in_the_file(tmp_path: Path) -> None:
    moved = TAPER.replace("A,0,", "A,500,").replace("A,4000,", "A,4500,")
    here, there = docked(tmp_path, TAPER)["flitches"][0], docked(tmp_path, moved)["flitches"][0]
    assert there["value"] == here["value"]
    for before, after in zip(here["boards"], there["boards"], strict=True):
        assert after["start_mm"] == before["start_mm"] + 500


def test_people_read_a_table(tmp_path: Path) -> None:
    (tmp_path / "f.csv").write_text(TAPER)
    (tmp_path / "r.toml").write_text(RULES)
    out = io.StringIO()
    call_command("dock", str(tmp_path / "f.csv"), "--rules", str(tmp_path / "r.toml"), stdout=out)
    assert "0 docks 0.01500 m³, 1 dock 0.01588 m³" in out.getvalue().replace("\xa0", " ")
    assert "2000 × 175 mm" in out.getvalue()


def test_files_as_people_make_them(tmp_path: Path) -> None:
    dirty = "\ufeffoutlines of Tuesday;;;\nRight (mm);FLITCH;Left_mm;X mm\n200,0;A;0;0\n150,0;A;0;4000\n;;;\n"
    assert docked(tmp_path, dirty.encode("utf-8"))["flitches"][0]["value"] == pytest.approx(TAPER_VALUE)
    book = openpyxl.Workbook()
    for row in ([], ["flitch", "x_mm", "left_mm", "right_mm"], ["A", 0, 0, 200], ["A", 4000, 0, 150]):
        book.active.append(row)
    book.save(tmp_path / "book.xlsx")
    data = (tmp_path / "book.xlsx").read_bytes()
    assert docked(tmp_path, data, name="f.xlsx")["flitches"][0]["value"] == pytest.approx(TAPER_VALUE)


def test_rules_may_be_json(tmp_path: Path) -> None:
    (tmp_path / "f.csv").write_text(TAPER)
    (tmp_path / "r.json").write_text(
        json.dumps({"widths_mm": [150, 175], "thickness_mm": 25, "grid_step_mm": 100})
    )
    out = io.StringIO()
    call_command("dock", str(tmp_path / "f.csv"), "--rules", str(tmp_path / "r.json"), "--json", stdout=out)
    assert json.loads(out.getvalue())["flitches"][0]["value"] == pytest.approx(TAPER_VALUE)


def test_a_thickness_in_the_file_wins(tmp_path: Path) -> None:
    thick = "flitch,thickness_mm,x_mm,left_mm,right_mm\nA,50,0,0,200\nA,50,4000,0,150\n"
    assert docked(tmp_path, thick)["flitches"][0]["value"] == pytest.approx(2 * TAPER_VALUE)


def test_flitches_of_two_logs_may_share_a_number(tmp_path: Path) -> None:
    two = "log,flitch,x_mm,left_mm,right_mm\nL1,1,0,0,200\nL1,1,4000,0,150\nL2,1,0,0,200\nL2,1,4000,0,150\n"
    assert [f["log"] for f in docked(tmp_path, two)["flitches"]] == ["L1", "L2"]


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ("A,0,0,200\n", [(2, "x_mm")]),
        ("A,4000,0,200\nA,0,0,150\n", [(3, "x_mm")]),
        ("A,0,0,200\nA,0,0,150\nA,9,0,150\n", [(3, "flitch")]),
        ("A,0,,200\nA,4000,0,150\n", [(2, "left_mm")]),
        ("A,0,nan,200\nA,4000,0,inf\n", [(2, "left_mm"), (3, "right_mm")]),
        ("A,0,0,200\nA,x,0,150\nB,5,0,1\nB,4,0,1\n", [(3, "x_mm"), (5, "x_mm")]),
    ],
    ids=["one station", "falling", "twice", "blank", "no numbers", "all at once"],
)
def test_rows_that_are_no_flitch_are_refused(
    rows: str, expected: list[tuple[int, str]], tmp_path: Path
) -> None:
    answer = docked(tmp_path, "flitch,x_mm,left_mm,right_mm\n" + rows)
    assert answer[0] == 1
    assert places(answer) == expected
    assert len(answer[2]) == len(expected)
    assert all(line.startswith("f.csv") for line in answer[2])


def test_two_thicknesses_and_wide_faces_inside_are_refused(tmp_path: Path) -> None:
    head = "flitch,thickness_mm,x_mm,left_mm,right_mm,left_wide_mm,right_wide_mm\n"
    answer = docked(tmp_path, head + "A,25,0,0,200,-5,190\nA,26,4000,0,150,,160\n")
    assert places(answer) == [(3, "thickness_mm"), (3, "left_wide_mm"), (2, "right_wide_mm")]


def test_no_thickness_anywhere(tmp_path: Path) -> None:
    answer = docked(tmp_path, TAPER, "widths_mm = [150]")
    assert places(answer) == [(2, "thickness_mm")]


@pytest.mark.parametrize(
    ("rules", "key"),
    [
        ("widths_mm = [150]\nwidht_mm = 3", "widht_mm"),
        ("thickness_mm = 25", "widths_mm"),
        ("widths_mm = []", "widths_mm"),
        ("widths_mm = [0]", "widths_mm"),
        ("widths_mm = 150", "widths_mm"),
        ("widths_mm = [150]\ngrid_step_mm = 30", "grid_step_mm"),
        ("widths_mm = [150]\ngrid_step_mm = 200", "grid_step_mm"),
        ("widths_mm = [150]\nmax_docks = 3", "max_docks"),
        ("widths_mm = [150]\nmax_docks = 1.5", "max_docks"),
        ("widths_mm = [150]\nskew = 1", "skew"),
        ('widths_mm = [150]\nkeep_end = "both"', "keep_end"),
        ("widths_mm = [150]\nmin_length_mm = 1010\nmax_length_mm = 1090", "min_length_mm"),
        ("widths_mm = [150]\nmax_length_mm = 900", "max_length_mm"),
        ("widths_mm = [150]\ncrosscut_kerf_mm = -1", "crosscut_kerf_mm"),
        ("widths_mm = [150]\nlength_module_mm = nan", "length_module_mm"),
        ("widths_mm = [150]\n[wane]\nshare = 1", "wane.share"),
        ("widths_mm = [150]\n[wane]\nedge_share = 2", "wane.edge_share"),
        ("widths_mm = [150]\n[[prices]]\nwidth_from = 100", "prices[0].price"),
        ("widths_mm = [150]\n[[prices]]\nprice = 1.23456", "prices[0].price"),
        ("widths_mm = [150]\n[[prices]]\nprice = 1\ngrade = 2", "prices[0].grade"),
        ("widths_mm = [150]\n[[prices]]\nprice = 1\nwidth_from = 9\nwidth_to = 9", "prices[0].width_to"),
        ("widths_mm = [150", None),
    ],
)
def test_rules_are_refused_by_key(rules: str, key: str | None) -> None:
    found, problems = read_rules(rules.encode(), "rules.toml")
    assert found is None
    assert [p.column for p in problems] == [key]
    assert all(p.file == "rules.toml" and p.expected for p in problems)


def test_faults_of_rules_and_flitches_come_together(tmp_path: Path) -> None:
    answer = docked(
        tmp_path, "flitch,x_mm,left_mm,right_mm\nA,0,x,200\nA,9,0,1\n", "wdiths_mm = [1]\nmax_docks = 9"
    )
    assert {p["column"] for p in answer[1]["problems"]} == {"left_mm", "wdiths_mm", "widths_mm"}


def test_too_many_cases_are_refused_with_the_rule_to_change(tmp_path: Path) -> None:
    rules = "widths_mm = [150]\nthickness_mm = 25\nlength_module_mm = 1\ngrid_step_mm = 0.5\n"
    answer = docked(tmp_path, "flitch,x_mm,left_mm,right_mm\nA,0,0,200\nA,9000.3,0,150\n", rules)
    assert answer[0] == 1
    assert "grid_step_mm" in answer[2][0]


def test_shipped_rules_show_only_known_keys() -> None:
    rules, problems = read_rules((SAMPLE / "rules.toml").read_bytes(), "rules.toml")
    assert problems == []
    assert rules is not None
    assert "keep_end" in KEYS

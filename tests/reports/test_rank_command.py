"""`manage.py rank`: from a table to a ranking without a database."""

import io
import json
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pandas as pd
import pytest
from django.core.management import execute_from_command_line
from django.db import connections

from tests.published.reference import FOLDER
from tests.reports.headless import Run

CASES = FOLDER / "mixed_models"
TRIAL = [
    "--fixed",
    "site",
    "--random",
    "site:block",
    "--random",
    "clone",
    "--random",
    "clone:site",
    "--random",
    "plot",
]
EXPECTED = json.loads((CASES / "expected.json").read_text())["cases"]


def rank(*words: Any) -> Run:
    """The command in this process. A test without the `db` fixture fails if it asks for a database."""
    out, err, code = io.StringIO(), io.StringIO(), 0
    with redirect_stdout(out), redirect_stderr(err), patch.object(connections, "close_all"):
        try:
            execute_from_command_line(["manage.py", "rank", *map(str, words)])
        except SystemExit as end:
            code = int(end.code or 0)
    return Run(code, out.getvalue(), err.getvalue())


@pytest.fixture(scope="module")
def trial() -> dict[str, Any]:
    run = rank(CASES / "trial_small.csv", "--value", "value", *TRIAL, "--json")
    assert (run.code, run.err) == (0, "")
    return run.answer


def test_the_answer_has_its_keys_and_the_reference_figures(trial: dict[str, Any]) -> None:
    """Figures computed with lme4, see fixtures/reference/mixed_models."""
    keys = {"n", "reml_criterion", "variance", "fixed", "clones", "repeatability", "converged", "boundary"}
    assert keys <= set(trial)
    expected = EXPECTED["trial_small"]
    assert trial["n"] == expected["n_obs"]
    assert trial["reml_criterion"] == pytest.approx(expected["reml_criterion"], abs=1e-4)
    assert trial["variance"]["clone"]["estimate"] == pytest.approx(expected["variance"]["clone"], rel=1e-3)
    assert (trial["converged"], trial["boundary"]) == (True, [])
    assert [f["term"] for f in trial["fixed"]] == list(expected["fixed"])
    assert set(trial["repeatability"]) == {"tree", "clone_mean"}


def test_clones_come_best_first_with_reliability_from_prediction_errors(trial: dict[str, Any]) -> None:
    expected = EXPECTED["trial_small"]
    random = expected["random"]["clone"]
    by_level = dict(zip(random["level"], zip(random["blup"], random["pev_sd"], strict=True), strict=True))
    blups = [c["blup"] for c in trial["clones"]]
    assert blups == sorted(blups, reverse=True)
    assert len(blups) == 30
    for clone in trial["clones"]:
        assert set(clone) == {"clone", "n", "blup", "se", "reliability", "p_top"}
        blup, se = by_level[clone["clone"]]
        assert clone["blup"] == pytest.approx(blup, abs=1e-3)
        assert clone["se"] == pytest.approx(se, rel=1e-3)
        assert clone["reliability"] == pytest.approx(1 - se**2 / expected["variance"]["clone"], abs=1e-3)


def test_chances_add_up_to_the_places(trial: dict[str, Any]) -> None:
    for k in ("1", "5", "10"):
        assert sum(c["p_top"][k] for c in trial["clones"]) == pytest.approx(int(k))


def test_the_same_seed_gives_the_same_answer(trial: dict[str, Any]) -> None:
    assert rank(CASES / "trial_small.csv", "--value", "value", *TRIAL, "--json").answer == trial


def test_the_lowest_can_be_the_best(trial: dict[str, Any]) -> None:
    run = rank(CASES / "trial_small.csv", "--value", "value", *TRIAL, "--lowest", "--top", 3, "--json")
    assert [c["clone"] for c in run.answer["clones"]] == [c["clone"] for c in trial["clones"]][::-1]
    assert set(run.answer["clones"][0]["p_top"]) == {"3"}


def test_numbers_are_slopes_and_may_be_groups() -> None:
    slope = rank(
        CASES / "sleepstudy.csv", "--value", "Reaction", "--fixed", "Days", "--random", "Subject", "--json"
    )
    expected = EXPECTED["sleepstudy"]
    assert slope.answer["fixed"][1]["estimate"] == pytest.approx(
        expected["fixed"]["Days"]["estimate"], rel=1e-6
    )
    cake = [CASES / "cake.csv", "--value", "angle", "--random", "recipe:replicate", "--json"]
    cake += ["--fixed", "recipe", "--fixed", "temperature", "--fixed", "recipe:temperature"]
    groups = rank(*cake, "--factor", "temperature")
    assert groups.answer["reml_criterion"] == pytest.approx(EXPECTED["cake"]["reml_criterion"], abs=1e-4)
    refused = rank(*cake)
    assert refused.code == 2
    assert "--factor temperature" in refused.err


def test_a_workbook_and_plain_words(tmp_path: Path) -> None:
    pd.read_csv(CASES / "dyestuff2.csv").to_excel(tmp_path / "yield.xlsx", index=False)
    run = rank(tmp_path / "yield.xlsx", "--value", "Yield", "--clone", "Batch")
    assert (run.code, run.err) == (0, "")
    assert "not detectable" in run.out
    answer = rank(tmp_path / "yield.xlsx", "--value", "Yield", "--clone", "Batch", "--json").answer
    assert answer["boundary"] == ["Batch"]
    assert {c["reliability"] for c in answer["clones"]} == {None}
    assert {c["p_top"]["1"] for c in answer["clones"]} == {1 / 6}


def test_bad_data_ends_with_one(tmp_path: Path) -> None:
    file = tmp_path / "trees.csv"
    file.write_text("clone,dbh_mm\nA,210\nA,tall\nB,\nB,190\n")
    run = rank(file, "--value", "dbh_mm", "--random", "clone", "--json")
    assert (run.code, run.out) == (1, "")
    assert "trees.csv, row 3, dbh_mm: found tall; expected a finite number" in run.err
    file.write_text("clone,dbh_mm\nA,210\nA,220\nA,230\n")
    run = rank(file, "--value", "dbh_mm", "--random", "clone")
    assert run.code == 1
    assert "only one level" in run.err
    file.write_text("")
    assert rank(file, "--value", "dbh_mm", "--random", "clone").code == 1


@pytest.mark.parametrize(
    "words",
    [
        ["--value", "height", "--random", "clone"],
        ["--value", "dbh_mm"],
        ["--value", "dbh_mm", "--random", "clone:"],
        ["--value", "dbh_mm", "--random", "clone", "--random", "clone"],
        ["--value", "dbh_mm", "--random", "clone", "--draws", "10"],
        ["--value", "dbh_mm", "--random", "clone", "--top", "0"],
        ["--random", "clone"],
        ["--value", "dbh_mm", "--random", "clone", "--unknown"],
    ],
)
def test_wrong_use_ends_with_two(tmp_path: Path, words: list[str]) -> None:
    file = tmp_path / "trees.csv"
    file.write_text("clone,dbh_mm\nA,210\nA,220\nB,180\nB,190\n")
    run = rank(file, *words)
    assert run.code == 2
    assert run.err


def test_a_file_that_is_not_there_is_wrong_use(tmp_path: Path) -> None:
    run = rank(tmp_path / "absent.csv", "--value", "dbh_mm", "--random", "clone")
    assert run.code == 2

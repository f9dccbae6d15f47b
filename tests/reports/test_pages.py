"""Pages with figures show the same numbers as the headless command, and name the choices behind them."""

import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from portal.uploads.actions import replace_stored
from sawing.actions import change_study
from tests.conftest import Place
from tests.reports.headless import recovery, write
from tests.reports.pages import percent, plain, study_page, table_of

LOOK = """
code = "look"
title = "Looks"
grades = [{code = "Fine"}, {code = "Plain"}, {code = "Out", reject = true}]
"""


@pytest.fixture
def manager(material: Place, client: Client) -> Client:
    client.force_login(material.people["manager"])
    return client


@pytest.fixture
def headless(tmp_path: Path) -> Callable[..., dict[str, Any]]:
    """The headless command on the same files, with the same rule set."""
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules" / "look.toml").write_text(LOOK)
    write(tmp_path)

    def run(*words: Any) -> dict[str, Any]:
        done = recovery(tmp_path, "--json", "--rule-sets", tmp_path / "rules", *words)
        assert done.code == 0, done.err
        return done.answer

    return run


HEADS = {
    "Green recovery": lambda f: (f["green_recovery"], f["ci95"]["green_recovery"]),
    "Accepted, appearance": lambda f: (
        f["graded"]["look"]["accepted_recovery"],
        f["ci95"]["accepted_recovery"]["look"],
    ),
    "Appearance (EUR/m³)": lambda f: (
        f["graded"]["look"]["value_per_m3_log"],
        f["ci95"]["value_per_m3_log"]["look"],
    ),
    "Best use (EUR/m³)": lambda f: (
        f["best_use"]["value_per_m3_log"],
        f["ci95"]["best_use_value_per_m3_log"],
    ),
}


def number(text: str) -> float | None:
    return float(text) if text else None


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({}, []),
        ({"formula": "cone_frustum"}, ["--log-volume", "cone_frustum"]),
        ({"formula": "jas", "size_basis": "actual_green"}, ["--log-volume", "jas"]),
    ],
)
def test_the_study_page_shows_what_the_headless_command_computes(
    material: Place, manager: Client, headless: Any, query: dict[str, str], words: list[str]
) -> None:
    wanted = headless(*words)
    address = reverse("reports:study", args=["small", "first"])
    values = table_of(manager, address, "value_", **query)
    found = {clone: row | values[clone] for clone, row in table_of(manager, address, **query).items()}
    assert set(found) == set(wanted["by_clone"])
    for clone, figures in wanted["by_clone"].items():
        row = found[clone]
        assert [int(row[n]) for n in ("Trees", "Logs", "Boards")] == [
            figures[n] for n in ("trees", "logs", "boards")
        ]
        assert float(row["Log volume (m³)"]) == pytest.approx(figures["log_volume_m3"], rel=1e-12)
        assert float(row["Board volume (m³)"]) == pytest.approx(figures["green_volume_m3"], rel=1e-12)
        for head, take in HEADS.items():
            value, interval = take(figures)
            assert number(row[head]) == pytest.approx(value, rel=1e-12), head
            unit = " (EUR/m³)" if "EUR" in head else ""
            bounds = [number(row[f"{head.removesuffix(unit)}, 95 % {end}{unit}"]) for end in ("low", "high")]
            assert bounds == (pytest.approx(interval, rel=1e-12) if interval else [None, None]), head
    page = study_page(manager, **query)
    for figures in wanted["by_clone"].values():
        assert percent(figures["green_recovery"]) in page


def test_the_clone_page_shows_what_the_headless_command_computes(
    material: Place, manager: Client, headless: Any
) -> None:
    k1 = headless()["by_clone"]["K1"]
    page = plain(manager.get(reverse("reports:clone", args=["small", "K1"])))
    look, ci = k1["graded"]["look"], k1["ci95"]
    for share, (low, high) in (
        (k1["green_recovery"], ci["green_recovery"]),
        (look["accepted_recovery"], ci["accepted_recovery"]["look"]),
    ):
        assert f">{percent(share)}" in page
        assert f"{percent(low)} to {percent(high)} %" in page
    for value, (low, high) in (
        (look["value_per_m3_log"], ci["value_per_m3_log"]["look"]),
        (k1["best_use"]["value_per_m3_log"], ci["best_use_value_per_m3_log"]),
    ):
        assert f"{value:.0f}" in page
        assert f"{low:.0f} to {high:.0f}" in page
    assert "2 trees" in page
    assert "5 boards" in page
    assert "Fewer than 5 trees per clone" in page  # C11


def test_recovery_of_the_small_study_by_hand(material: Place, manager: Client) -> None:
    """K1: L1 and L2. Boards 0.028 x (0.2 x 3 + 0.22 x 3 + 0.18 x 2.4 + 0.15 x 3 + 0.17 x 3) = 0.074256 m3.

    Logs by Smalian pi/8 x 3 x (0.3² + 0.33² + 0.25² + 0.28²) = 0.40033 m3. Together 18.5 %.
    """
    log_m3 = math.pi / 8 * 3 * (0.09 + 0.1089 + 0.0625 + 0.0784)
    assert percent(0.074256 / log_m3) == "18.5"
    assert ">18.5<" in study_page(manager)


def test_choosing_a_formula_changes_the_figures_and_names_it(material: Place, manager: Client) -> None:
    usual, jas = study_page(manager), study_page(manager, formula="jas")
    assert "Smalian: V = (A_small + A_large) / 2 · L" in usual
    assert "JAS scaling: V = D²·L" in jas
    k1 = 0.270 + 0.173  # 30² x 3 and 24² x 3, / 10 000, three decimals
    assert f">{percent(0.074256 / k1)}<" in jas
    assert ">18.5<" not in jas


def test_choosing_a_size_basis_changes_the_figures_and_names_it(material: Place, manager: Client) -> None:
    nominal = "board,log,thickness_mm,width_mm,length_m,nominal_thickness_mm,nominal_width_mm\n" + "".join(
        f"{b},{log},28,{w},{n},25,{w}\n"
        for b, log, w, n in (
            ("B1", "L1", 200, 3), ("B2", "L1", 220, 3), ("B3", "L1", 180, 2.4), ("B4", "L2", 150, 3),
            ("B5", "L2", 170, 3), ("B6", "L3", 230, 4), ("B7", "L3", 250, 4),
        )
    )  # fmt: skip
    upload = material.bring("boards", nominal, name="nominal.csv")
    held = list(upload.held_rows.values_list("pk", flat=True))
    assert replace_stored(upload_id=upload.pk, held_ids=held, by=material.people["manager"]) == 7
    log_m3 = math.pi / 8 * 3 * (0.09 + 0.1089 + 0.0625 + 0.0784)
    page = study_page(manager, size_basis="nominal")
    assert f">{percent(0.074256 * 25 / 28 / log_m3)}<" in page
    assert re.search(r"<option[^>]*selected[^>]*>nominal size", page)
    assert ">18.5<" in study_page(manager)


def test_a_choice_that_is_not_known_shows_the_usual_and_says_so(material: Place, manager: Client) -> None:
    page = study_page(manager, formula="guess")
    assert "not known" in page
    assert ">18.5<" in page


def test_the_plan_chooses_the_formula_shown_first(material: Place, manager: Client) -> None:
    change_study(study=material.study, by=material.people["manager"], log_volume_formula="jas")
    assert "JAS scaling: V" in study_page(manager)
    assert "JAS scaling: V" in plain(manager.get(reverse("reports:clone", args=["small", "K1"])))


def test_every_figure_of_a_clone_leads_to_its_boards(material: Place, manager: Client) -> None:
    page = study_page(manager)
    (link,) = set(re.findall(r'href="(/boards/small/first/\?f_log__felling__tree__clone__code=K1)"', page))
    assert "5 of 7 boards" in plain(manager.get(link))

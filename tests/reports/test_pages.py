"""Pages with figures: the same numbers as the headless command, whatever a study holds, and few database queries."""

import csv
import io
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from sawing.actions import change_study, create_study
from sawing.models import Log
from tests.conftest import BOARDS, CLONES, GRADES, LAYOUT, LOGS, PRICES, Place
from tests.reports.headless import recovery, write
from trials.actions import create_trial

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


def study_page(client: Client, **query: str) -> str:
    response = client.get(reverse("reports:study", args=["small", "first"]), query)
    assert response.status_code == 200
    return plain(response)


def plain(response: Any) -> str:
    """The page's text with ordinary spaces, for finding words in it."""
    return re.sub(r"[\u00a0\u202f]", " ", response.content.decode())


def percent(share: float) -> str:
    return f"{100 * share:.1f}"


def table_of(client: Client, url: str, **query: str) -> dict[str, dict[str, str]]:
    """A page's table as downloaded: {first column: {head: raw value}}."""
    response = client.get(url, {**query, "download": "csv"})
    rows = list(csv.reader(io.StringIO(response.content.decode("utf-8-sig"))))
    return {row[0]: dict(zip(rows[0], row, strict=True)) for row in rows[1:]}


# The same figures -----------------------------------------------------------------------------------------

HEADS = {
    "Green recovery": lambda f: (f["green_recovery"], f["ci95"]["green_recovery"]),
    "Graded, appearance": lambda f: (
        f["graded"]["look"]["accepted_recovery"],
        f["ci95"]["accepted_recovery"]["look"],
    ),
    "Value, appearance (EUR/m³)": lambda f: (
        f["graded"]["look"]["value_per_m3_log"],
        f["ci95"]["value_per_m3_log"]["look"],
    ),
    "Value, best use (EUR/m³)": lambda f: (
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
    found = table_of(manager, reverse("reports:study", args=["small", "first"]), **query)
    assert set(found) == set(wanted["by_clone"])
    for clone, figures in wanted["by_clone"].items():
        row = found[clone]
        assert [int(row[n]) for n in ("Trees", "Logs", "Boards")] == [figures[n] for n in ("trees", "logs", "boards")]
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
    from portal.uploads.actions import replace_stored

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


# Whatever a study holds -----------------------------------------------------------------------------------


@pytest.fixture
def bare(material: Place) -> Place:
    """A second trial with an empty study, for studies that hold less than the shared one."""
    steward = material.people["steward"]
    trial = create_trial(code="bare", name="Bare trial", by=steward)
    study = create_study(trial=trial, code="bare", name="Bare study", by=steward)
    return Place(trial, study, {**material.people, "manager": steward}, material.media)


def shown(place: Place, *files: tuple[str, str], look: str = "reports:study") -> str:
    """The page of the bare study (or of its clone K1) after these files came in."""
    for kind, text in files:
        place.bring(kind, text)
    client = Client()
    client.force_login(place.people["steward"])
    answer = client.get(reverse(look, args=["bare", "bare"] if look == "reports:study" else ["bare", "K1"]))
    assert answer.status_code == 200
    return plain(answer)


FIRST = (("clones", CLONES), ("layout", LAYOUT))


def test_a_study_with_nothing_says_what_to_bring(bare: Place) -> None:
    page = shown(bare)
    assert "Nothing measured yet" in page
    assert "Bring log measurements" in page


def test_a_clone_without_a_study_says_so(bare: Place) -> None:
    page = shown(bare, *FIRST, look="reports:clone")
    assert "Not sawn yet" in page
    assert "S-1-1" in page


def test_a_study_with_logs_only_shows_their_volume(bare: Place) -> None:
    page = shown(bare, *FIRST, ("logs", LOGS))
    assert "Where the wood went" in page
    assert "0.684" in page  # pi/8 x (3 x 0.1989 + 3 x 0.1409 + 4 x 0.1808) m³ of logs
    assert "Not graded yet" in page
    shown(bare, look="reports:clone")


def test_a_study_with_boards_but_no_grades_shows_green_recovery(bare: Place) -> None:
    page = shown(bare, *FIRST, ("logs", LOGS), ("boards", BOARDS))
    assert ">18.5<" in page
    assert "Not graded yet" in page
    assert "Value" not in re.findall(r"<th[^>]*>.*?</th>", page, re.S)
    assert "18.5" in shown(bare, look="reports:clone")


def test_without_prices_there_are_recoveries_and_no_values(bare: Place) -> None:
    page = shown(bare, *FIRST, ("logs", LOGS), ("boards", BOARDS), ("grades", GRADES))
    heads = " ".join(re.findall(r"<th.*?</th>", page, re.S))
    assert "Graded, " in heads
    assert "Value" not in heads
    assert "EUR" not in page
    shown(bare, look="reports:clone")


def over_bark() -> str:
    """L1 and L2 over bark, L3 under."""
    marks = iter(("bark", "over", "over", "under"))
    return "".join(f"{line},{next(marks)}\n" for line in LOGS.splitlines())


def test_logs_over_bark_count_under_bark_with_a_factor(bare: Place) -> None:
    change_study(study=bare.study, by=bare.people["steward"], bark_factor=0.9)
    page = shown(bare, *FIRST, ("logs", over_bark()), ("boards", BOARDS))
    log_m3 = 0.81 * math.pi / 8 * 3 * (0.09 + 0.1089 + 0.0625 + 0.0784)
    assert f">{percent(0.074256 / log_m3)}<" in page


def test_logs_over_bark_without_a_factor_are_left_out_and_named(bare: Place) -> None:
    page = shown(bare, *FIRST, ("logs", over_bark()), ("boards", BOARDS))
    assert "Left out of the figures" in page
    assert re.search(r">L1</a>.*over", page)
    log_m3, boards_m3 = math.pi / 8 * 4 * (0.28**2 + 0.32**2), 0.028 * (0.23 + 0.25) * 4  # L3 alone
    assert f">{percent(boards_m3 / log_m3)}<" in page
    balance = re.findall(r'<th scope="row">(?:<a[^>]*>)?([^<]+).*?>([\d.]+)</td>', page)
    assert dict(balance) == {
        "Round wood under bark": f"{log_m3:.3f}",
        "Boards": f"{boards_m3:.3f}",
        "Kerf, slabs, edgings, dockings": f"{log_m3 - boards_m3:.3f}",
    }
    assert "2 boards, actual green size" in page
    shown(bare, look="reports:clone")


def test_a_study_whose_logs_are_all_left_out_says_why(bare: Place) -> None:
    page = shown(bare, *FIRST, ("logs", over_bark().replace("under", "over")), ("boards", BOARDS))
    assert "Nothing measured yet" not in page
    assert "Left out of the figures" in page
    assert re.search(r">L3</a>.*over", page)
    assert "bark factor" in page
    client = Client()
    client.force_login(bare.people["steward"])
    for name, args in (("sawing:log", ["bare", "bare", "L1"]), ("sawing:logs", ["bare", "bare"])):
        answer = client.get(reverse(name, args=args))
        assert answer.status_code == 200
        assert not re.search(r"\b(nan|inf)\b", answer.content.decode().lower())


def test_a_clone_of_one_tree_has_no_interval(material: Place, manager: Client) -> None:
    page = study_page(manager)
    k2 = re.search(r"<tr[^>]*>(?:(?!</tr>).)*/clones/small/clone/K2/.*?</tr>", page, re.S)
    assert k2
    assert "no interval" in k2.group()
    clone = plain(manager.get(reverse("reports:clone", args=["small", "K2"])))
    assert "No interval" in clone
    assert "interval 1" not in clone


def test_a_log_without_boards_stays_in_the_denominator(bare: Place) -> None:
    page = shown(bare, *FIRST, ("logs", LOGS + "L4,S-1-1,3.4,3.0,280,300\n"), ("boards", BOARDS))
    log_m3 = math.pi / 8 * 3 * (0.09 + 0.1089 + 0.0625 + 0.0784 + 0.0784 + 0.09)
    assert f">{percent(0.074256 / log_m3)}<" in page


def test_held_rows_stand_as_a_caution_until_they_are_settled(material: Place, manager: Client) -> None:
    from portal.uploads.actions import set_aside

    assert "held" not in study_page(manager)
    bad = "board,log,thickness_mm,width_mm,length_m\nN1,NOLOG,28,100,3\nN2,L1,28,-1,3\n"
    upload = material.bring("boards", bad, name="bad.csv")
    caution = "2 rows of this study's files are held: the figures leave them out."
    assert caution in study_page(manager).replace("&#x27;", "'")
    assert caution in plain(manager.get(reverse("reports:clone", args=["small", "K1"]))).replace("&#x27;", "'")
    held = list(upload.held_rows.values_list("pk", flat=True))
    set_aside(upload_id=upload.pk, held_ids=held[:1], by=material.people["manager"])
    assert "1 row of this study's files is held" in study_page(manager).replace("&#x27;", "'")
    set_aside(upload_id=upload.pk, held_ids=held[1:], by=material.people["manager"])
    assert "held" not in study_page(manager)


def test_a_newer_price_list_is_the_one_that_counts(material: Place, manager: Client) -> None:
    def value() -> float:
        row = table_of(manager, reverse("reports:study", args=["small", "first"]))["K1"]
        return float(row["Value, best use (EUR/m³)"])

    before = value()
    twice = PRICES.replace("300,,200", "600,,200").replace("400,200", "800,200").replace("200,,,EUR", "400,,,EUR")
    material.bring("prices", twice, name="new.csv")
    assert value() == pytest.approx(2 * before)


# Few database queries -------------------------------------------------------------------------------------

PAGES = {
    "boards": ("grading:study_boards", ("small", "first")),
    "boards on offer": ("grading:boards", ()),
    "logs": ("sawing:logs", ("small", "first")),
    "trees": ("trials:trial_trees", ("small",)),
    "files": ("portal:files", ()),
    "study": ("reports:study", ("small", "first")),
    "clone": ("reports:clone", ("small", "K1")),
    "clones": ("reports:trial_clones", ("small",)),
}
# Session, person and roles take 3 to 5 of them. A number may fall; before it rises, ask why.
QUERIES = {
    "boards": 15,
    "boards on offer": 13,
    "logs": 7,
    "trees": 8,
    "files": 7,
    "study": 24,
    "clone": 20,
    "clones": 13,
}


def queries(client: Client, page: str) -> int:
    name, args = PAGES[page]
    with CaptureQueriesContext(connection) as captured:
        assert client.get(reverse(name, args=args)).status_code == 200
    return len(captured)


@pytest.mark.parametrize("page", PAGES)
def test_a_page_takes_its_number_of_queries_and_no_more_with_more_rows(
    material: Place, manager: Client, page: str
) -> None:
    from sawing.actions import offer_boards

    offer_boards(study=material.study, by=material.people["manager"], codes=["B1"])
    few = queries(manager, page)
    more = [
        ("layout", "site,block,plot,clone,tree,row,col\n" + "".join(f"S,{i},1,K1,M{i},9,{i}\n" for i in range(20))),
        (
            "logs",
            "log,tree,bottom_m,length_m,sed1_mm,led1_mm\n" + "".join(f"M{i},M{i},0.3,3,300,330\n" for i in range(20)),
        ),
        (
            "boards",
            "board,log,thickness_mm,width_mm,length_m\n" + "".join(f"M{i},M{i},28,100,3\n" for i in range(20)),
        ),
        ("grades", "board,rule_set,grade\n" + "".join(f"M{i},look,Fine\n" for i in range(20))),
    ]
    for kind, text in more:
        assert material.bring(kind, text, name=f"more_{kind}.csv").added == 20
    offer_boards(study=material.study, by=material.people["manager"], codes=[f"M{i}" for i in range(20)])
    assert Log.objects.count() == 23
    assert (few, queries(manager, page)) == (QUERIES[page], QUERIES[page])

"""Planning a site and choosing trees to fell on pages: what is shown, taken away, brought in and refused.

The lists are checked against the trees that the test itself planted; proofs and designs have tests of their own.
"""

import csv
import datetime as dt
import html
import io
import re
import uuid
from typing import Any

import openpyxl
import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from portal.cautions import CAUTIONS
from portal.models import Upload
from tests.conftest import Place
from trials.models import Assessment, AssessmentTrait, Entry, Trait, Tree

PLAN, CHOOSE = reverse("trials:plan", args=["small"]), reverse("trials:choose", args=["small"])
CLONES = "clone\n" + "".join(f"C{i}\n" for i in range(1, 10))
ASKED = {
    "design": "alpha",
    "which": "all",
    "site": "N",
    "blocks": "2",
    "block_size": "3",
    "blocks_across": "1",
    "plot_rows": "1",
    "plot_columns": "2",
    "guard_lines": "0",
    "guard_clone": "",
    "seed": "7",
}
WANTED = {
    "each": "2",
    "least_per_site": "0",
    "most_per_plot": "1",
    "leave_edge": "on",
    "reserves": "1",
    "corner": "top left",
    "seed": "3",
}


def words(response: Any) -> str:
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return html.unescape(re.sub(r"\s+", " ", text))


def lines(response: Any) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))


@pytest.fixture
def manager(place: Place) -> Client:
    client = Client()
    client.force_login(place.people["manager"])
    return client


@pytest.fixture
def nine(place: Place) -> Place:
    """Nine clones, no tree yet."""
    place.bring("clones", CLONES)
    return place


@pytest.fixture
def planted(place: Place) -> Place:
    """Three clones on two sites of two blocks, six rows of six columns each; every plot has six trees in a row."""
    place.bring("clones", "clone\nC1\nC2\nC3\n")
    layout = ["site,block,plot,clone,tree,row,col"]
    for site in "NS":
        for row in range(1, 7):
            for col in range(1, 7):
                clone, block = f"C{(row - 1) % 3 + 1}", (row - 1) // 3 + 1
                layout.append(f"{site},{block},{row},{clone},{site}-{row}-{col},{row},{col}")
    upload = place.bring("layout", "\n".join(layout) + "\n")
    assert (upload.added, upload.held) == (72, 0)
    return place


def measure(place: Place, code: str, values: dict[str, float], day: str = "2024-10-01", **trait: Any) -> None:
    """Values of a trait on site N."""
    trait_of = Trait.objects.get_or_create(trial=place.trial, code=code, defaults={"name": code, **trait})[0]
    site = place.trial.sites.get(code="N")
    visit = Assessment.objects.create(
        site=site, name=f"{code} {day}", measured_from=dt.date.fromisoformat(day)
    )
    AssessmentTrait.objects.create(assessment=visit, trait=trait_of)
    trees = {t.code: t for t in Tree.objects.filter(trial=place.trial)}
    for tree, number in values.items():
        Entry.objects.create(
            client_id=uuid.uuid4(),
            assessment=visit,
            tree=trees[tree],
            trait=trait_of,
            number=number,
            by=place.people["field_crew"],
        )


# Planning --------------------------------------------------------------------------------------------------


def test_a_plan_is_shown_with_its_efficiency_and_picture(nine: Place, manager: Client) -> None:
    """Two replicates of nine clones in blocks of three are a square lattice. Computed from the bound that square
    lattices reach (Patterson and Williams 1976): (v - 1)(r - 1) / ((v - 1)(r - 1) + r(s - 1)) = 8 / (8 + 4)."""
    answer = manager.get(PLAN, ASKED)
    assert f"Average efficiency factor {8 / 12:.3f} At most possible {8 / 12:.3f}" in words(answer)
    assert "Seed 7" in words(answer)
    assert "Trees compared 36" in words(answer)
    assert answer.content.decode().count("site-picture") == 2
    assert not nine.trial.trees.exists()


def test_the_same_seed_gives_the_same_layout_and_another_seed_another(nine: Place, manager: Client) -> None:
    first, again, other = (
        manager.get(PLAN, ASKED | {"seed": seed, "download": "csv"}).content for seed in ("7", "7", "8")
    )
    assert first == again
    assert first != other


def test_the_layout_is_taken_away_in_the_columns_of_the_layout_file(nine: Place, manager: Client) -> None:
    rows = lines(manager.get(PLAN, ASKED | {"download": "csv"}))
    assert list(rows[0]) == ["site", "block", "plot", "clone", "tree", "row", "col", "incomplete_block"]
    assert len(rows) == 9 * 2 * 2
    for block in ("1", "2"):
        assert sorted(r["clone"] for r in rows if r["block"] == block) == sorted(
            [f"C{i}" for i in range(1, 10)] * 2
        )
    book = openpyxl.load_workbook(io.BytesIO(manager.get(PLAN, ASKED | {"download": "xlsx"}).content))
    values = list(book.active.values)
    assert [[str(v) for v in row] for row in values[1:]] == [list(row.values()) for row in rows]


def test_a_plan_comes_into_the_trial_through_the_upload_machine(nine: Place, manager: Client) -> None:
    query = "&".join(
        f"{name}={value}" for name, value in (ASKED | {"guard_lines": "1", "guard_clone": "C9"}).items()
    )
    query = query.replace("block_size=3", "block_size=4")
    answer = manager.post(f"{PLAN}?{query}")
    upload = Upload.objects.get(kind="layout")
    assert answer["Location"] == reverse("portal:file", args=[upload.pk])
    assert (upload.state, upload.file_name, upload.by) == ("checked", "N_alpha_7.csv", nine.people["manager"])
    assert not nine.trial.trees.exists()
    assert manager.get(answer["Location"]).status_code == 200
    manager.post(reverse("portal:store_file", args=[upload.pk]))
    upload.refresh_from_db()
    assert (upload.state, upload.held) == ("stored", 0)
    taken = lines(manager.get(f"{PLAN}?{query}&download=csv"))
    stored = nine.trial.trees.values_list(
        "code", "clone__code", "plot__block__code", "plot__code", "row", "col"
    )
    assert {
        (r["tree"], r["clone"], r["block"], r["plot"], int(r["row"]), int(r["col"])) for r in taken
    } == set(stored)
    noted = nine.trial.trees.exclude(clone__code="C9").first()
    assert noted.notes["incomplete_block"] in ("1", "2")
    assert "This site has trees already" in words(manager.get(f"{PLAN}?{query}"))


def test_guards_are_of_their_clone_and_are_not_compared(nine: Place, manager: Client) -> None:
    asked = ASKED | {"design": "complete", "guard_lines": "1", "guard_clone": "C9", "plots_across": "3"}
    rows = lines(manager.get(PLAN, asked | {"download": "csv"}))
    guards = [r for r in rows if r["block"] == "guard"]
    assert {r["clone"] for r in guards} == {"C9"}
    # Eight clones, three across: 2 blocks of 3 lines x 6 trees, one place of two trees free in each.
    assert len(guards) == 8 * 8 - 2 * 8 * 2
    assert "C9" not in {r["clone"] for r in rows if r["block"] != "guard"}


def test_a_row_column_plan_of_ticked_clones(nine: Place, manager: Client) -> None:
    asked = ASKED | {
        "design": "row_column",
        "which": "ticked",
        "clones": ["C1", "C2", "C3", "C4"],
        "grid_rows": "4",
        "grid_columns": "4",
        "blocks": "1",
        "plot_columns": "1",
    }
    rows = lines(manager.get(PLAN, asked | {"download": "csv"}))
    # Four clones in four rows and columns: a Latin square, in which nothing is lost.
    for direction in ("row", "col"):
        for at in "1234":
            assert sorted(r["clone"] for r in rows if r[direction] == at) == ["C1", "C2", "C3", "C4"]
    told = words(manager.get(PLAN, asked))
    assert "Average efficiency factor 1.000" in told
    assert "Every clone stands in every row and column as often as every other" in told


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"block_size": "4"}, "9 clones do not fill incomplete blocks of 4 plots"),
        ({"block_size": ""}, "This design needs a number here."),
        ({"blocks": "1"}, "1 replicates: clones of different incomplete blocks cannot be compared"),
        ({"plots_across": "4"}, "cut incomplete blocks of 3 plots apart"),
        ({"design": "row_column", "grid_rows": "2", "grid_columns": "5"}, "This cannot be planned:"),
        ({"design": "row_column"}, "This design needs a number here."),
        ({"which": "ticked"}, "Tick two clones or more"),
        ({"design": "complete", "which": "ticked", "clones": "C1"}, "expected 2 clones"),
        ({"design": "complete", "plot_rows": "50", "plot_columns": "50"}, "expected at most 20000"),
        ({"guard_lines": "2"}, "Choose the clone that the guard rows are planted with."),
        ({"site": ""}, "This field is required."),
        ({"seed": "-1"}, "greater than or equal to 0"),
        ({"seed": "x"}, "Enter a whole number."),
    ],
)
def test_a_plan_refused_says_why_and_is_not_brought(
    nine: Place, manager: Client, changed: dict[str, str], told: str
) -> None:
    answer = manager.get(PLAN, ASKED | changed)
    assert answer.status_code == 422
    assert told in words(answer)
    query = "&".join(f"{name}={value}" for name, value in (ASKED | changed).items())
    assert manager.post(f"{PLAN}?{query}").status_code == 422
    assert not Upload.objects.filter(kind="layout").exists()


def test_before_the_clones_there_is_nothing_to_plan(place: Place, manager: Client) -> None:
    assert "No clones yet" in words(manager.get(PLAN))


def test_codes_of_any_letters_are_planned_and_escaped(place: Place, manager: Client) -> None:
    place.bring("clones", 'clone\n"<b>1"\n"a&b"\nÄÖ\n')
    asked = ASKED | {"design": "complete", "site": "<i>"}
    page = manager.get(PLAN, asked).content.decode()
    assert "<b>1" not in page
    assert "&lt;b&gt;1" in page
    assert "<i>" not in page


# Choosing --------------------------------------------------------------------------------------------------


def test_trees_are_listed_in_walking_order_with_reserves_and_caution(planted: Place, manager: Client) -> None:
    rows = lines(manager.get(CHOOSE, WANTED | {"download": "csv"}))
    assert sorted(r["clone"] for r in rows) == ["C1", "C1", "C2", "C2", "C3", "C3"]
    assert len({(r["site"], r["block"], r["plot"]) for r in rows}) == 6
    for row in rows:
        assert 1 < int(row["row"]) < 6
        assert 1 < int(row["col"]) < 6
        assert CAUTIONS["C1"] in row["caution"]
        assert row["reserve_1"] not in {r["tree"] for r in rows}
    assert {site: sum(r["site"] == site for r in rows) for site in "NS"} == {"N": 3, "S": 3}
    for site in "NS":
        of_site = [r for r in rows if r["site"] == site]
        assert [int(r["order"]) for r in of_site] == list(range(1, len(of_site) + 1))
        assert [int(r["row"]) for r in of_site] == sorted(int(r["row"]) for r in of_site)


def test_the_page_shows_proof_balance_map_and_why(planted: Place, manager: Client) -> None:
    answer = manager.get(CHOOSE, WANTED)
    told = words(answer)
    assert "Proved: no choice that keeps what was asked is more even." in told
    assert "Search optimal" in told
    assert "Trees by site" in told
    assert "No diameter is known" in told
    assert "alike of C1 in block" in told or "the only one of C1 in block" in told.lower()
    assert CAUTIONS["C1"] in told
    assert answer.content.decode().count("site-picture") == 4
    rows = lines(manager.get(CHOOSE, WANTED | {"download": "csv"}))
    for row in rows:
        assert reverse("trials:tree", args=["small", row["tree"]]) in answer.content.decode()


def test_the_same_seed_chooses_the_same_trees(planted: Place, manager: Client) -> None:
    chosen = []
    for seed in ("3", "3", "4", "5", "6"):
        cache.clear()
        rows = lines(manager.get(CHOOSE, WANTED | {"seed": seed, "download": "csv"}))
        chosen.append({r["tree"] for r in rows})
    assert chosen[0] == chosen[1]
    assert any(other != chosen[0] for other in chosen[2:])


def test_what_is_downloaded_is_what_was_shown(
    planted: Place, manager: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A search ended by its time limit might end elsewhere the second time: it is not searched again."""
    shown = manager.get(CHOOSE, WANTED | {"seed": "99"}).content.decode()
    monkeypatch.setattr("trials.planning.felling_pages.choose_from", None)
    for row in lines(manager.get(CHOOSE, WANTED | {"seed": "99", "download": "csv"})):
        assert f">{row['tree']}</a>" in shown


def test_dead_missing_and_felled_trees_are_no_candidates(planted: Place, manager: Client) -> None:
    inner = Tree.objects.filter(trial=planted.trial, site__code="N", row__range=(2, 5), col__range=(2, 5))
    gone = ["N-2-2", "N-2-3", "N-2-4"]
    for tree, status in zip(gone, ("dead", "missing", "felled"), strict=True):
        Tree.objects.filter(code=tree).update(status=status)
    measure(planted, "height_m", {"N-5-2": 12.0})
    visit = Assessment.objects.get()
    Entry.objects.create(
        client_id=uuid.uuid4(),
        assessment=visit,
        tree=inner.get(code="N-2-5"),
        kind="dead",
        by=planted.people["mill"],
    )
    # Only C2 of row 2 and row 5 lie within: four of row 2 are gone, so block 1 of N has none of them.
    answer = manager.get(
        CHOOSE, WANTED | {"each": "1", "sites": "N", "most_per_plot": "4", "download": "csv"}
    )
    assert not {r["tree"] for r in lines(answer)} & {*gone, "N-2-5"}
    asked = WANTED | {"each": "", "sites": "N", "most_per_plot": "4", f"n_{_clone(planted, 'C2')}": "5"}
    assert "5 wanted, 4 possible" in words(manager.get(CHOOSE, asked))


def test_classes_come_from_the_latest_diameters(planted: Place, manager: Client) -> None:
    trees = list(
        Tree.objects.filter(
            trial=planted.trial, site__code="N", row__range=(2, 5), col__range=(2, 5)
        ).values_list("code", flat=True)
    )
    measure(planted, "dbh_mm", dict.fromkeys(trees, 500.0), "2019-10-01")
    latest = {tree: 150.0 if tree.endswith(("2", "3")) else 250.0 for tree in trees}
    measure(planted, "dbh_mm", latest)
    assert "Diameters are known of 16, 150 to 250 mm" in words(manager.get(CHOOSE))
    # On N alone, and C1 within one row of it: its two classes have to come out of one plot.
    classes = {"classes": "200", "least_per_class": "1", "cover": "each clone", "most_per_plot": "2"}
    rows = lines(manager.get(CHOOSE, WANTED | classes | {"download": "csv"}))
    assert {(r["clone"], r["diameter_class"]) for r in rows} == {
        (clone, words) for clone in ("C1", "C2", "C3") for words in ("under 200 mm", "200 mm and over")
    }
    assert all(float(r["dbh_mm"]) == latest[r["tree"]] for r in rows)
    page = words(manager.get(CHOOSE, WANTED | classes))
    assert "Trees by diameter class" in page
    # 72 trees, of which 16 are measured; 32 + 8 of the other 56 stand at edges, but the diameter comes first.
    assert "56 trees : no diameter" in page or "56 trees: no diameter" in page


def test_trees_in_poor_health_are_left_out_where_asked(planted: Place, manager: Client) -> None:
    points = [{"value": 1, "text": "sound"}, {"value": 5, "text": "dying"}]
    ill = [f"N-{row}-{col}" for row in (2, 5) for col in (2, 3, 4)]
    measure(planted, "health", dict.fromkeys(ill, 5.0), kind="ordinal", points=points)
    asked = WANTED | {"each": "", "sites": "N", f"n_{_clone(planted, 'C2')}": "2", "leave_states": "health=5"}
    rows = lines(manager.get(CHOOSE, asked | {"download": "csv"}))
    assert sorted(r["tree"] for r in rows) == ["N-2-5", "N-5-5"]
    assert "6 trees: not healthy" in words(manager.get(CHOOSE, asked)).replace(" :", ":")


def test_what_cannot_be_had_says_which_requirement_binds(planted: Place, manager: Client) -> None:
    told = words(manager.get(CHOOSE, WANTED | {"each": "5"}))
    # One tree a plot: each clone has four plots on the two sites, of which two have only edge trees or none.
    assert "No choice found" in told
    assert "Proved: no choice keeps all that was asked." in told
    assert "It would do to loosen only trees of a clone" in told
    assert "C2: 5 wanted, 4 possible" in told
    assert manager.get(CHOOSE, WANTED | {"each": "5", "download": "csv"})["Content-Type"].startswith(
        "text/html"
    )


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"each": ""}, "Say how many trees"),
        ({"each": "200"}, "600 trees in all; at most 500"),
        ({"each": "-1"}, "greater than or equal to 0"),
        ({"sites": "X"}, "Select a valid choice"),
        ({"leave": "N-2-2, NOPE"}, "No such tree: NOPE."),
        ({"most_per_plot": "0"}, "greater than or equal to 1"),
        ({"seed": ""}, "This field is required."),
        ({"corner": "middle"}, "Select a valid choice"),
    ],
)
def test_a_choice_refused_says_why(
    planted: Place, manager: Client, changed: dict[str, str], told: str
) -> None:
    answer = manager.get(CHOOSE, WANTED | changed)
    assert answer.status_code == 422
    assert told in words(answer)


@pytest.mark.parametrize("bounds", ["260, 200", "x", "0", "200,200", "nan", "1e9", "inf"])
def test_bounds_of_classes_that_make_no_sense_are_refused(
    planted: Place, manager: Client, bounds: str
) -> None:
    measure(planted, "dbh_mm", {"N-2-2": 200.0})
    asked = WANTED | {"classes": bounds, "least_per_class": "1", "cover": "in all"}
    assert manager.get(CHOOSE, asked).status_code == 422


@pytest.mark.parametrize("state", ["=", "health", "health=4", "other=5"])
def test_states_that_are_not_on_offer_are_refused(planted: Place, manager: Client, state: str) -> None:
    points = [{"value": 5, "text": "dying"}]
    measure(planted, "health", {"N-2-2": 5.0}, kind="ordinal", points=points)
    assert manager.get(CHOOSE, WANTED | {"leave_states": state}).status_code == 422


def test_without_standing_trees_there_is_nothing_to_choose(place: Place, manager: Client) -> None:
    assert "No standing trees" in words(manager.get(CHOOSE))


def test_both_pages_are_offered_to_managers_only(planted: Place) -> None:
    trial = reverse("reports:trial", args=["small"])
    for who in ("manager", "steward", "mill", "field_crew"):
        client = Client()
        client.force_login(planted.people[who])
        page = client.get(trial).content.decode()
        for address in (PLAN, CHOOSE):
            assert (f'href="{address}"' in page) is (who in ("manager", "steward")), (who, address)


def _clone(place: Place, code: str) -> int:
    return int(place.trial.clones.get(code=code).pk)

"""Pages of traits, assessments, checks, figures, map and walk: they work, and refuse whom and what they must."""

import csv
import datetime as dt
import html
import io
import math
import re
import uuid
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from portal.models import Role
from tests.conftest import Place
from tests.trials.crews import Phone, open_spring, standing_of
from trials.actions import describe_site
from trials.desk.settling import closing
from trials.entries.actions import add_default_traits, close_assessment, receive_entries
from trials.models import Assessment, Entry, HeldEntry, Site, Trait

TRAIT = {"name": "Bark", "code": "bark_mm", "kind": "number", "unit": "mm", "decimals": "1", "minimum": "1"}
NOT_MANAGERS = [Role.FIELD_CREW, Role.MILL, Role.GRADER]


@pytest.fixture
def manager(material: Place) -> Client:
    return signed_in(material, "manager")


@pytest.fixture
def spring(material: Place) -> Assessment:
    return open_spring(material)


@pytest.fixture
def phone(spring: Assessment, material: Place) -> Phone:
    return Phone(spring, material.people["field_crew"])


@pytest.fixture
def other(spring: Assessment, material: Place) -> Phone:
    return Phone(spring, material.people["manager"])


def signed_in(place: Place, who: str) -> Client:
    client = Client()
    client.force_login(place.people[who])
    return client


def page(name: str, *more: Any) -> str:
    return reverse(f"trials:{name}", args=["small", *more])


def words(response: Any) -> str:
    text = html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode())))
    return re.sub(r"\s+", " ", re.sub("[\u00a0\u202f]", " ", text))


def downloaded(client: Client, url: str, **query: str) -> list[dict[str, str]]:
    text = client.get(url, query | {"download": "csv"}).content.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


# Traits --------------------------------------------------------------------------------------------------


def test_an_empty_dictionary_offers_the_usual_traits(material: Place, manager: Client) -> None:
    assert "No traits yet" in words(manager.get(page("traits")))
    manager.post(page("usual_traits"))
    shown = words(manager.get(page("traits")))
    assert "Diameter at breast height" in shown
    assert material.trial.traits.get(code="straightness").points[0]["text"] in shown


def test_a_manager_adds_and_changes_a_trait(material: Place, manager: Client) -> None:
    assert manager.post(page("new_trait"), TRAIT)["Location"] == page("traits")
    trait = Trait.objects.get(trial=material.trial, code="bark_mm")
    assert (trait.name, trait.kind, trait.unit, trait.decimals, trait.minimum) == (
        "Bark",
        "number",
        "mm",
        1,
        1.0,
    )
    changed = {"name": "Bark thickness", "unit": "mm", "decimals": "0", "active": "on", "code": "other"}
    manager.post(page("change_trait", "bark_mm"), changed)
    trait.refresh_from_db()
    assert (trait.name, trait.code, trait.minimum, trait.decimals) == ("Bark thickness", "bark_mm", None, 0)


def test_the_points_of_a_scale_are_typed_one_a_line(material: Place, manager: Client) -> None:
    scale = TRAIT | {"kind": "ordinal", "minimum": "", "points": "2 bent\n1: straight\n"}
    manager.post(page("new_trait"), scale)
    assert material.trial.traits.get(code="bark_mm").points == [
        {"value": 1, "text": "straight"},
        {"value": 2, "text": "bent"},
    ]
    assert "1 straight" in words(manager.get(page("traits")))


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"code": "row"}, "is another column of the table of values"),
        ({"code": "tree"}, "choose another code"),
        ({"code": "Bark mm"}, "Small letters, digits and underscores"),
        ({"code": "Bark"}, "Small letters, digits and underscores"),
        ({"name": " "}, "This field is required."),
        ({"maximum": "0.5"}, "The most usual value is at least the least one."),
        ({"maximum": "nan"}, "Enter a number."),
        ({"decimals": "7"}, "At most 6 decimals."),
        ({"points": "1 straight"}, "Only an ordinal scale has points"),
        ({"kind": "ordinal", "points": "1 straight"}, "needs at least two points"),
        ({"kind": "ordinal", "points": "straight\nbent"}, "begin with the number of the point"),
        ({"kind": "ordinal", "points": "1 straight\n1 bent"}, "Point 1 stands twice."),
    ],
)
def test_a_trait_not_added_says_why_and_keeps_what_was_typed(
    material: Place, manager: Client, changed: dict[str, str], told: str
) -> None:
    answer = manager.post(page("new_trait"), TRAIT | changed | {"method": "with a needle"})
    assert answer.status_code == 422
    assert told in words(answer)
    assert "with a needle" in words(answer)
    assert not material.trial.traits.exists()


def test_a_code_is_taken_once(material: Place, manager: Client) -> None:
    add_default_traits(trial=material.trial, by=material.people["manager"])
    answer = manager.post(page("new_trait"), TRAIT | {"code": "dbh_mm"})
    assert "There is a trait of this code already" in words(answer)


def test_the_unit_of_a_trait_with_values_stays(phone: Phone, manager: Client) -> None:
    phone.enter()
    sent = {"name": "Diameter", "unit": "cm", "decimals": "0", "active": "on"}
    answer = manager.post(page("change_trait", "dbh_mm"), sent)
    assert answer.status_code == 422
    assert "their meaning must not change" in words(answer)


@pytest.mark.parametrize("who", NOT_MANAGERS)
def test_others_read_the_dictionary_and_change_nothing(spring: Assessment, material: Place, who: str) -> None:
    client = signed_in(material, who)
    assert page("new_trait") not in client.get(page("traits")).content.decode()
    assert client.post(page("new_trait"), TRAIT).status_code == 403
    assert client.post(page("change_trait", "dbh_mm"), TRAIT).status_code == 403
    assert not material.trial.traits.filter(code="bark_mm").exists()


# Opening and closing -------------------------------------------------------------------------------------


def opening(place: Place, **changed: str) -> dict[str, str]:
    add_default_traits(trial=place.trial, by=place.people["manager"])
    traits = dict(place.trial.traits.values_list("code", "pk"))
    site = place.trial.sites.get(code="S")
    numbered = {f"trait_{traits['height_m']}": "1", f"trait_{traits['dbh_mm']}": "2"}
    fields = {"site": str(site.pk), "name": "Autumn", "measured_from": "2026-09-01"}
    return fields | numbered | {"crew": str(place.people["field_crew"].pk)} | changed


def test_an_assessment_is_opened_with_its_traits_in_the_order_numbered(
    material: Place, manager: Client
) -> None:
    answer = manager.post(page("new_assessment"), opening(material))
    made = Assessment.objects.get(name="Autumn")
    assert answer["Location"] == page("assessment", made.pk)
    links = made.assessment_traits.order_by("position")
    assert list(links.values_list("trait__code", flat=True)) == ["height_m", "dbh_mm"]
    assert (made.measured_from, list(made.crew.all())) == (
        dt.date(2026, 9, 1),
        [material.people["field_crew"]],
    )
    shown = words(manager.get(page("assessments")))
    assert "Autumn" in shown
    assert "Open" in shown


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"name": ""}, "This field is required."),
        ({"measured_from": "1726-09-01"}, "Between 1900 and a year from now."),
        ({"measured_from": "spring"}, "Enter a valid date."),
        ({"site": "0"}, "Select a valid choice."),
        ({"crew": "0"}, "is not one of the available choices"),
    ],
)
def test_an_assessment_not_opened_says_why(
    material: Place, manager: Client, changed: dict[str, str], told: str
) -> None:
    answer = manager.post(page("new_assessment"), opening(material, **changed))
    assert answer.status_code == 422
    assert told in words(answer)
    assert not Assessment.objects.exists()


def test_an_assessment_without_traits_or_of_a_name_taken_is_not_opened(
    material: Place, spring: Assessment, manager: Client
) -> None:
    fields = {n: v for n, v in opening(material).items() if not n.startswith("trait_")}
    assert "Number at least one trait" in words(manager.post(page("new_assessment"), fields))
    taken = manager.post(page("new_assessment"), opening(material, name="SPRING"))
    assert "has an assessment of this name already" in words(taken)
    assert Assessment.objects.count() == 1


@pytest.mark.parametrize("who", NOT_MANAGERS)
def test_others_open_and_close_nothing(material: Place, spring: Assessment, who: str) -> None:
    client = signed_in(material, who)
    assert client.post(page("new_assessment"), opening(material)).status_code == 403
    assert client.post(page("assessment_state", spring.pk), {"do": "close"}).status_code == 403
    spring.refresh_from_db()
    assert (spring.state, Assessment.objects.count()) == ("open", 1)


def test_an_assessment_is_closed_when_nothing_waits_and_opened_again(
    spring: Assessment, phone: Phone, other: Phone, manager: Client
) -> None:
    ours, theirs = phone.enter(number=352), other.enter(number=300)
    told = {"do": "close", "stated": closing(spring).statement}
    refused = manager.post(page("assessment_state", spring.pk), told, follow=True)
    assert "2 entries in dispute" in words(refused)
    manager.post(page("assessment_waiting", spring.pk), {"do": f"choose-{theirs.pk}"})
    told = {"do": "close", "stated": closing(spring).statement}
    closed = manager.post(page("assessment_state", spring.pk), told, follow=True)
    assert "The assessment is closed" in words(closed)
    assert (standing_of(ours), standing_of(theirs)) == ("set_aside", "current")
    manager.post(page("assessment_state", spring.pk), {"do": "reopen"})
    spring.refresh_from_db()
    assert spring.state == "open"
    assert manager.post(page("assessment_state", spring.pk), {"do": "burn"}).status_code == 400


def test_progress_counts_trees_traits_states_and_people(
    spring: Assessment, phone: Phone, other: Phone, manager: Client
) -> None:
    for trait, value in (("dbh_mm", 352), ("height_m", 21.5), ("straightness", 2), ("survival", 1)):
        phone.enter("S-1-1", value, trait)
    phone.send(phone.mark("dead", "S-1-2"))
    other.enter("S-2-1", 300)
    shown = words(manager.get(page("assessment", spring.pk)))
    assert "Trees done 2" in shown
    assert re.search(r"Dead 1 ", shown)
    assert "Diameter at breast height, mm 2 of" in shown
    assert re.search(r"The field_crew 1 4 ", shown)
    assert re.search(r"The manager 1 1 ", shown)


# What waits for a decision -------------------------------------------------------------------------------


def test_both_sides_of_a_dispute_stand_side_by_side_with_who_when_and_phone(
    spring: Assessment, phone: Phone, other: Phone, manager: Client
) -> None:
    phone.enter(number=352)
    other.enter(number=300)
    shown = words(manager.get(page("assessment_waiting", spring.pk)))
    for told in ("S-1-1", "352 mm", "300 mm", "The field_crew", "The manager", "typed 2 Apr 2026 09:30"):
        assert told in shown
    assert f"phone {str(phone.device)[:8]}" in shown
    assert f"phone {str(other.device)[:8]}" in shown


def test_a_late_entry_counts_or_is_set_aside(
    material: Place, spring: Assessment, phone: Phone, manager: Client
) -> None:
    close_assessment(assessment=spring, by=material.people["manager"])
    first, second = phone.enter("S-1-1", 352), phone.enter("S-1-2", 300)
    url = page("assessment_waiting", spring.pk)
    assert "Came after closing" in words(manager.get(url))
    manager.post(url, {"do": f"take-{first.pk}"})
    manager.post(url, {"do": f"aside-{second.pk}"})
    assert (standing_of(first), standing_of(second)) == ("current", "set_aside")
    assert "Nothing waits" in words(manager.get(url))


def test_a_held_entry_is_mended_or_goes_on_waiting_or_is_set_aside(
    spring: Assessment, phone: Phone, manager: Client
) -> None:
    phone.send(phone.entry("S-9-9", 352), phone.entry("S-8-8", 351))
    held, second = HeldEntry.objects.order_by("pk")
    url = page("assessment_waiting", spring.pk)
    assert "found S-9-9" in words(manager.get(url))

    def mend(tree: str, value: str) -> str:
        named = {"kind": "value", "trait": "dbh_mm", "tree": tree, "value": value}
        sent = {f"{name}-{held.pk}": typed for name, typed in named.items()}
        return words(manager.post(url, sent | {"do": f"mend-{held.pk}"}, follow=True))

    assert "It still cannot be stored" in mend("S-7-7", "352")
    assert "found S-7-7" in words(manager.get(url))
    assert "It still cannot be stored" in mend("S-1-1", "thick")
    assert "It is stored, in the name of who entered it." in mend("S-1-1", "351,5")
    stored = Entry.objects.get(client_id=held.client_id)
    assert (stored.number, stored.tree.code, stored.by.username) == (351.5, "S-1-1", "field_crew")
    manager.post(url, {"do": f"drop-{second.pk}"})
    second.refresh_from_db()
    assert second.state == "set_aside"
    assert Entry.objects.count() == 1


def test_what_no_person_could_type_does_not_keep_an_entry_waiting(
    spring: Assessment, phone: Phone, manager: Client
) -> None:
    phone.send(phone.entry(sequence="seven", entered_at="yesterday", corrects="x", confirmed="maybe"))
    held = HeldEntry.objects.get()
    sent = {"kind": "value", "trait": "dbh_mm", "tree": "S-1-1", "value": "352"}
    fields = {f"{name}-{held.pk}": value for name, value in sent.items()}
    manager.post(page("assessment_waiting", spring.pk), fields | {"do": f"mend-{held.pk}"})
    assert Entry.objects.get().number == 352


def test_an_entry_for_no_assessment_is_placed_by_a_manager(
    material: Place, spring: Assessment, phone: Phone, manager: Client
) -> None:
    lost = phone.entry(assessment=2**40)
    receive_entries(device=uuid.uuid4(), entries=[lost], by=material.people["field_crew"])
    held = HeldEntry.objects.get()
    assert "1 entry came for no assessment there is" in words(manager.get(page("assessments")))
    assert "Sent by The field_crew" in words(manager.get(page("unplaced")))
    sent = {"assessment": spring.pk, "kind": "value", "trait": "dbh_mm", "tree": "S-1-1", "value": "352"}
    fields = {f"{name}-{held.pk}": value for name, value in sent.items()} | {"do": f"mend-{held.pk}"}
    manager.post(page("unplaced"), fields)
    assert Entry.objects.get().assessment == spring


@pytest.mark.parametrize("do", ["", "choose", "choose-x", "burn-1", "choose--1", "mend-²"])
def test_buttons_that_no_page_has_are_refused(spring: Assessment, manager: Client, do: str) -> None:
    assert manager.post(page("assessment_waiting", spring.pk), {"do": do}).status_code == 400


def test_entries_of_another_assessment_are_not_settled_here(
    material: Place, spring: Assessment, phone: Phone, manager: Client
) -> None:
    entry = phone.enter()
    second = open_spring(material, "Autumn", dt.date(2026, 9, 1))
    assert manager.post(page("assessment_waiting", second.pk), {"do": f"aside-{entry.pk}"}).status_code == 404
    assert standing_of(entry) == "current"


@pytest.mark.parametrize("who", NOT_MANAGERS)
def test_others_see_what_waits_and_decide_nothing(
    material: Place, spring: Assessment, phone: Phone, other: Phone, who: str
) -> None:
    entry = phone.enter(number=352)
    other.enter(number=300)
    client = signed_in(material, who)
    url = page("assessment_waiting", spring.pk)
    assert "This one stands" not in words(client.get(url))
    assert client.post(url, {"do": f"choose-{entry.pk}"}).status_code == 403
    assert standing_of(entry) == "disputed"


# Values, checks, figures ---------------------------------------------------------------------------------


def test_values_are_downloaded_wide_with_units_and_missing_ones_empty(
    spring: Assessment, phone: Phone, manager: Client
) -> None:
    phone.enter("S-1-1", 352)
    phone.enter("S-1-1", 1, "survival")
    phone.send(phone.mark("missing", "S-1-2"), phone.mark("note", "S-1-1", "nest"))
    rows = {row["Tree"]: row for row in downloaded(manager, page("assessment_values", spring.pk))}
    assert rows["S-1-1"]["Diameter at breast height (mm)"] == "352.0"
    assert rows["S-1-1"]["Survival"] == "yes"
    assert rows["S-1-1"]["Notes"] == "nest"
    assert rows["S-1-1"]["Height (m)"] == ""
    assert (rows["S-1-2"]["Not measured"], rows["S-1-2"]["Diameter at breast height (mm)"]) == ("missing", "")
    assert len(rows) == 4


def two_visits(place: Place, now: dict[str, float]) -> Assessment:
    """Every tree 100 mm in 2024, and these diameters in 2026."""
    before = open_spring(place, "Earlier", dt.date(2024, 4, 1))
    crew = Phone(before, place.people["field_crew"])
    for tree in ("S-1-1", "S-1-2", "S-2-1", "S-2-2"):
        crew.enter(tree, 100)
    later = open_spring(place)
    crew = Phone(later, place.people["field_crew"])
    for tree, value in now.items():
        crew.enter(tree, value)
    return later


def test_checks_compare_with_the_last_visit_and_lead_to_the_tree(material: Place, manager: Client) -> None:
    spring = two_visits(material, {"S-1-1": 314, "S-1-2": 104, "S-2-1": 90})
    url = page("assessment_checks", spring.pk)
    shown = manager.get(url)
    assert "Compared with Earlier" in words(shown)
    assert page("tree", "S-1-1").removeprefix("/") in shown.content.decode()
    found = {(row["Tree"], row["Check"]): row for row in downloaded(manager, url)}
    assert found["S-1-1", "Circumference typed"]["Perhaps meant"] == "100.0"
    assert found["S-1-1", "Circumference typed"]["How grave"] == "Cannot be true"
    assert ("S-2-1", "Shrank") in found
    assert not any(tree == "S-1-2" for tree, _ in found)


def test_checks_of_an_assessment_without_values_ask_nothing(spring: Assessment, manager: Client) -> None:
    shown = words(manager.get(page("assessment_checks", spring.pk)))
    assert "No numbers have been entered yet." in shown
    assert "No earlier assessment of this site shares a trait" in shown


def measured_stand(place: Place, spring: Assessment, phone: Phone, spacing: str) -> None:
    """Two live stems of 200 mm, one dead, one not seen; each alone on its plot."""
    site = place.trial.sites.get(code="S")
    describe_site(
        trial=place.trial,
        code="S",
        by=place.people["manager"],
        spacing_m=spacing,
        planted_on=dt.date(2006, 4, 1),
    )
    assert site.trees.count() == 4
    phone.enter("S-1-1", 200)
    phone.enter("S-2-2", 200)
    phone.send(phone.mark("dead", "S-1-2"))


def test_stand_figures_per_hectare_are_those_of_the_hand_calculation(
    material: Place, spring: Assessment, phone: Phone, manager: Client
) -> None:
    """2.5 × 2.5 m a tree: K1's two stems of 200 mm on 12.5 m² are 1600 stems and 1600 · π/4 · 0.2² m² a hectare."""
    measured_stand(material, spring, phone, "2.5 × 2.5")
    url = page("assessment_figures", spring.pk)
    rows = {row["Clone"]: row for row in downloaded(manager, url)}
    assert float(rows["K1"]["Stocking (stems/ha)"]) == pytest.approx(1600)
    assert float(rows["K1"]["Basal area (m²/ha)"]) == pytest.approx(1600 * math.pi / 4 * 0.04)
    assert float(rows["K1"]["Quadratic mean diameter (mm)"]) == pytest.approx(200)
    assert float(rows["K1"]["Mean increment, diameter (mm/year)"]) == pytest.approx(200 / 20, rel=1e-3)
    assert float(rows["K2"]["Survival"]) == 0
    assert rows["P1"]["Survival"] == ""
    shown = words(manager.get(url))
    assert "2 live of 3 seen" in shown
    assert "a curve needs at least 10" in shown
    assert "positions not seen: 1" in shown


@pytest.mark.parametrize(
    ("spacing", "told"), [("", "the site has no spacing yet"), ("close", "written as “close”")]
)
def test_without_a_spacing_figures_per_hectare_are_left_out_with_the_reason(
    material: Place, spring: Assessment, phone: Phone, manager: Client, spacing: str, told: str
) -> None:
    measured_stand(material, spring, phone, spacing)
    url = page("assessment_figures", spring.pk)
    assert told in words(manager.get(url))
    assert not any("/ha" in head for head in downloaded(manager, url)[0])


@pytest.mark.parametrize("by", ["clone", "block", "plot"])
def test_figures_are_given_per_clone_block_and_plot(
    material: Place, spring: Assessment, phone: Phone, manager: Client, by: str
) -> None:
    measured_stand(material, spring, phone, "3 × 2")
    rows = downloaded(manager, page("assessment_figures", spring.pk), by=by)
    assert len(rows) == {"clone": 3, "block": 2, "plot": 4}[by]
    assert sum(int(row["Planted"]) for row in rows) == 4


def test_heights_from_the_curve_are_marked_as_estimated(
    material: Place, spring: Assessment, phone: Phone, manager: Client
) -> None:
    layout = "site,block,plot,clone,tree,row,col\n" + "".join(f"S,1,9,K1,M{i},9,{i}\n" for i in range(12))
    material.bring("layout", layout, name="more.csv")
    for i in range(12):
        phone.enter(f"M{i}", 150 + 10 * i)
        if i < 11:
            phone.enter(f"M{i}", round(1.3 + (15 + i) ** 2 / (1.2 + 0.2 * (15 + i)) ** 2, 1), "height_m")
    shown = words(manager.get(page("assessment_figures", spring.pk)))
    assert "11 measured, 1 est." in shown
    assert "11 measured heights, 1 estimated" in shown
    assert "Height rises with diameter" in shown


def test_figures_by_anything_else_are_refused(spring: Assessment, manager: Client) -> None:
    assert manager.get(page("assessment_figures", spring.pk), {"by": "person"}).status_code == 400


# Map, walk, tree -----------------------------------------------------------------------------------------


def test_the_map_gets_compact_arrays_of_every_tree(material: Place, manager: Client) -> None:
    data = manager.get(page("site_map_data", "S")).json()
    assert data["code"] == ["S-1-1", "S-1-2", "S-2-1", "S-2-2"]
    assert (data["row"], data["col"]) == ([1, 1, 2, 2], [1, 2, 1, 2])
    assert [data["clones"][i]["code"] for i in data["clone"]] == ["K1", "K2", "P1", "K1"]
    assert [data["blocks"][i] for i in data["block"]] == ["1", "1", "2", "2"]
    assert data["tree_url"].replace(data["here"], "S-1-1") == page("tree", "S-1-1")
    assert (data["trait"], data["spacing"]) == (None, None)


def test_the_map_colours_by_a_trait_and_marks_what_was_not_measured(
    spring: Assessment, phone: Phone, manager: Client
) -> None:
    phone.enter("S-1-1", 352)
    phone.send(phone.mark("dead", "S-1-2"), phone.mark("skipped", "S-2-1"))
    trait = manager.get(page("site_map_data", "S"), {"colour": f"{spring.pk}.dbh_mm"}).json()["trait"]
    assert trait["value"] == [352, None, None, None]
    assert trait["mark"] == ["", "dead", "skipped", ""]
    assert trait["title"] == "Diameter at breast height, mm, Spring"
    assert f'value="{spring.pk}.dbh_mm"' in manager.get(page("site_map", "S")).content.decode()


@pytest.mark.parametrize("colour", ["", "hue", "1", "0.dbh_mm", "x.y", "1.dbh_mm.2"])
def test_a_colour_that_is_not_offered_is_refused(material: Place, manager: Client, colour: str) -> None:
    assert manager.get(page("site_map_data", "S"), {"colour": colour}).status_code == 400


def test_sites_without_trees_and_of_odd_codes_have_their_pages(material: Place, manager: Client) -> None:
    Site.objects.create(trial=material.trial, code="A/map")
    assert "No trees yet" in words(manager.get(page("site_map", "A/map")))
    assert manager.get(page("site_map_data", "A/map")).json()["code"] == []
    assert "0 trees" in words(manager.get(page("walking_list", "A/map")))


def test_the_walk_goes_back_and_forth_and_carries_the_caution(material: Place, manager: Client) -> None:
    url = page("walking_list", "S")
    assert [row["Tree"] for row in downloaded(manager, url)] == ["S-1-1", "S-1-2", "S-2-2", "S-2-1"]
    other = downloaded(manager, url, corner="bottom right", along="columns")
    assert [row["Tree"] for row in other] == ["S-2-2", "S-1-2", "S-1-1", "S-2-1"]
    assert "This list does not clear a tree for felling." in words(manager.get(url))
    assert "Clone" not in downloaded(manager, url)[0]
    assert downloaded(manager, url, clones="on")[0]["Clone"] == "K1"
    assert manager.get(url, {"corner": "middle"}).status_code == 400


def test_a_tree_shows_its_measurements_through_time(material: Place, manager: Client) -> None:
    spring = two_visits(material, {"S-1-1": 104})
    crew = Phone(spring, material.people["field_crew"])
    crew.send(crew.mark("note", "S-1-1", "nest in the crown"))
    shown = words(manager.get(page("tree", "S-1-1")))
    assert re.search(r"Spring 1 Apr 2026 104 Note: nest in the crown Earlier 1 Apr 2024 100 ", shown)
    material.bring("layout", "site,block,plot,clone,tree,row,col\nS,1,9,K1,M1,9,1\n", name="more.csv")
    assert "Nothing has been measured on this tree yet." in words(manager.get(page("tree", "M1")))


# Queries -------------------------------------------------------------------------------------------------

# Session, person and roles take 3 to 5 of them. A number may fall; before it rises, ask why.
QUERIES = {
    "traits": 6,
    "assessments": 9,
    "assessment": 14,
    "assessment_values": 11,
    "assessment_waiting": 10,
    "assessment_checks": 21,
    "assessment_figures": 9,
    "site_map": 9,
    "site_map_data": 8,
    "walking_list": 6,
    "tree": 10,
}


def asked(client: Client, name: str, spring: Assessment) -> int:
    more = {"site_map": ["S"], "site_map_data": ["S"], "walking_list": ["S"], "tree": ["S-1-1"]}
    args = [spring.pk] if name.startswith("assessment") and name != "assessments" else more.get(name, [])
    query = {"colour": f"{spring.pk}.dbh_mm"} if name == "site_map_data" else {}
    with CaptureQueriesContext(connection) as captured:
        assert client.get(page(name, *args), query).status_code == 200
    return len(captured)


def test_pages_take_their_number_of_queries_and_no_more_with_more_entries(
    material: Place, manager: Client
) -> None:
    spring = two_visits(material, {"S-1-1": 104, "S-1-2": 105})
    crew = Phone(spring, material.people["field_crew"])
    crew.send(crew.entry("S-9-9"))
    Phone(spring, material.people["manager"]).enter("S-1-1", 110)
    few = {name: asked(manager, name, spring) for name in QUERIES}
    for tree in ("S-2-1", "S-2-2"):
        crew.enter(tree, 106)
        crew.enter(tree, 2, "straightness")
        Phone(spring, material.people["manager"]).enter(tree, 111)
        crew.send(crew.entry("S-9-9"))
    assert {name: asked(manager, name, spring) for name in QUERIES} == few
    assert few == QUERIES


def test_a_closed_assessment_counts_the_trees_it_visited_whatever_became_of_them(
    material: Place, spring: Assessment, phone: Phone, manager: Client
) -> None:
    """More trees with a value than trees: what a closed visit showed once some of its trees were felled."""
    for tree in ("S-1-1", "S-1-2"):
        for trait, value in (("dbh_mm", 352), ("height_m", 21.5), ("straightness", 2), ("survival", 1)):
            phone.enter(tree, value, trait)
    spring.site.trees.exclude(code="S-1-1").update(status="felled")
    open_one = words(manager.get(page("assessment", spring.pk)))
    assert "Trees done 1 of 1 standing" in open_one
    close_assessment(assessment=spring, by=material.people["manager"])
    closed = words(manager.get(page("assessment", spring.pk)))
    assert "Trees done 2 of 2" in closed
    assert "Diameter at breast height, mm 2 of 2" in closed

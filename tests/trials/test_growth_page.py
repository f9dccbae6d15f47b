"""The page of growth curves: what it shows, what it leaves out, and the file of it."""

import datetime as dt
from typing import Any

import pytest
from django.test import Client

from tests.conftest import Place
from tests.trials.crews import Phone, open_spring
from tests.trials.test_measuring_pages import downloaded, page, signed_in, words
from trials.actions import describe_site


@pytest.fixture
def manager(material: Place) -> Client:
    return signed_in(material, "manager")


def grown(place: Place, *ages: int, planted: dt.date | None = dt.date(2000, 4, 1)) -> None:
    """Visits of the site at these ages: K1's two trees 10 mm a year and one of 12, K2's 8."""
    describe_site(trial=place.trial, code="S", by=place.people["manager"], planted_on=planted)
    for age in ages:
        phone = Phone(open_spring(place, f"Age {age}", dt.date(2000 + age, 4, 1)), place.people["field_crew"])
        for tree, per_year in (("S-1-1", 10), ("S-2-2", 12), ("S-1-2", 8)):
            phone.enter(tree, per_year * age)


def test_without_values_it_says_what_to_do(material: Place, manager: Client) -> None:
    assert "No measurements yet" in words(manager.get(page("growth")))


def test_means_intervals_and_increments_by_clone(material: Place, manager: Client) -> None:
    grown(material, 5, 10)
    rows = {
        (r["Clone"], round(float(r["Age (years)"]))): r for r in downloaded(manager, page("growth"), site="S")
    }
    later = rows["K1", 10]
    assert (float(later["Mean (mm)"]), later["Trees"], later["Plots"]) == (110, "2", "2")
    assert float(later["Mean increment (mm/year)"]) == pytest.approx(11, rel=1e-3)
    assert float(later["Periodic increment (mm/year)"]) == pytest.approx(11, rel=1e-3)
    assert (later["Same stems"], later["Not measured before"], later["Shrank"]) == ("2", "0", "0")
    # s / sqrt(2) times t(0.975, 1) = 12.706 (from any table of t): 110 ± 14.142 / 1.4142 * 12.706
    assert float(later["Low (mm)"]) == pytest.approx(110 - 10 * 12.706, rel=1e-3)
    assert rows["K2", 5]["Periodic increment (mm/year)"] == ""
    assert rows["K2", 10]["Low (mm)"] == ""
    shown = words(manager.get(page("growth"), {"site": "S"}))
    assert "2 clones of 2" in shown
    assert "None is fitted: 2 ages: a growth form needs at least 3." in shown
    assert "no interval: one plot" in shown


def test_three_ages_have_a_form(material: Place, manager: Client) -> None:
    grown(material, 5, 10, 16)
    shown = words(manager.get(page("growth")))
    assert "Schumacher: " in shown
    assert "3 ages" in shown


def test_an_assessment_of_unknown_age_is_left_out_with_the_reason(material: Place, manager: Client) -> None:
    grown(material, 5, planted=None)
    shown = words(manager.get(page("growth")))
    assert "the day of planting is not known" in shown
    assert "No curve to draw" in shown


def test_dead_trees_do_not_grow(material: Place, manager: Client) -> None:
    grown(material, 5, 10)
    spring = material.trial.sites.get(code="S").assessments.get(name="Age 10")
    phone = Phone(spring, material.people["field_crew"])
    phone.send(phone.mark("dead", "S-2-2"))
    rows = [r for r in downloaded(manager, page("growth")) if r["Clone"] == "K1"]
    assert [r["Trees"] for r in rows] == ["2", "1"]


@pytest.mark.parametrize("query", [{"site": "X"}, {"trait": "colour"}, {"trait": "straightness"}])
def test_what_is_not_offered_is_refused(material: Place, manager: Client, query: dict[str, str]) -> None:
    grown(material, 5)
    assert manager.get(page("growth"), query).status_code == 400


def test_clones_ticked_are_drawn(material: Place, manager: Client) -> None:
    grown(material, 5, 10)
    shown: Any = manager.get(page("growth"), {"clone": ["K2", "nobody"]})
    assert "1 clone of 2" in words(shown)

"""Pages that start and describe a trial and its sites: they work, and refuse whom and what they must."""

import html
import re
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client
from django.urls import reverse

from portal.models import Membership, Role, User
from portal.uploads.actions import replace_stored
from tests.conftest import Place
from tests.trials.crews import Phone, open_spring
from trials.actions import change_trial, create_trial
from trials.models import Site, Tree, Trial

NEW, LIST = reverse("trials:new_trial"), reverse("trials:trees")
DESCRIBE = reverse("trials:describe_trial", args=["small"])
NORTH = {
    "name": "North Fell",
    "code": "north-fell",
    "description": "Larch on peat.",
    "breast_height_m": "1.3",
}
RIGG = {
    "name": "Askerdale Rigg",
    "place": "Askerdale, past the sheepfold",
    "elevation_m": "310",
    "planted_on": "1994-04-12",
    "spacing_m": "3 × 2",
    "design": "six randomised blocks",
}
NOT_MANAGERS = [role for role in Role.values if role != Role.MANAGER]


def signed_in(place: Place, who: str) -> Client:
    client = Client()
    client.force_login(place.people[who])
    return client


def site_page(code: str = "S") -> str:
    return reverse("trials:describe_site", args=["small", code])


def words(response: Any) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", response.content.decode())))


def last_event(model: Any, **which: Any) -> Any:
    return model.pgh_event_model.objects.filter(**which).select_related("pgh_context").latest("pgh_id")


@pytest.fixture
def sited(place: Place) -> Place:
    """The trial with one site, and a manager of another trial ("neighbour")."""
    Site.objects.create(trial=place.trial, code="S")
    other = create_trial(code="other", name="Other trial", by=place.people["steward"])
    place.people["neighbour"] = User.objects.create_user("neighbour")
    Membership.objects.create(user=place.people["neighbour"], trial=other, role=Role.MANAGER)
    return place


# Starting a trial ----------------------------------------------------------------------------------------


def test_a_steward_starts_a_trial_and_is_its_manager(place: Place) -> None:
    client = signed_in(place, "steward")
    answer = client.post(NEW, NORTH, follow=True)
    assert answer.redirect_chain == [(reverse("reports:trial", args=["north-fell"]), 302)]
    assert "Bring in its people, then its clones." in words(answer)
    trial = Trial.objects.get(code="north-fell")
    assert (trial.name, trial.description, trial.breast_height_m) == ("North Fell", "Larch on peat.", 1.3)
    assert list(trial.memberships.values_list("user__username", "role")) == [("steward", "manager")]
    event = last_event(Trial, code="north-fell")
    assert (event.pgh_label, event.pgh_context.metadata["user"]) == ("added", place.people["steward"].pk)


@pytest.mark.parametrize("who", [*Role.values, "stranger"])
def test_nobody_else_starts_a_trial(place: Place, who: str) -> None:
    client = signed_in(place, who)
    assert client.get(NEW).status_code == 403
    assert client.post(NEW, NORTH).status_code == 403
    assert not Trial.objects.filter(code="north-fell").exists()
    assert f'href="{NEW}"' not in client.get(LIST, follow=True).content.decode()


def test_a_steward_finds_the_way_to_a_new_trial_beside_a_single_one(place: Place) -> None:
    assert f'href="{NEW}"' in signed_in(place, "steward").get(LIST).content.decode()
    assert signed_in(place, "manager").get(LIST)["Location"] == reverse("reports:trial", args=["small"])


@pytest.mark.parametrize("address", ["reports:home", "trials:trees", "portal:people"])
def test_before_the_first_trial_pages_tell_a_steward_to_start_it(steward: User, address: str) -> None:
    client = Client()
    client.force_login(steward)
    page = client.get(reverse(address))
    assert "No trial yet" in words(page)
    assert f'href="{NEW}"' in page.content.decode()


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"code": "new"}, "is the address of the page that starts a trial: choose another code."),
        ({"code": "New"}, "choose another code."),
        ({"code": "small"}, "There is a trial of this code already"),
        ({"code": "SMALL"}, "capital letters make no difference. Choose another."),
        ({"code": "north fell"}, "Leave out spaces and other signs"),
        ({"code": "north/fell"}, "Leave out spaces and other signs"),
        ({"code": "x" * 33}, "at most 32 characters"),
        ({"code": ""}, "This field is required."),
        ({"name": "  "}, "This field is required."),
        ({"name": "a\x00b"}, "Null characters are not allowed."),
        ({"breast_height_m": "0.9"}, "Breast height lies between 1 and 1.5 m"),
        ({"breast_height_m": "130"}, "Breast height lies between 1 and 1.5 m"),
        ({"breast_height_m": "nan"}, "Enter a number."),
        ({"breast_height_m": "inf"}, "Enter a number."),
        ({"breast_height_m": ""}, "This field is required."),
    ],
)
def test_a_trial_not_started_says_why_and_keeps_what_was_typed(
    place: Place, changed: dict[str, str], told: str
) -> None:
    answer = signed_in(place, "steward").post(NEW, NORTH | changed)
    assert answer.status_code == 422
    assert told in words(answer)
    assert "Larch on peat." in words(answer)
    assert Trial.objects.count() == 1


@pytest.mark.parametrize("code", ["new", "NEW", "small", "Small"])
def test_the_action_refuses_codes_that_cannot_be_addresses(place: Place, code: str) -> None:
    with pytest.raises(ValidationError):
        create_trial(code=code, name="X", by=place.people["steward"])
    assert Trial.objects.count() == 1


# Describing a trial --------------------------------------------------------------------------------------


def test_a_manager_describes_the_trial_and_its_code_stays(place: Place) -> None:
    client = signed_in(place, "manager")
    answer = client.post(DESCRIBE, NORTH | {"breast_height_m": "1.4"}, follow=True)
    assert "Larch on peat." in words(answer)
    place.trial.refresh_from_db()
    assert (place.trial.code, place.trial.name, place.trial.breast_height_m) == ("small", "North Fell", 1.4)
    event = last_event(Trial, pgh_obj_id=place.trial.pk)
    assert (event.pgh_label, event.name, event.pgh_context.metadata) == (
        "changed",
        "North Fell",
        {"user": place.people["manager"].pk, "url": DESCRIBE},
    )


def test_a_description_may_be_taken_back(place: Place) -> None:
    client = signed_in(place, "steward")
    client.post(DESCRIBE, NORTH)
    client.post(DESCRIBE, NORTH | {"description": ""})
    place.trial.refresh_from_db()
    assert place.trial.description == ""


@pytest.mark.parametrize(
    ("changed", "told"),
    [({"name": ""}, "This field is required."), ({"breast_height_m": "2"}, "1.3 in most countries")],
)
def test_a_trial_not_described_says_why(place: Place, changed: dict[str, str], told: str) -> None:
    answer = signed_in(place, "manager").post(DESCRIBE, NORTH | changed)
    assert answer.status_code == 422
    assert told in words(answer)
    place.trial.refresh_from_db()
    assert (place.trial.name, place.trial.breast_height_m) == ("Small trial", 1.3)


@pytest.mark.parametrize("who", [*NOT_MANAGERS, "stranger", "neighbour"])
def test_nobody_else_describes_trial_or_site(sited: Place, who: str) -> None:
    client = signed_in(sited, who)
    status = 404 if who in ("researcher", "stranger", "neighbour") else 403
    for address, sent in ((DESCRIBE, NORTH), (site_page(), RIGG)):
        assert client.get(address).status_code == status
        assert client.post(address, sent).status_code == status
    with pytest.raises(PermissionDenied):
        change_trial(trial=sited.trial, name="X", description="", breast_height_m=1.3, by=sited.people[who])
    sited.trial.refresh_from_db()
    assert sited.trial.name == "Small trial"
    assert sited.trial.sites.get().name == ""


def test_the_ways_in_are_shown_to_managers_only(sited: Place) -> None:
    pages = {
        reverse("reports:trial", args=["small"]): DESCRIBE,
        reverse("trials:site", args=["small", "S"]): site_page(),
    }
    for who in ("manager", "steward", "mill", "grader", "field_crew"):
        for page, link in pages.items():
            shown = f'href="{link}"' in signed_in(sited, who).get(page).content.decode()
            assert shown is (who in ("manager", "steward")), (who, page)


# Describing a site ---------------------------------------------------------------------------------------


def test_a_manager_describes_a_site(sited: Place) -> None:
    answer = signed_in(sited, "manager").post(site_page(), RIGG, follow=True)
    assert "Askerdale, past the sheepfold" in words(answer)
    site = sited.trial.sites.get()
    assert (site.code, site.name, site.elevation_m, site.spacing_m) == ("S", "Askerdale Rigg", 310.0, "3 × 2")
    assert site.planted_on.isoformat() == "1994-04-12"
    event = last_event(Site, pgh_obj_id=site.pk)
    assert (event.pgh_label, event.pgh_context.metadata["user"]) == ("changed", sited.people["manager"].pk)


def test_what_is_emptied_is_missing_and_not_zero(sited: Place) -> None:
    client = signed_in(sited, "manager")
    client.post(site_page(), RIGG)
    client.post(site_page(), dict.fromkeys(RIGG, ""))
    site = sited.trial.sites.get()
    assert (site.elevation_m, site.planted_on, site.name) == (None, None, "")


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"elevation_m": "9000"}, "between -450 and 6000 m above the sea"),
        ({"elevation_m": "high"}, "Enter a number."),
        ({"elevation_m": "nan"}, "Enter a number."),
        ({"planted_on": "1894-04-12"}, "Between 1900 and today"),
        ({"planted_on": "2994-04-12"}, "note the day when the trees were planted, or leave it empty"),
        ({"planted_on": "spring"}, "Enter a valid date."),
        ({"spacing_m": "x" * 41}, "at most 40 characters"),
        ({"design": "x" * 201}, "at most 200 characters"),
    ],
)
def test_a_site_not_described_says_why(sited: Place, changed: dict[str, str], told: str) -> None:
    answer = signed_in(sited, "manager").post(site_page(), RIGG | changed)
    assert answer.status_code == 422
    assert told in words(answer)
    assert "Askerdale Rigg" in answer.content.decode()
    assert sited.trial.sites.get().name == ""


def test_a_site_that_is_not_there_is_not_made(sited: Place) -> None:
    client = signed_in(sited, "manager")
    assert client.get(site_page("T")).status_code == 404
    assert client.post(site_page("T"), RIGG).status_code == 404
    assert sited.trial.sites.count() == 1


@pytest.mark.parametrize("code", ["A/describe", 'Ä 1 "x" <b>', "new"])
def test_sites_of_odd_codes_are_described_too(sited: Place, code: str) -> None:
    Site.objects.create(trial=sited.trial, code=code)
    client = signed_in(sited, "manager")
    assert client.get(site_page(code)).status_code == 200
    answer = client.post(site_page(code), RIGG)
    assert answer["Location"] == reverse("trials:site", args=["small", code])
    assert client.get(answer["Location"]).status_code == 200
    assert sited.trial.sites.get(code=code).name == "Askerdale Rigg"
    assert sited.trial.sites.get(code="S").name == ""


def test_a_measured_tree_stays_on_its_site_whatever_a_layout_says(material: Place) -> None:
    """Its assessments are of that site; the row is held with the reason, and nothing breaks."""
    phone = Phone(open_spring(material), material.people["field_crew"])
    phone.enter("S-1-1", 300)
    moved = "site,block,plot,clone,tree,row,col\nT,1,1,K1,S-1-1,1,1\nT,1,1,K2,S-1-2,1,2\nT,1,1,K1,NEW,1,3\n"
    upload = material.bring("layout", moved, name="moved.csv")
    held = {row.values["tree"]: row.problems for row in upload.held_rows.all()}
    assert any("a measured tree stays on its site" in p["expected"] for p in held["S-1-1"])
    assert not any("measured" in p["expected"] for p in held.get("S-1-2", []))
    assert upload.added == 1
    held_ids = list(upload.held_rows.values_list("pk", flat=True))
    assert replace_stored(upload_id=upload.pk, held_ids=held_ids, by=material.people["manager"]) == 1
    sites = dict(Tree.objects.filter(code__in=["S-1-1", "S-1-2", "NEW"]).values_list("code", "site__code"))
    assert sites == {"S-1-1": "S", "S-1-2": "T", "NEW": "T"}

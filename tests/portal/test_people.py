"""People and their roles: given, ended, brought in; everybody's own account; and every refusal."""

import html
import re
from typing import Any

import pytest
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from portal.models import Membership, Role, User
from portal.people import actions
from tests.conftest import PASSWORD, Place
from tests.refusals import refused
from trials.actions import create_trial
from trials.models import Trial

PEOPLE = reverse("portal:people")
GIVE, NEW = (reverse(f"portal:{name}", args=["small"]) for name in ("give_role", "new_person"))
ACCOUNT, PASSWORD_PAGE = reverse("portal:account"), reverse("portal:change_password")
SIGNE = {"full_name": "Signe Aldale", "username": "signe", "email": "signe@example.org", "role": "mill"}
NOT_MANAGERS = [role for role in Role.values if role != Role.MANAGER]


def signed_in(place: Place, who: str) -> Client:
    client = Client()
    client.force_login(place.people[who])
    return client


def role_of(place: Place, who: str, role: str = "") -> Membership:
    return Membership.objects.get(user=place.people[who], trial=place.trial, role=role or who)


def end_url(membership: Membership, trial: str = "small") -> str:
    return reverse("portal:end_role", args=[trial, membership.pk])


def words(response: Any) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", response.content.decode())))


def first_password(response: Any) -> str:
    return html.unescape(re.search(r'id="first-password">([^<]+)<', response.content.decode())[1])


def events(membership: Membership) -> list[Any]:
    found = Membership.pgh_event_model.objects.filter(pgh_obj_id=membership.pk)
    return list(found.order_by("pgh_id").select_related("pgh_context"))


@pytest.fixture
def other(place: Place) -> Trial:
    """A second trial with a manager ("neighbour") and a grader ("outsider") of its own."""
    trial = create_trial(code="other", name="Other trial", by=place.people["steward"])
    for name, role in (("neighbour", Role.MANAGER), ("outsider", Role.GRADER)):
        place.people[name] = User.objects.create_user(name, password=PASSWORD, full_name=f"The {name}")
        Membership.objects.create(user=place.people[name], trial=trial, role=role)
    return trial


# It works ------------------------------------------------------------------------------------------------


def test_a_manager_sees_the_people_of_the_trial_with_their_roles(place: Place) -> None:
    User.objects.filter(username="mill").update(email="mill@example.org")
    page = words(signed_in(place, "manager").get(PEOPLE))
    for shown in ("The grader", "The mill", "mill@example.org", "Field crew", "Researcher", "Small trial"):
        assert shown in page
    assert "stranger" not in page


def test_a_steward_sees_the_people_of_every_trial(place: Place, other: Trial) -> None:
    page = words(signed_in(place, "steward").get(PEOPLE))
    assert "The mill" in page
    assert "The neighbour" in page


def test_a_role_is_given_by_user_name(place: Place) -> None:
    answer = signed_in(place, "manager").post(GIVE, {"username": "stranger", "role": "grader"})
    assert answer["Location"] == f"{PEOPLE}#trial-small"
    assert role_of(place, "stranger", "grader").active
    assert signed_in(place, "stranger").get("/sawing/small/first/").status_code == 200


def test_a_role_is_given_whatever_the_capitals(place: Place) -> None:
    signed_in(place, "manager").post(GIVE, {"username": " Stranger ", "role": "mill"})
    assert role_of(place, "stranger", "mill").active


def test_a_role_that_ended_stays_on_record_and_shuts_the_person_out(place: Place) -> None:
    membership = role_of(place, "mill")
    answer = signed_in(place, "manager").post(end_url(membership), follow=True)
    assert "The role mill staff of The mill has ended." in words(answer)
    assert "Ended: mill staff" in words(answer)
    membership.refresh_from_db()
    assert not membership.active
    assert signed_in(place, "mill").get("/sawing/small/first/").status_code == 404


def test_a_role_that_ended_is_given_again_in_the_same_row(place: Place) -> None:
    membership, client = role_of(place, "mill"), signed_in(place, "manager")
    client.post(end_url(membership))
    client.post(GIVE, {"username": "mill", "role": "mill"})
    membership.refresh_from_db()
    assert membership.active
    assert Membership.objects.filter(user=place.people["mill"]).count() == 1
    assert [(e.pgh_label, e.active) for e in events(membership)] == [
        ("added", True),
        ("changed", False),
        ("changed", True),
    ]


def test_ending_a_role_twice_changes_nothing_more(place: Place) -> None:
    membership, client = role_of(place, "mill"), signed_in(place, "manager")
    for _ in range(2):
        assert client.post(end_url(membership)).status_code == 302
    assert len(events(membership)) == 2


def test_somebody_new_is_brought_in_and_signs_in_with_the_password_shown(place: Place) -> None:
    answer = signed_in(place, "manager").post(NEW, SIGNE)
    assert answer.status_code == 200
    password = first_password(answer)
    assert "change the password" in words(answer)
    signe = User.objects.get(username="signe")
    assert (signe.full_name, signe.email, signe.is_superuser, signe.is_staff) == (
        "Signe Aldale",
        "signe@example.org",
        False,
        False,
    )
    assert list(signe.memberships.values_list("trial__code", "role", "active")) == [("small", "mill", True)]
    client = Client()
    client.post(reverse("portal:sign_in"), {"username": "signe", "password": password})
    assert client.get("/sawing/small/first/").status_code == 200


def test_the_first_password_is_shown_once_and_kept_nowhere_in_clear(place: Place) -> None:
    client = signed_in(place, "manager")
    answer = client.post(NEW, SIGNE)
    password = first_password(answer)
    assert "no-store" in answer["Cache-Control"]
    for address in (PEOPLE, NEW, reverse("reports:home")):
        assert password not in client.get(address).content.decode()
    assert password not in str(dict(client.session))
    assert password not in str(User.objects.filter(username="signe").values())


def test_first_passwords_differ_and_keep_to_the_rules_of_the_settings(place: Place) -> None:
    client = signed_in(place, "manager")
    passwords = {first_password(client.post(NEW, SIGNE | {"username": f"signe{i}"})) for i in range(5)}
    assert len(passwords) == 5
    for password in passwords:
        assert re.fullmatch(r"[a-z2-9]{4}(-[a-z2-9]{4}){3}", password)
        validate_password(password, User.objects.get(username="signe0"))


def test_history_names_who_gave_ended_and_brought_in(place: Place) -> None:
    client, manager = signed_in(place, "manager"), place.people["manager"]
    client.post(NEW, SIGNE)
    signe = Membership.objects.get(user__username="signe")
    client.post(end_url(signe))
    found = events(signe)
    assert [(e.pgh_label, e.active) for e in found] == [("added", True), ("changed", False)]
    assert {e.pgh_context.metadata["user"] for e in found} == {manager.pk}
    assert [e.pgh_context.metadata["url"] for e in found] == [NEW, end_url(signe)]
    page = words(client.get(PEOPLE))
    assert "Mill staff given to Signe Aldale by The manager" in page
    assert "Mill staff ended for Signe Aldale by The manager" in page


def test_everybody_changes_their_own_name_and_address(place: Place) -> None:
    client = signed_in(place, "stranger")
    sent = {"full_name": "A Stranger", "email": "a@example.org", "username": "manager", "is_superuser": "on"}
    assert client.post(ACCOUNT, sent).status_code == 302
    user = User.objects.get(pk=place.people["stranger"].pk)
    assert (user.full_name, user.email) == ("A Stranger", "a@example.org")
    assert (user.username, user.is_superuser) == ("stranger", False), "only name and address are taken"
    assert user.check_password(PASSWORD)


def test_the_account_shows_ones_own_roles_only(place: Place, other: Trial) -> None:
    page = words(signed_in(place, "mill").get(ACCOUNT))
    assert "You sign in as mill." in page
    assert "Mill staff Small trial" in page
    assert "Other trial" not in page
    assert "You have no role yet" in words(signed_in(place, "stranger").get(ACCOUNT))


def test_a_password_is_changed_and_signs_out_elsewhere(place: Place) -> None:
    here, elsewhere = signed_in(place, "mill"), signed_in(place, "mill")
    fresh = "two herons by the weir"
    sent = {"old_password": PASSWORD, "new_password1": fresh, "new_password2": fresh}
    assert here.post(PASSWORD_PAGE, sent)["Location"] == ACCOUNT
    assert here.get(ACCOUNT).status_code == 200
    assert elsewhere.get(ACCOUNT).status_code == 302
    assert User.objects.get(username="mill").check_password(fresh)


def test_links_lead_managers_to_people_and_everybody_to_their_account(place: Place) -> None:
    for who, shown in (("manager", True), ("steward", True), ("mill", False), ("grader", False)):
        client = signed_in(place, who)
        for address in (reverse("reports:home"), reverse("reports:trial", args=["small"])):
            page = client.get(address).content.decode()
            assert (f'href="{PEOPLE}#trial-small"' in page) is shown, (who, address)
            assert f'href="{ACCOUNT}"' in page


def test_the_page_asks_the_database_no_oftener_for_more_people(place: Place) -> None:
    client = signed_in(place, "manager")
    with CaptureQueriesContext(
        connection,
    ) as few:
        client.get(PEOPLE)
    for i in range(20):
        user = User.objects.create_user(f"hand{i}")
        Membership.objects.create(user=user, trial=place.trial, role=Role.MILL)
    with CaptureQueriesContext(connection) as many:
        client.get(PEOPLE)
    assert len(many) == len(few) <= 8


# Who may not ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("who", [*NOT_MANAGERS, "stranger"])
def test_others_do_not_see_people(place: Place, who: str) -> None:
    assert signed_in(place, who).get(PEOPLE).status_code == 403


def test_who_managed_once_does_not_see_people(place: Place) -> None:
    Membership.objects.filter(user=place.people["manager"]).update(active=False)
    assert signed_in(place, "manager").get(PEOPLE).status_code == 403
    assert signed_in(place, "manager").get(NEW).status_code == 404


@pytest.mark.parametrize("who", [*NOT_MANAGERS, "stranger"])
def test_others_change_no_roles(place: Place, who: str) -> None:
    client, before = signed_in(place, who), Membership.objects.filter(active=True).count()
    outside = who in ("researcher", "stranger")
    for address, sent in (
        (GIVE, {"username": who, "role": "manager"}),
        (NEW, SIGNE),
        (end_url(role_of(place, "grader")), {}),
    ):
        assert client.post(address, sent).status_code == (404 if outside else 403)
    assert Membership.objects.filter(active=True).count() == before
    assert not User.objects.filter(username="signe").exists()


@pytest.mark.parametrize("who", [*NOT_MANAGERS, "stranger"])
def test_the_actions_themselves_ask_who_it_is(place: Place, who: str) -> None:
    by, trial = place.people[who], place.trial
    before = User.objects.count()
    with pytest.raises(PermissionDenied):
        actions.give_role(trial=trial, user=by, role="manager", by=by)
    with pytest.raises(PermissionDenied):
        actions.end_role(membership=role_of(place, "manager"), by=by)
    with pytest.raises(PermissionDenied):
        actions.bring_in(trial=trial, by=by, **SIGNE)
    assert User.objects.count() == before


def test_nobody_changes_another_persons_details(place: Place) -> None:
    for who in ("manager", "steward"):
        with pytest.raises(PermissionDenied):
            actions.change_own_details(
                user=place.people["mill"], full_name="X", email="", by=place.people[who]
            )


def test_roles_of_another_trial_are_neither_shown_nor_changed(place: Place, other: Trial) -> None:
    client = signed_in(place, "neighbour")
    page = words(client.get(PEOPLE))
    assert "The outsider" in page
    for hidden in ("Small trial", "The mill", "The manager"):
        assert hidden not in page
    foreign = role_of(place, "mill")
    # Neither by the foreign trial's address nor by slipping its role under one's own trial.
    assert client.post(end_url(foreign)).status_code == 404
    assert client.post(end_url(foreign, trial="other")).status_code == 404
    assert client.post(GIVE, {"username": "neighbour", "role": "manager"}).status_code == 404
    assert client.post(NEW, SIGNE).status_code == 404
    foreign.refresh_from_db()
    assert foreign.active
    assert not Membership.objects.filter(user=place.people["neighbour"], trial=place.trial).exists()


def test_a_role_in_one_trial_gives_none_in_another(place: Place, other: Trial) -> None:
    signed_in(place, "neighbour").post(
        reverse("portal:give_role", args=["other"]), {"username": "mill", "role": "manager"}
    )
    assert signed_in(place, "mill").get(PEOPLE).status_code == 200
    assert signed_in(place, "mill").get(NEW).status_code == 403


# The last manager ----------------------------------------------------------------------------------------


def test_ones_own_last_manager_role_stays(place: Place) -> None:
    client, own = signed_in(place, "manager"), role_of(place, "manager")
    client.post(end_url(role_of(place, "steward", "manager")))
    page = client.get(PEOPLE).content.decode()
    assert end_url(own) not in page
    answer = client.post(end_url(own), follow=True)
    assert "Give somebody else the role of manager first" in words(answer)
    own.refresh_from_db()
    assert own.active


def test_a_manager_whose_sign_in_is_closed_looks_after_nobody(place: Place) -> None:
    User.objects.filter(username="steward").update(is_active=False)
    own = role_of(place, "manager")
    with pytest.raises(ValidationError, match="is the last manager"):
        actions.end_role(membership=own, by=place.people["manager"])
    assert end_url(own) not in signed_in(place, "manager").get(PEOPLE).content.decode()


def test_a_manager_may_leave_when_another_stays(place: Place) -> None:
    client = signed_in(place, "manager")
    answer = client.post(end_url(role_of(place, "manager")))
    assert answer["Location"] == reverse("reports:home")
    assert client.get(PEOPLE).status_code == 403


def test_even_a_steward_leaves_no_trial_without_a_manager(place: Place) -> None:
    steward = place.people["steward"]
    actions.end_role(membership=role_of(place, "manager"), by=steward)
    with pytest.raises(ValidationError, match="is the last manager"):
        actions.end_role(membership=role_of(place, "steward", "manager"), by=steward)


def test_roles_of_a_trial_change_one_at_a_time(place: Place) -> None:
    """Two managers who end each other's role at the same moment: the second asks again under the lock."""
    membership = role_of(place, "mill")
    with CaptureQueriesContext(connection) as asked:
        actions.end_role(membership=membership, by=place.people["manager"])
    sql = [query["sql"] for query in asked]
    lock = next(i for i, q in enumerate(sql) if '"trials_trial"' in q and "FOR NO KEY UPDATE" in q)
    permission = next(i for i, q in enumerate(sql) if '"portal_membership"' in q)
    assert lock < permission


# What will not do ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sent", "told"),
    [
        ({"username": "nobody-known", "role": "mill"}, "Check the spelling, or bring the person in as new."),
        ({"username": "mill", "role": "mill"}, "The mill holds this role already."),
        ({"username": "stranger", "role": "king"}, "Select a valid choice."),
        ({"username": "stranger", "role": ""}, "Choose a role."),
        ({"username": "", "role": "mill"}, "This field is required."),
        ({"username": "a\x00b", "role": "mill"}, "Null characters are not allowed."),
        ({"username": "closed", "role": "mill"}, "The sign-in of closed is closed. A steward can open it"),
    ],
)
def test_a_role_not_given_says_why(place: Place, sent: dict[str, str], told: str) -> None:
    User.objects.create_user("closed", is_active=False)
    before = Membership.objects.count()
    answer = signed_in(place, "manager").post(GIVE, sent)
    assert answer.status_code == 422
    assert told in words(answer)
    assert Membership.objects.count() == before


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"username": "mill"}, "There is a person of this user name already"),
        ({"username": "MILL"}, "capital letters make no difference"),
        ({"username": "Stranger"}, "give them a role instead"),
        ({"username": "signe aldale"}, "Leave out the other characters."),
        ({"username": "x" * 151}, "at most 150 characters"),
        ({"username": ""}, "This field is required."),
        ({"full_name": " "}, "This field is required."),
        ({"email": "signe@"}, "Correct it or leave it empty."),
        ({"email": "signe"}, "An address has the form name@place"),
        ({"role": ""}, "Choose a role."),
        ({"role": "steward"}, "Select a valid choice."),
    ],
)
def test_somebody_not_brought_in_says_why_and_keeps_what_was_typed(
    place: Place, changed: dict[str, str], told: str
) -> None:
    before = User.objects.count(), Membership.objects.count()
    answer = signed_in(place, "manager").post(NEW, SIGNE | changed)
    assert answer.status_code == 422
    assert told in words(answer)
    assert "first-password" not in answer.content.decode()
    kept = "signe@example.org" if "email" not in changed else "Signe Aldale"
    assert kept in answer.content.decode()
    assert (User.objects.count(), Membership.objects.count()) == before


def test_all_that_is_wrong_is_said_at_once(place: Place) -> None:
    answer = signed_in(place, "manager").post(NEW, SIGNE | {"username": "MILL", "email": "signe", "role": ""})
    assert "3 things to mend" in words(answer)


def test_an_address_may_be_missing(place: Place) -> None:
    assert signed_in(place, "manager").post(NEW, SIGNE | {"email": ""}).status_code == 200


@pytest.mark.parametrize("name", ["MILL", "Mill", "mill"])
def test_the_action_and_the_database_refuse_names_alike_but_for_capitals(place: Place, name: str) -> None:
    with pytest.raises(ValidationError, match="capital letters make no difference"):
        actions.bring_in(trial=place.trial, by=place.people["manager"], **SIGNE | {"username": name})
    with refused("portal_user_name_once|portal_user_username_key"):
        User.objects.bulk_create([User(username=name)])


def test_capitals_beyond_ascii_make_no_difference_either(place: Place) -> None:
    client = signed_in(place, "manager")
    assert client.post(NEW, SIGNE | {"username": "åse"}).status_code == 200
    assert client.post(NEW, SIGNE | {"username": "ÅSE"}).status_code == 422
    with refused("portal_user_name_once"):
        User.objects.bulk_create([User(username="ÅSE")])


@pytest.mark.parametrize("changed", [{"username": "a b"}, {"email": "signe"}, {"role": "king"}])
def test_the_action_refuses_what_the_form_would(place: Place, changed: dict[str, str]) -> None:
    with pytest.raises(ValidationError):
        actions.bring_in(trial=place.trial, by=place.people["manager"], **SIGNE | changed)
    assert not User.objects.filter(full_name="Signe Aldale").exists()


def test_rules_no_made_password_can_keep_bring_nobody_in(place: Place, settings: Any) -> None:
    settings.AUTH_PASSWORD_VALIDATORS = [
        {
            "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
            "OPTIONS": {"min_length": 99},
        }
    ]
    with pytest.raises(ValidationError, match="99"):
        actions.bring_in(trial=place.trial, by=place.people["manager"], **SIGNE)
    assert not User.objects.filter(username="signe").exists()


@pytest.mark.parametrize(
    ("old", "new", "again", "told"),
    [
        (PASSWORD, "short", "short", "at least 10 characters"),
        (PASSWORD, "1q2w3e4r5t", "1q2w3e4r5t", "too common"),
        (PASSWORD, "Agnes Birkfold", "Agnes Birkfold", "too similar to the full name"),
        (PASSWORD, "agnes.birk@example.org", "agnes.birk@example.org", "too similar to the email"),
        (PASSWORD, "two herons by the weir", "two herons by the wier", "didn’t match"),
        ("not the old one", "two herons by the weir", "two herons by the weir", "entered incorrectly"),
    ],
)
def test_a_weak_or_mistyped_password_changes_nothing(
    place: Place, old: str, new: str, again: str, told: str
) -> None:
    User.objects.filter(username="mill").update(full_name="Agnes Birkfold", email="agnes.birk@example.org")
    answer = signed_in(place, "mill").post(
        PASSWORD_PAGE, {"old_password": old, "new_password1": new, "new_password2": again}
    )
    assert answer.status_code == 422
    assert told in words(answer)
    assert "The password was not changed." in words(answer)
    assert f'value="{new}"' not in answer.content.decode()
    assert User.objects.get(username="mill").check_password(PASSWORD)


@pytest.mark.parametrize(
    ("sent", "told"),
    [
        ({"full_name": "", "email": ""}, "This field is required."),
        ({"full_name": "X", "email": "x@"}, "Correct it or leave it empty."),
        ({"full_name": "x" * 151, "email": ""}, "at most 150 characters"),
    ],
)
def test_an_account_not_changed_says_why(place: Place, sent: dict[str, str], told: str) -> None:
    answer = signed_in(place, "mill").post(ACCOUNT, sent)
    assert answer.status_code == 422
    assert told in words(answer)
    assert "The mill" in words(answer), "the head still shows the stored name"
    assert User.objects.get(username="mill").full_name == "The mill"


def test_a_form_from_elsewhere_gives_no_role(place: Place) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(place.people["manager"])
    assert client.post(GIVE, {"username": "stranger", "role": "manager"}).status_code == 403
    assert not Membership.objects.filter(user=place.people["stranger"]).exists()


def test_markup_in_a_name_is_shown_as_text(place: Place) -> None:
    User.objects.filter(username="mill").update(full_name="<b>&'\"")
    page = signed_in(place, "manager").get(PEOPLE).content.decode()
    assert "<b>&'" not in page
    assert "&lt;b&gt;&amp;" in page

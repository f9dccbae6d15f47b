"""A check list that a manager works through: ticks hold while the entries do, and closing says what is undone."""

import datetime as dt
import html
import re
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client

from portal.models import Role
from tests.conftest import Place
from tests.trials.crews import Phone, open_spring
from tests.trials.test_measuring_pages import downloaded, page, signed_in, words
from trials.desk.settling import check_list, closing
from trials.entries.actions import (
    Looked,
    change_assessment,
    close_assessment,
    open_check_again,
    reopen_assessment,
    set_aside,
    settle_checks,
)
from trials.models import Assessment, Entry, SettledCheck

NOTE = {"do": "settle", "note": "tape read again"}


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
def doubtful(phone: Phone) -> Entry:
    """A diameter beyond its limits, which the check of limits asks about."""
    return phone.enter("S-1-1", 2900)


def marks(spring: Assessment) -> dict[tuple[str, str], str]:
    return {(a.finding.check, str(a.finding.rows[0])): a.fingerprint for a in check_list(spring).asked}


def tick(client: Client, spring: Assessment, *fingerprints: str, **changes: str) -> Any:
    return client.post(
        page("assessment_checks", spring.pk), {"tick": fingerprints} | NOTE | changes, follow=True
    )


def test_a_finding_is_ticked_with_a_note_and_counted(
    doubtful: Entry, spring: Assessment, manager: Client
) -> None:
    url = page("assessment_checks", spring.pk)
    (mark,) = marks(spring).values()
    assert re.search("Looked at 0 of 1", words(manager.get(url)))
    shown = words(tick(manager, spring, mark))
    assert "One finding is ticked as looked at." in shown
    (row,) = downloaded(manager, url)
    assert (row["Looked at"], row["By"], row["What was found"]) == (
        "looked at",
        "The manager",
        "tape read again",
    )
    settled = SettledCheck.objects.get()
    assert (settled.tree.code, settled.trait.code, settled.by.username) == ("S-1-1", "dbh_mm", "manager")  # type: ignore[union-attr]
    assert "2900" in settled.said
    assert check_list(spring).n_settled == 1


def test_ticked_twice_it_is_one_tick_and_the_first_stays(
    doubtful: Entry, spring: Assessment, manager: Client
) -> None:
    (mark,) = marks(spring).values()
    tick(manager, spring, mark)
    assert "0 findings are ticked" in words(tick(manager, spring, mark, note="another word"))
    assert SettledCheck.objects.get().note == "tape read again"


@pytest.mark.parametrize("what", ["another value", "set aside", "the same value again"])
def test_a_tick_ends_when_the_entry_under_it_changes(
    doubtful: Entry, phone: Phone, spring: Assessment, manager: Client, material: Place, what: str
) -> None:
    (mark,) = marks(spring).values()
    tick(manager, spring, mark)
    if what == "set aside":
        set_aside(entry_id=doubtful.pk, by=material.people["manager"])
        assert check_list(spring).asked == ()
        return
    phone.enter("S-1-1", 2901 if what == "another value" else 2900)
    listed = check_list(spring)
    # A correction to the very same number is another entry: somebody has touched it since.
    assert [a.settled for a in listed.asked] == [None]
    assert SettledCheck.objects.count() == 1


@pytest.mark.parametrize(
    ("tree", "number", "trait"),
    [("S-1-1", 24.0, "height_m"), ("S-1-2", 300, "dbh_mm"), ("S-1-1", 3, "straightness")],
)
def test_a_tick_holds_while_other_entries_come(
    doubtful: Entry, phone: Phone, spring: Assessment, manager: Client, tree: str, number: float, trait: str
) -> None:
    mark = marks(spring)["limits", "S-1-1"]
    tick(manager, spring, mark)
    phone.enter(tree, number, trait)
    assert marks(spring)["limits", "S-1-1"] == mark
    assert check_list(spring).n_settled == 1


def test_height_against_diameter_is_about_both(phone: Phone, spring: Assessment, manager: Client) -> None:
    phone.enter("S-1-1", 100)
    phone.enter("S-1-1", 35.0, "height_m")
    (key,) = [k for k in marks(spring) if k[0] == "slenderness"]
    tick(manager, spring, marks(spring)[key])
    assert check_list(spring).n_settled == 1
    phone.enter("S-1-1", 101)  # the finding is on the height; the diameter under it changed
    assert check_list(spring).n_settled == 0


def test_a_correction_of_the_last_visit_opens_it_again(material: Place, manager: Client) -> None:
    last = open_spring(material, "Last", day=dt.date(2023, 4, 1))
    before = Phone(last, material.people["field_crew"])
    before.enter("S-1-1", 300)
    now = open_spring(material)
    Phone(now, material.people["field_crew"]).enter("S-1-1", 280)
    (key,) = [k for k in marks(now) if k[0] == "shrank"]
    tick(manager, now, marks(now)[key])
    assert check_list(now).n_settled == 1
    before.enter("S-1-1", 310)
    assert check_list(now).n_settled == 0


def test_a_tick_is_taken_back(doubtful: Entry, spring: Assessment, manager: Client) -> None:
    (mark,) = marks(spring).values()
    tick(manager, spring, mark)
    again = {"do": f"again-{SettledCheck.objects.get().pk}"}
    shown = manager.post(page("assessment_checks", spring.pk), again, follow=True)
    assert "to be looked at again" in words(shown)
    assert not SettledCheck.objects.exists()
    assert [e.pgh_label for e in SettledCheck.pgh_event_model.objects.order_by("pgh_id")] == [
        "added",
        "deleted",
    ]  # type: ignore[attr-defined]
    assert "taken back before" in words(
        manager.post(page("assessment_checks", spring.pk), again, follow=True)
    )


def test_what_changed_meanwhile_is_not_ticked(
    doubtful: Entry, phone: Phone, spring: Assessment, manager: Client
) -> None:
    (mark,) = marks(spring).values()
    phone.enter("S-1-1", 2902)
    assert "changed meanwhile" in words(tick(manager, spring, mark))
    assert not SettledCheck.objects.exists()


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"note": " "}, "Write what was found"),
        ({"note": "x" * 1001}, "1000 letters"),
        ({"tick": []}, "Tick at least one"),
    ],
)
def test_without_a_note_or_a_tick_nothing_is_ticked(
    doubtful: Entry, spring: Assessment, manager: Client, changes: dict[str, Any], told: str
) -> None:
    sent = {"tick": list(marks(spring).values())} | NOTE | changes
    assert told in words(manager.post(page("assessment_checks", spring.pk), sent, follow=True))
    assert not SettledCheck.objects.exists()


def test_a_note_with_a_sign_no_database_holds_is_kept_with_the_sign_shown(
    doubtful: Entry, spring: Assessment, manager: Client
) -> None:
    tick(manager, spring, *marks(spring).values(), note="read\x00again")
    assert SettledCheck.objects.get().note == "read␀again"


@pytest.mark.parametrize("do", ["", "settle-1", "again", "again-x", "again-" + "9" * 19, "burn"])
def test_buttons_that_the_page_has_not_are_refused(spring: Assessment, manager: Client, do: str) -> None:
    assert manager.post(page("assessment_checks", spring.pk), {"do": do}).status_code == 400


@pytest.mark.parametrize("who", [Role.FIELD_CREW, Role.MILL, Role.GRADER])
def test_others_see_the_ticks_and_set_none(
    doubtful: Entry, spring: Assessment, material: Place, who: str
) -> None:
    client = signed_in(material, who)
    url = page("assessment_checks", spring.pk)
    assert b'name="tick"' not in client.get(url).content
    assert tick(client, spring, *marks(spring).values()).status_code == 403
    with pytest.raises(PermissionDenied):
        settle_checks(
            assessment=spring, looked=[Looked("f", "limits", "x")], note="n", by=material.people[who]
        )
    with pytest.raises(PermissionDenied):
        open_check_again(assessment=spring, settled_id=1, by=material.people[who])


def stated(client: Client, spring: Assessment) -> str:
    text = client.get(page("close_assessment", spring.pk)).content.decode()
    return html.unescape(re.search(r'name="stated" value="([^"]*)"', text)[1])  # type: ignore[index]


def test_closing_says_what_is_undone_and_keeps_it(
    doubtful: Entry, spring: Assessment, manager: Client
) -> None:
    told = closing(spring)
    assert told.undone == (
        "1 of 1 findings of the checks not looked at (1 cannot be true)",
        "4 of 4 standing trees not done",
    )
    assert "1 of 1 findings of the checks not looked at" in words(
        manager.get(page("close_assessment", spring.pk))
    )
    manager.post(page("assessment_state", spring.pk), {"do": "close", "stated": stated(manager, spring)})
    spring.refresh_from_db()
    assert (spring.state, spring.closed_with) == ("closed", told.statement)
    assert "4 of 4 standing trees not done" in words(manager.get(page("assessment", spring.pk)))
    manager.post(page("assessment_state", spring.pk), {"do": "reopen"})
    spring.refresh_from_db()
    assert (spring.state, spring.closed_with) == ("open", "")


def test_it_does_not_close_on_an_old_statement(
    doubtful: Entry, phone: Phone, spring: Assessment, manager: Client
) -> None:
    told = stated(manager, spring)
    phone.enter("S-1-2", 3000)
    response = manager.post(page("assessment_state", spring.pk), {"do": "close", "stated": told}, follow=True)
    assert "Not closed yet" in words(response)
    assert "2 of 2 findings" in words(response)
    spring.refresh_from_db()
    assert spring.state == "open"
    response = manager.post(page("assessment_state", spring.pk), {"do": "close"}, follow=True)
    assert "Not closed yet" in words(response)


def test_with_all_looked_at_and_done_nothing_is_said(
    spring: Assessment, phone: Phone, manager: Client, material: Place
) -> None:
    for tree in ("S-1-1", "S-1-2", "S-2-1", "S-2-2"):
        phone.send(phone.mark("dead", tree))
    assert closing(spring).undone == ()
    assert "every finding of the checks is looked at" in words(
        manager.get(page("close_assessment", spring.pk))
    )
    manager.post(page("assessment_state", spring.pk), {"do": "close", "stated": stated(manager, spring)})
    spring.refresh_from_db()
    assert (spring.state, spring.closed_with) == ("closed", "")
    assert "It is closed already" in words(manager.get(page("close_assessment", spring.pk)))


def test_open_decisions_are_the_one_thing_that_forbids(
    phone: Phone, spring: Assessment, manager: Client
) -> None:
    phone.send(phone.entry("NOWHERE"))
    shown = words(manager.get(page("close_assessment", spring.pk)))
    assert "It cannot be closed yet. 1 entries wait for a decision" in shown


# Changing an assessment ----------------------------------------------------------------------------------


def changes(spring: Assessment, **more: Any) -> dict[str, Any]:
    numbered = {
        f"trait_{t.pk}": n for n, t in enumerate(spring.traits.order_by("assessment_traits__position"), 1)
    }
    return {"name": spring.name, "measured_from": "2026-04-01", "note": "", "crew": []} | numbered | more


def test_an_open_assessment_is_changed(spring: Assessment, manager: Client, material: Place) -> None:
    shown = manager.get(page("change_assessment", spring.pk)).content.decode()
    assert 'value="Spring"' in shown
    assert 'value="2026-04-01"' in shown
    extra = material.trial.traits.exclude(assessments=spring).first()
    sent = changes(
        spring, name="Spring round", measured_from="2026-04-03", note="wet", **{f"trait_{extra.pk}": 9}
    )  # type: ignore[union-attr]
    sent["crew"] = [material.people["manager"].pk]
    assert manager.post(page("change_assessment", spring.pk), sent).status_code == 302
    spring.refresh_from_db()
    assert (spring.name, str(spring.measured_from), spring.note) == ("Spring round", "2026-04-03", "wet")
    assert [u.username for u in spring.crew.all()] == ["manager"]
    assert list(spring.traits.order_by("assessment_traits__position"))[-1] == extra


def test_a_trait_with_entries_stays_with_its_reason(
    doubtful: Entry, spring: Assessment, manager: Client
) -> None:
    sent = changes(spring)
    sent[f"trait_{doubtful.trait_id}"] = ""
    response = manager.post(page("change_assessment", spring.pk), sent)
    assert response.status_code == 422
    assert "Has entries and cannot be left out: dbh_mm" in words(response)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"name": "LAST"}, "This site has an assessment of this name already"),
        ({"name": ""}, "required"),
        ({"measured_from": "1066-10-14"}, "Between 1900"),
        ({"measured_from": "soon"}, "date"),
    ],
)
def test_a_change_that_will_not_do_says_why(
    spring: Assessment, manager: Client, material: Place, more: dict[str, str], told: str
) -> None:
    open_spring(material, "Last")
    response = manager.post(page("change_assessment", spring.pk), changes(spring, **more))
    assert response.status_code == 422
    assert told.lower() in words(response).lower()


def test_a_closed_assessment_is_not_changed(spring: Assessment, manager: Client, material: Place) -> None:
    close_assessment(assessment=spring, by=material.people["manager"])
    response = manager.post(page("change_assessment", spring.pk), changes(spring))
    assert "This assessment is closed: reopen it first." in words(response)
    reopen_assessment(assessment=spring, by=material.people["manager"])
    with pytest.raises(ValidationError, match="needs a name"):
        change_assessment(
            assessment=spring,
            traits=list(spring.traits.all()),
            crew=[],
            by=material.people["manager"],
            name=" ",
        )


def test_a_trait_out_of_use_stays_where_it_is_measured(spring: Assessment, manager: Client) -> None:
    trait = spring.traits.get(code="height_m")
    trait.active = False
    trait.save()
    assert f'name="trait_{trait.pk}"' in manager.get(page("change_assessment", spring.pk)).content.decode()
    assert f'name="trait_{trait.pk}"' not in manager.get(page("new_assessment")).content.decode()

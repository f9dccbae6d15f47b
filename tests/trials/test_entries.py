"""Entries from phones: each stored once with its standing, or held once with its reasons; and who may decide."""

import datetime as dt
import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from portal.models import Membership, Role
from tests.conftest import Place
from tests.trials.crews import Phone, open_spring, standing_of, traits_of
from trials.desk.measured import visit_frame
from trials.entries import queries
from trials.entries.actions import (
    AT_ONCE,
    add_default_traits,
    add_trait,
    change_assessment,
    change_trait,
    close_assessment,
    mend_held_entry,
    open_assessment,
    receive_entries,
    reopen_assessment,
    set_aside,
    set_held_aside,
    settle_dispute,
    take_late,
)
from trials.entries.pack import pack
from trials.models import Assessment, Entry, HeldEntry, Tree

ENTRY_EVENTS: Any = Entry.pgh_event_model  # type: ignore[attr-defined]


@pytest.fixture
def spring(material: Place) -> Assessment:
    return open_spring(material)


@pytest.fixture
def phone(spring: Assessment, material: Place) -> Phone:
    return Phone(spring, material.people["field_crew"])


@pytest.fixture
def other(spring: Assessment, material: Place) -> Phone:
    return Phone(spring, material.people["manager"])


# taking in


def test_a_value_is_stored_as_it_was_sent(phone: Phone) -> None:
    sent = phone.entry(number=352.5, confirmed=True)
    assert [a.to_dict() for a in phone.send(sent)] == [
        {"id": sent["id"], "taken": True, "standing": "current"}
    ]
    entry = Entry.objects.get()
    assert (str(entry.client_id), entry.device, entry.sequence) == (sent["id"], phone.device, 1)
    assert (entry.tree.code, entry.trait.code, entry.number, entry.text) == ("S-1-1", "dbh_mm", 352.5, None)  # type: ignore[union-attr]
    assert (entry.confirmed, entry.by, entry.kind) == (True, phone.person, "value")
    assert entry.entered_at == dt.datetime(2026, 4, 2, 9, 30, tzinfo=dt.UTC)


@pytest.mark.parametrize("kind", ["dead", "missing", "skipped", "second_leader", "note"])
def test_every_kind_is_stored(phone: Phone, kind: str) -> None:
    assert phone.send(phone.mark(kind, text="by the ditch"))[0].standing == "current"
    assert Entry.objects.get().kind == kind


def test_yes_and_no_come_as_numbers_or_words(phone: Phone) -> None:
    phone.send(
        phone.entry(number=1, trait="survival"),
        phone.entry("S-1-2", None, "survival", text="No"),
    )
    assert list(Entry.objects.order_by("tree__code").values_list("number", "text")) == [
        (1.0, None),
        (0.0, None),
    ]


def test_limits_do_not_refuse(phone: Phone) -> None:
    assert phone.send(phone.entry(number=9_999))[0].standing == "current"


def test_sent_again_it_is_answered_alike_and_stored_once(phone: Phone) -> None:
    sent = [phone.entry(), phone.entry(tree="NOWHERE"), phone.mark("note", text="wet")]
    first = phone.send(*sent)
    before = (Entry.objects.count(), HeldEntry.objects.count(), ENTRY_EVENTS.objects.count())
    assert phone.send(*sent) == first
    assert phone.send(*sent, *sent) == first + first
    assert (
        (Entry.objects.count(), HeldEntry.objects.count(), ENTRY_EVENTS.objects.count())
        == before
        == (2, 1, 0)
    )


def test_half_of_a_batch_that_came_before_is_not_stored_again(phone: Phone) -> None:
    one, two = phone.entry(), phone.entry(tree="S-1-2")
    phone.send(one)
    assert [a.standing for a in phone.send(one, two)] == ["current", "current"]
    assert Entry.objects.count() == 2


def test_an_id_sent_by_another_phone_is_the_same_entry(phone: Phone, other: Phone) -> None:
    sent = phone.entry()
    phone.send(sent)
    assert other.send({**sent, "number": 400})[0].standing == "current"
    assert Entry.objects.get().number == 352


# standing


def test_a_later_entry_replaces_and_the_history_says_when(phone: Phone) -> None:
    first, second = phone.enter(number=352), phone.enter(number=325)
    assert (standing_of(first), standing_of(second)) == ("replaced", "current")
    assert list(ENTRY_EVENTS.objects.values_list("pgh_label", "number", "standing")) == [
        ("changed", 352.0, "current")
    ]


def test_batches_out_of_order_end_alike(phone: Phone) -> None:
    first, second = phone.entry(number=352), phone.entry(number=325)
    phone.send(second)
    assert phone.send(first)[0].standing == "replaced"
    assert standing_of(second) == "current"


def test_both_in_one_batch_the_wrong_way_round(phone: Phone) -> None:
    first, second = phone.entry(number=352), phone.entry(number=325)
    assert [a.standing for a in phone.send(second, first)] == ["current", "replaced"]


def test_two_phones_that_agree(phone: Phone, other: Phone) -> None:
    one, two = phone.enter(number=352), other.enter(number=352.3)
    assert (standing_of(one), standing_of(two)) == ("current", "repeated")


def test_two_phones_that_differ_until_a_manager_decides(phone: Phone, other: Phone, material: Place) -> None:
    one, two = phone.enter(number=352), other.enter(number=325)
    assert (standing_of(one), standing_of(two)) == ("disputed", "disputed")
    (dispute,) = queries.disputes(phone.assessment)
    assert (dispute.tree, dispute.matter) == ("S-1-1", "Diameter at breast height")
    assert [e.number for e in dispute.entries] == [352, 325]
    settle_dispute(entry_id=two.pk, by=material.people["manager"])
    assert (standing_of(one), standing_of(two)) == ("set_aside", "current")
    assert queries.disputes(phone.assessment) == []
    with pytest.raises(ValidationError):
        settle_dispute(entry_id=one.pk, by=material.people["manager"])


def test_the_chosen_one_keeps_company_with_those_that_agree(
    phone: Phone, other: Phone, material: Place
) -> None:
    third = Phone(phone.assessment, material.people["steward"])
    one, two, three = phone.enter(number=352), other.enter(number=352), third.enter(number=325)
    settle_dispute(entry_id=two.pk, by=material.people["manager"])
    assert [standing_of(e) for e in (one, two, three)] == ["repeated", "current", "set_aside"]


def test_after_a_decision_a_new_contradiction_is_a_new_dispute(
    phone: Phone, other: Phone, material: Place
) -> None:
    one, two = phone.enter(number=352), other.enter(number=325)
    settle_dispute(entry_id=one.pk, by=material.people["manager"])
    three = other.enter(number=330)
    assert [standing_of(e) for e in (one, two, three)] == ["disputed", "set_aside", "disputed"]


def test_setting_the_standing_one_aside_lets_its_repetition_stand(
    phone: Phone, other: Phone, material: Place
) -> None:
    one, two = phone.enter(), other.enter()
    set_aside(entry_id=one.pk, by=material.people["manager"])
    assert (standing_of(one), standing_of(two)) == ("set_aside", "current")
    take_late(entry_id=one.pk, by=material.people["manager"])
    assert (standing_of(one), standing_of(two)) == ("repeated", "current")


def test_assessments_and_traits_do_not_mix(phone: Phone, material: Place) -> None:
    autumn = Phone(open_spring(material, "Autumn", dt.date(2026, 10, 1)), phone.person)
    entries = [
        phone.enter(number=352),
        phone.enter(number=21, trait="height_m"),
        phone.enter("S-1-2", 300),
        autumn.enter(number=360),
    ]
    assert [standing_of(e) for e in entries] == ["current"] * 4


# late


def test_after_closing_an_entry_is_late_until_a_manager_takes_it(phone: Phone, material: Place) -> None:
    manager, first, kept = material.people["manager"], phone.enter(number=352), phone.entry(number=325)
    close_assessment(assessment=phone.assessment, by=manager)
    assert phone.send(kept)[0].standing == "late"
    assert phone.send(kept)[0].standing == "late"
    assert standing_of(first) == "current"
    (late,) = queries.late_entries(phone.assessment)
    take_late(entry_id=late.pk, by=manager)
    assert (standing_of(first), standing_of(kept)) == ("replaced", "current")
    assert phone.send(kept)[0].standing == "current"
    with pytest.raises(ValidationError):
        take_late(entry_id=late.pk, by=manager)


def test_a_late_entry_may_be_set_aside(phone: Phone, material: Place) -> None:
    close_assessment(assessment=phone.assessment, by=material.people["manager"])
    late = phone.enter()
    set_aside(entry_id=late.pk, by=material.people["manager"])
    assert standing_of(late) == "set_aside"
    assert not queries.late_entries(phone.assessment).exists()


def test_reopened_it_takes_entries_again_and_late_ones_wait_on(phone: Phone, material: Place) -> None:
    manager = material.people["manager"]
    close_assessment(assessment=phone.assessment, by=manager)
    late = phone.enter()
    reopen_assessment(assessment=phone.assessment, by=manager)
    assert standing_of(late) == "late"
    assert standing_of(phone.enter("S-1-2")) == "current"


# closing


def test_closing_marks_dead_and_missing_trees(phone: Phone, other: Phone, material: Place) -> None:
    phone.send(
        phone.mark("dead", "S-1-1"),
        phone.mark("missing", "S-1-2"),
        phone.mark("dead", "S-2-1"),
        phone.mark("missing", "S-2-1"),
        phone.mark("skipped", "S-2-2"),
    )
    Tree.objects.filter(code="S-1-1").update(status="felled")
    close_assessment(assessment=phone.assessment, by=material.people["manager"])
    assert dict(Tree.objects.order_by("code").values_list("code", "status")) == {
        "S-1-1": "felled",
        "S-1-2": "missing",
        "S-2-1": "missing",
        "S-2-2": "standing",
    }


def test_a_death_taken_after_closing_marks_its_tree(phone: Phone, material: Place) -> None:
    manager = material.people["manager"]
    close_assessment(assessment=phone.assessment, by=manager)
    phone.send(phone.mark("dead"))
    assert Tree.objects.get(code="S-1-1").status == "standing"
    take_late(entry_id=Entry.objects.get().pk, by=manager)
    assert Tree.objects.get(code="S-1-1").status == "dead"


def test_it_does_not_close_while_something_waits(phone: Phone, other: Phone, material: Place) -> None:
    manager = material.people["manager"]
    one, _ = phone.enter(number=352), other.enter(number=325)
    phone.send(phone.entry("NOWHERE"))
    with pytest.raises(ValidationError, match="2 entries in dispute and 1 held"):
        close_assessment(assessment=phone.assessment, by=manager)
    settle_dispute(entry_id=one.pk, by=manager)
    set_held_aside(held_id=HeldEntry.objects.get().pk, by=manager)
    closed = close_assessment(assessment=phone.assessment, by=manager)
    assert (closed.state, close_assessment(assessment=closed, by=manager).closed_at) == (
        "closed",
        closed.closed_at,
    )


# held


HELD = [
    ({"tree": "S-9-9"}, "tree: found S-9-9, expected a tree of site S"),
    ({"trait": "girth"}, "trait: found girth, expected a trait of this assessment"),
    ({"trait": "branch_mm"}, "trait: found branch_mm, expected a trait of this assessment"),
    ({"assessment": 10**15}, f"assessment: found {10**15}, expected an assessment"),
    ({"assessment": "1"}, "assessment: found '1', expected a whole number"),
    ({"number": None}, "value: expected a number or a text"),
    ({"number": None, "text": "thick"}, "value: found 'thick', expected a number"),
    ({"number": 3, "text": "thick"}, "value: expected a number or a text"),
    ({"number": "352"}, "number: found '352', expected a number"),
    ({"number": True}, "number: found True, expected a number"),
    ({"number": 1e12}, "number: found 1000000000000.0, expected a number"),
    ({"number": 7, "trait": "straightness"}, "found 7, expected a point of the scale: 1, 2, 3, 4, 5, 6"),
    ({"number": 2, "trait": "survival"}, "found 2, expected yes"),
    ({"kind": "girdled"}, "kind: found 'girdled', expected one of value, dead"),
    ({"kind": "dead"}, "trait: found 'dbh_mm', expected none for “dead”"),
    ({"kind": "note", "trait": None, "number": None}, "text: found nothing, expected the words"),
    ({"sequence": -1}, "sequence: found -1, expected a whole number"),
    ({"entered_at": "yesterday"}, "entered_at: found 'yesterday', expected a time"),
    ({"corrects": "that one"}, "corrects: found 'that one', expected the id"),
    ({"confirmed": "yes"}, "confirmed: found 'yes', expected true or false"),
    ({"number": None, "text": "x" * 5000}, "text: found 5000 characters"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "reason"), HELD)
def test_what_cannot_be_stored_is_held_whole_with_its_reason(
    phone: Phone, changes: dict[str, Any], reason: str
) -> None:
    sent = phone.entry(**changes)
    (answer,) = phone.send(sent)
    assert answer.held
    assert reason in " ".join(answer.problems)
    held = HeldEntry.objects.get()
    assert held.content == {**sent, "device": str(phone.device)}
    assert answer.to_dict() == {"id": sent["id"], "taken": True, "held": True, "problems": held.problems}
    assert not Entry.objects.exists()


def test_all_reasons_at_once(phone: Phone) -> None:
    (answer,) = phone.send(phone.entry("S-9-9", trait="girth"))
    assert len(answer.problems) == 2


def test_signs_no_database_holds_are_shown_and_held(phone: Phone) -> None:
    sent = phone.entry(trait="straightness", number=None, text="a\x00b\ud800")
    assert phone.send(sent)[0].held
    assert HeldEntry.objects.get().content["text"] == "a\u2400b?"


@pytest.mark.parametrize(
    "identity", [None, 7, "7", "", "x" * 36, ["a"], {}, "{6f1c2f0e-8a1b-4a53-9a55-3d0c7f6f0a11}"]
)
def test_without_a_readable_id_it_stays_on_the_phone(phone: Phone, identity: Any) -> None:
    good = phone.entry()
    bad, fine = phone.send({**phone.entry("S-1-2"), "id": identity}, good)
    assert (bad.taken, bad.id, fine.standing) == (False, identity, "current")
    assert bad.to_dict()["problems"]
    assert Entry.objects.count() == 1


@pytest.mark.parametrize("who", ["stranger", "mill", "grader", "researcher"])
def test_whoever_may_not_enter_has_it_held(phone: Phone, material: Place, who: str) -> None:
    sent = Phone(phone.assessment, material.people[who]).entry()
    answer = Phone(phone.assessment, material.people[who]).send(sent)[0]
    assert answer.held
    assert "in which you are field crew or manager" in answer.problems[0]
    assert HeldEntry.objects.get().by == material.people[who]


def test_a_crew_member_who_left_has_it_held_and_the_manager_stores_it(phone: Phone, material: Place) -> None:
    Membership.objects.filter(user=phone.person).update(active=False)
    sent = phone.entry()
    assert phone.send(sent)[0].held
    (held,) = queries.held_entries(material.people["manager"])
    assert mend_held_entry(held_id=held.pk, changes={}, by=material.people["manager"]).state == "stored"
    entry = Entry.objects.get()
    assert (str(entry.client_id), entry.by, entry.device) == (sent["id"], phone.person, phone.device)
    assert phone.send(sent)[0].standing == "current"


def test_a_held_entry_is_mended_step_by_step(phone: Phone, material: Place) -> None:
    manager = material.people["manager"]
    phone.send(phone.entry("S11", "wide"))
    held = HeldEntry.objects.get()
    assert mend_held_entry(held_id=held.pk, changes={"tree": "S-1-1"}, by=manager).problems == [
        "number: found 'wide', expected a number",
        "value: expected a number or a text, one of them",
    ]
    mended = mend_held_entry(held_id=held.pk, changes={"number": 352}, by=manager)
    assert (mended.state, mended.settled_by, mended.content["tree"]) == ("stored", manager, "S-1-1")
    assert Entry.objects.get().number == 352
    with pytest.raises(ValidationError):
        mend_held_entry(held_id=held.pk, changes={}, by=manager)


def test_a_held_entry_set_aside_stays_on_record(phone: Phone, material: Place) -> None:
    sent = phone.entry("S11")
    first = phone.send(sent)
    set_held_aside(held_id=HeldEntry.objects.get().pk, by=material.people["manager"])
    assert HeldEntry.objects.get().state == "set_aside"
    assert not queries.held_entries(material.people["manager"]).exists()
    assert phone.send(sent) == first


def test_held_without_an_assessment_it_waits_for_the_managers_of_the_sender(
    phone: Phone, material: Place
) -> None:
    phone.send(phone.entry(assessment=10**15))
    assert queries.held_entries(material.people["manager"]).count() == 1
    assert queries.held_entries(material.people["steward"]).count() == 1
    assert queries.held_entries(material.people["stranger"]).count() == 0


# permissions


@pytest.mark.parametrize("who", ["field_crew", "mill", "stranger"])
def test_only_managers_decide(phone: Phone, other: Phone, material: Place, who: str) -> None:
    by = material.people[who]
    entry = phone.enter()
    other.enter(number=325)
    phone.send(phone.entry("S-9-9"))
    held = HeldEntry.objects.get()
    attempts: list[Any] = [
        lambda: settle_dispute(entry_id=entry.pk, by=by),
        lambda: take_late(entry_id=entry.pk, by=by),
        lambda: set_aside(entry_id=entry.pk, by=by),
        lambda: mend_held_entry(held_id=held.pk, changes={"tree": "S-1-1"}, by=by),
        lambda: set_held_aside(held_id=held.pk, by=by),
        lambda: close_assessment(assessment=phone.assessment, by=by),
        lambda: reopen_assessment(assessment=phone.assessment, by=by),
        lambda: change_assessment(assessment=phone.assessment, traits=[], crew=[], by=by),
        lambda: add_trait(trial=material.trial, code="x", name="X", by=by),
        lambda: change_trait(trait=material.trial.traits.first(), name="X", by=by),
        lambda: add_default_traits(trial=material.trial, by=by),
        lambda: open_assessment(
            site=phone.assessment.site, name="N", measured_from=dt.date(2026, 5, 1), traits=[], by=by
        ),
    ]
    for attempt in attempts:
        with pytest.raises(PermissionDenied):
            attempt()
    assert standing_of(entry) == "disputed"


# assessments and traits


def test_an_assessment_needs_a_name_traits_of_its_trial_and_members(
    material: Place, spring: Assessment
) -> None:
    def opening(**changes: Any) -> Any:
        usual = {"name": "New", "traits": traits_of(material.trial, "dbh_mm"), "crew": []}
        return open_assessment(
            site=spring.site,
            measured_from=dt.date(2026, 5, 1),
            by=material.people["manager"],
            **(usual | changes),
        )

    for changes in (
        {"name": " "},
        {"name": "SPRING"},
        {"traits": []},
        {"crew": [material.people["stranger"]]},
        {"crew": [material.people["mill"]]},
    ):
        with pytest.raises(ValidationError):
            opening(**changes)
    assert opening().crew.count() == 0


def test_traits_of_an_open_assessment_change_but_those_with_entries_stay(
    phone: Phone, material: Place
) -> None:
    manager, crew = material.people["manager"], [phone.person]
    phone.enter()
    with pytest.raises(ValidationError, match="dbh_mm"):
        change_assessment(
            assessment=phone.assessment, traits=traits_of(material.trial, "height_m"), crew=crew, by=manager
        )
    wanted = traits_of(material.trial, "branch_mm", "dbh_mm")
    changed = change_assessment(assessment=phone.assessment, traits=wanted, crew=crew, by=manager, note="wet")
    assert list(changed.assessment_traits.values_list("trait__code", flat=True)) == ["branch_mm", "dbh_mm"]
    assert changed.note == "wet"
    assert phone.send(phone.entry(number=14, trait="branch_mm"))[0].standing == "current"


def test_the_usual_traits_are_added_once(material: Place) -> None:
    manager = material.people["manager"]
    add_trait(trial=material.trial, code="dbh_mm", name="Our own", unit="mm", by=manager)
    added = add_default_traits(trial=material.trial, by=manager)
    assert len(added) == 10
    assert add_default_traits(trial=material.trial, by=manager) == []
    assert material.trial.traits.get(code="dbh_mm").name == "Our own"
    scales = [t for t in added if t.kind == "ordinal"]
    assert {t.code for t in scales} == {"straightness", "branch_habit", "forking", "health"}
    for trait in scales:
        values = [p["value"] for p in trait.points]
        assert (trait.minimum, trait.maximum) == (min(values), max(values))
    assert all(t.method and t.instrument for t in added)


BAD_TRAITS = [
    {"code": "DBH"}, {"code": "tree"}, {"code": "a b"}, {"code": ""}, {"code": "x" * 41}, {"name": " "},
    {"kind": "colour"}, {"minimum": 5, "maximum": 3}, {"minimum": float("nan")}, {"decimals": 7},
    {"kind": "ordinal"}, {"points": [{"value": 1, "text": "a"}]},
    {"kind": "ordinal", "points": [{"value": 1, "text": "a"}, {"value": 1, "text": "b"}]},
    {"kind": "ordinal", "points": [{"value": 1, "text": ""}, {"value": 2, "text": "b"}]},
    {"kind": "ordinal", "points": "1 to 5"},
]  # fmt: skip


@pytest.mark.parametrize("changes", BAD_TRAITS)
def test_an_unsound_trait_is_refused(material: Place, changes: dict[str, Any]) -> None:
    usual = {"code": "new_mm", "name": "New"}
    with pytest.raises(ValidationError):
        add_trait(trial=material.trial, by=material.people["manager"], **(usual | changes))
    assert not material.trial.traits.exists()


def test_a_trait_with_entries_keeps_its_meaning(phone: Phone, material: Place) -> None:
    phone.enter()
    (trait,) = traits_of(material.trial, "dbh_mm")
    manager = material.people["manager"]
    for changes in ({"unit": "cm"}, {"kind": "text"}, {"code": "d_mm"}, {"minimum": 9, "maximum": 3}):
        with pytest.raises(ValidationError):
            change_trait(trait=trait, by=manager, **changes)
    assert change_trait(trait=trait, by=manager, maximum=900, active=False).maximum == 900


def test_a_code_is_taken_whatever_its_letters(material: Place) -> None:
    add_default_traits(trial=material.trial, by=material.people["manager"])
    with pytest.raises(ValidationError, match="already"):
        add_trait(trial=material.trial, code="dbh_mm", name="Again", by=material.people["manager"])


# reading


def test_the_pack_has_the_trees_in_walking_order_with_what_is_known(
    phone: Phone, material: Place, spring: Assessment
) -> None:
    old = Phone(open_spring(material, "Before", dt.date(2020, 4, 1)), phone.person)
    older = Phone(open_spring(material, "Long before", dt.date(2015, 4, 1)), phone.person)
    old.send(old.entry(number=300), old.entry("S-2-1", 280))
    older.send(older.entry(number=250), older.entry(number=12.5, trait="height_m"))
    now = phone.enter("S-1-2", 340)
    packed = pack(Assessment.objects.select_related("site__trial").get(pk=spring.pk))
    # row 1 from the left, row 2 back from the right
    assert [t["code"] for t in packed["trees"]] == ["S-1-1", "S-1-2", "S-2-2", "S-2-1"]
    first, second = packed["trees"][:2]
    assert first["last"] == {"dbh_mm": 300.0, "height_m": 12.5}
    assert first["last_on"] == {"dbh_mm": "2020-04-01", "height_m": "2015-04-01"}
    assert second["now"] == {"dbh_mm": {"value": 340.0, "id": str(now.client_id), "by": "The field_crew"}}
    assert {k: first[k] for k in ("row", "col", "block", "plot", "clone", "status")} == {
        "row": 1, "col": 1, "block": "1", "plot": "1", "clone": "K1", "status": "standing",
    }  # fmt: skip
    assert [t["code"] for t in packed["traits"]] == ["dbh_mm", "height_m", "straightness", "survival"]
    assert packed["traits"][0]["maximum"] == 1500
    assert packed["band"] is None


def test_ten_heights_give_the_band(phone: Phone, material: Place) -> None:
    layout = "site,block,plot,clone,tree,row,col\n" + "".join(f"S,3,9,K1,T{i},9,{i}\n" for i in range(1, 13))
    assert material.bring("layout", layout, name="more.csv").added == 12
    for i in range(1, 13):
        phone.send(
            phone.entry(f"T{i}", 200 + 10 * i),
            phone.entry(f"T{i}", round(16 + 0.4 * i + 0.3 * (-1) ** i, 1), "height_m"),
        )
    band = pack(phone.assessment)["band"]
    assert band is not None
    assert (band["least_dbh_mm"], band["most_dbh_mm"]) == (210.0, 320.0)


def test_what_stands_as_a_frame(phone: Phone, other: Phone) -> None:
    phone.send(
        phone.entry(number=352),
        phone.entry(number=21.5, trait="height_m"),
        phone.entry("S-1-2", 300),
        phone.mark("dead", "S-2-1"),
    )
    other.send(other.entry("S-1-2", 310))
    other.send(other.mark("second_leader", "S-2-2"))
    frame = visit_frame(phone.assessment)
    assert list(frame.index) == ["S-1-1", "S-1-2", "S-2-1", "S-2-2"]
    assert frame["dbh_mm"].fillna(-1).tolist() == [352, -1, -1, -1]  # a disputed value does not stand
    assert frame["height_m"].fillna(-1).tolist() == [21.5, -1, -1, -1]
    assert frame["alive"].tolist() == [True, None, False, True]
    assert frame["clone"].tolist() == ["K1", "K2", "P1", "K1"]
    assert frame["dbh_mm"].dtype == "float64"


def test_progress_counts_standing_trees_with_every_trait_or_a_reason(phone: Phone) -> None:
    assert queries.progress(phone.assessment) == queries.Progress(4, 0)
    values = {"dbh_mm": 352, "height_m": 21, "straightness": 5, "survival": 1}
    phone.send(*(phone.entry(number=v, trait=t) for t, v in values.items()))
    phone.send(phone.entry("S-1-2"), phone.mark("missing", "S-2-1"), phone.mark("skipped", "S-2-2"))
    assert queries.progress(phone.assessment) == queries.Progress(4, 2), "a skipped tree is left to be done"
    Tree.objects.filter(code="S-2-1").update(status="dead")
    assert queries.progress(phone.assessment) == queries.Progress(3, 1)


# cost


def test_the_number_of_queries_does_not_grow_with_the_batch(phone: Phone, other: Phone) -> None:
    trees = ["S-1-1", "S-1-2", "S-2-1", "S-2-2"]

    def counted(n: int) -> int:
        batch = [phone.entry(trees[i % 4], 300 + i % 7) for i in range(n)]
        with CaptureQueriesContext(
            connection,
        ) as caught:
            answers = phone.send(*batch)
        assert all(a.standing for a in answers)
        return len(caught)

    other.send(*(other.entry(t, 999) for t in trees))
    counted(4)
    assert counted(AT_ONCE) <= counted(8) <= 20


def test_nothing_at_all_is_taken_without_a_question(phone: Phone) -> None:
    assert receive_entries(device=uuid.uuid4(), entries=[], by=phone.person) == []


def test_roles_that_may_enter(phone: Phone, material: Place) -> None:
    for who in ("field_crew", "manager", "steward"):
        assert phone.assessment in queries.assessments_for(material.people[who])
        assert standing_of(Phone(phone.assessment, material.people[who]).enter()) in ("current", "repeated")
    for who in (Role.MILL, Role.GRADER, Role.RESEARCHER, "stranger"):
        assert not queries.assessments_for(material.people[who]).exists()

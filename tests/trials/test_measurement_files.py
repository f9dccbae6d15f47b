"""Files of measurements: columns from the trial's traits, values as entries of an open assessment."""

import datetime as dt

import pytest

from portal.uploads.actions import replace_stored
from tests.conftest import Place
from tests.trials.crews import Phone, open_spring, standing_of
from trials.entries.actions import close_assessment
from trials.models import Assessment, Entry

FILE = (
    "tree,measured_on,dbh_mm,height_m,straightness,survival,status\n"
    "S-1-1,2026-04-02,352,21.5,5,yes,\n"
    'S-1-2,2026-04-02,"300,5",,,,\n'
    "S-2-1,2026-04-02,,,,,dead\n"
)


@pytest.fixture
def spring(material: Place) -> Assessment:
    return open_spring(material)


def bring(place: Place, text: str, name: str = "m.csv", by: str = "field_crew") -> dict[str, int]:
    upload = place.bring("measurements", text, name=name, by=by)
    return {"added": upload.added, "there": upload.already_there, "held": upload.held}


def reasons(place: Place, name: str = "m.csv") -> list[str]:
    held = place.trial.uploads.get(file_name=name).held_rows.order_by("row_number")
    return [f"{p['column']}: {p['found']} / {p['expected']}" for h in held for p in h.problems]


def test_cells_become_entries(material: Place, spring: Assessment) -> None:
    assert bring(material, FILE) == {"added": 3, "there": 0, "held": 0}
    rows = Entry.objects.order_by("tree__code", "trait__position")
    assert list(rows.values_list("tree__code", "trait__code", "kind", "number", "standing")) == [
        ("S-1-1", "dbh_mm", "value", 352.0, "current"),
        ("S-1-1", "height_m", "value", 21.5, "current"),
        ("S-1-1", "straightness", "value", 5.0, "current"),
        ("S-1-1", "survival", "value", 1.0, "current"),
        ("S-1-2", "dbh_mm", "value", 300.5, "current"),
        ("S-2-1", None, "dead", None, "current"),
    ]
    assert {(e.by, e.upload.file_name, e.entered_at.date()) for e in rows} == {
        (material.people["field_crew"], "m.csv", dt.date(2026, 4, 2))
    }


def test_the_same_values_twice_add_nothing(material: Place, spring: Assessment) -> None:
    bring(material, FILE)
    n = Entry.objects.count()
    assert bring(material, FILE)["added"] == 3  # the very same file: the stored upload answers
    assert bring(material, FILE + "\n\n", name="again.csv") == {"added": 0, "there": 3, "held": 0}
    assert Entry.objects.count() == n


def test_a_file_that_says_more_adds_only_that(material: Place, spring: Assessment) -> None:
    bring(material, FILE)
    more = "tree,measured_on,dbh_mm,height_m\nS-1-1,2026-04-02,352,21.5\nS-1-2,2026-04-02,300.5,19\n"
    assert bring(material, more, name="more.csv") == {"added": 1, "there": 1, "held": 0}
    assert Entry.objects.filter(tree__code="S-1-2").count() == 2


def test_what_contradicts_is_held_and_may_be_put_in_place(material: Place, spring: Assessment) -> None:
    phone = Phone(spring, material.people["field_crew"])
    mine, again = phone.enter(number=352), Phone(spring, material.people["manager"]).enter(number=352)
    other = "tree,measured_on,dbh_mm\nS-1-1,2026-04-02,325\n"
    assert bring(material, other, name="o.csv") == {"added": 0, "there": 0, "held": 1}
    (reason,) = reasons(material, "o.csv")
    assert reason.startswith("dbh_mm: 325 mm / 352 mm, as stored earlier")
    upload = material.trial.uploads.get(file_name="o.csv")
    assert (
        replace_stored(
            upload_id=upload.pk, held_ids=[upload.held_rows.get().pk], by=material.people["manager"]
        )
        == 1
    )
    assert (standing_of(mine), standing_of(again)) == ("set_aside", "set_aside")
    assert Entry.objects.get(tree__code="S-1-1", standing="current").number == 325


def test_which_assessment(material: Place, spring: Assessment) -> None:
    autumn = open_spring(material, "Autumn", dt.date(2026, 10, 1))
    head = "tree,measured_on,assessment,dbh_mm\n"
    rows = "S-1-1,2026-10-02,autumn,360\nS-1-2,2026-10-02,,300\nS-2-1,2026-10-02,Winter,300\n"
    assert bring(material, head + rows) == {"added": 1, "there": 0, "held": 2}
    assert Entry.objects.get().assessment == autumn
    assert [r.split(" / ")[1] for r in reasons(material)] == [
        "the name of an open assessment of site S: Autumn, Spring"
    ] * 2
    close_assessment(assessment=autumn, by=material.people["manager"])
    assert bring(material, head + "S-1-2,2026-10-03,Autumn,300\n", name="late.csv")["held"] == 1


def test_rows_that_cannot_be_taken_say_why(material: Place, spring: Assessment) -> None:
    head = "tree,measured_on,branch_mm,straightness,survival,dbh_mm\n"
    rows = (
        "S-1-1,2026-04-02,14,,,\n"
        "S-1-2,2026-04-02,,9,,\n"
        "S-2-1,2026-04-02,,,perhaps,\n"
        "S-2-2,2026-04-02,,,,300\n"
        "S-2-2,2026-04-03,,,,310\n"
        "S-9-9,2026-04-02,,,,300\n"
    )
    assert bring(material, head + rows) == {"added": 1, "there": 0, "held": 5}
    text = " ".join(reasons(material))
    for words in (
        "branch_mm is no trait of the assessment Spring",
        "straightness: 9",
        "survival: perhaps",
        "it stands in row 5 too",
        "tree: S-9-9",
    ):
        assert words in text, words


def test_limits_are_remarked_on_and_hold_nothing(material: Place, spring: Assessment) -> None:
    bring(material, "tree,measured_on,dbh_mm\nS-1-1,2026-04-02,3520\n")
    upload = material.trial.uploads.get(kind="measurements")
    assert (upload.added, upload.held) == (1, 0)
    assert "dbh_mm: 1 values outside the limits of the trait (row 2)" in upload.notes

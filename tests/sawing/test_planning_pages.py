"""Plan, duties, stems and logs on pages: what is shown, kept, asked about and refused, and by whom."""

import html
import re
import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse

from portal.cautions import CAUTIONS
from portal.uploads.actions import check_upload
from sawing.models import Board, Duty, Felling, Log
from sawing.planning import actions, queries
from tests.conftest import Place
from tests.sawing.drying_place import BUILT, a_stack
from tests.sawing.processing import sheet_of
from trials.models import Assessment, AssessmentTrait, Entry, Trait, Tree

STUDY = ("small", "first")
LOG = {
    "log": "S-2-1-1",
    "bottom_m": "0.3",
    "length_m": "4.1",
    "led1_mm": "330",
    "sed1_mm": "300",
    "bark": "under",
}


def words(response: Any) -> str:
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", html.unescape(text))


def url(name: str, *more: str) -> str:
    return reverse(f"sawing:{name}", args=[*STUDY, *more])


@pytest.fixture
def mill(material: Place, client: Client) -> Client:
    client.force_login(material.people["mill"])
    return client


@pytest.fixture
def manager(material: Place, client: Client) -> Client:
    client.force_login(material.people["manager"])
    return client


def stem(p: Place, **fields: Any) -> Felling:
    given = {"stem_length_m": 14.0, "stump_m": 0.3, "felled_by": "Crew two"} | fields
    return actions.record_stem(
        study=p.study, tree=Tree.objects.get(code="S-2-1"), by=p.people["field_crew"], **given
    )


def measured(p: Place, tree: str, **values: float) -> None:
    visit, _ = Assessment.objects.get_or_create(site=p.trial.sites.get(), name="Autumn", measured_from=BUILT)
    for code, value in values.items():
        trait, _ = Trait.objects.get_or_create(trial=p.trial, code=code, name=code, kind="number")
        AssessmentTrait.objects.get_or_create(assessment=visit, trait=trait, defaults={"position": trait.pk})
        Entry.objects.create(
            client_id=uuid.uuid4(),
            assessment=visit,
            tree=Tree.objects.get(code=tree),
            trait=trait,
            number=value,
            by=p.people["field_crew"],
        )


# The plan ------------------------------------------------------------------------------------------


def test_every_field_of_the_plan_is_kept(material: Place, manager: Client) -> None:
    fields = {
        "name": "First study", "mill": "Ford Mill", "headsaw_kerf_mm": "4.5", "edger_kerf_mm": "4",
        "crosscut_kerf_mm": "6",
        "sweep_position": "bow_up", "thicknesses": "38 25", "widths": "100, 75", "oversize_thickness_mm": "3",
        "oversize_width_pct": "4.5", "edger_clearance_mm": "2", "crosscut_module_mm": "300", "min_length_mm": "1500",
        "max_length_mm": "4800", "max_docks": "2", "bark_factor": "0.9", "log_volume_formula": "newton",
        "drying_plan": "Under roof.", "safety_note": "Hearing protection in the saw hall.",
    }  # fmt: skip
    assert manager.post(url("plan"), fields).status_code == 302
    study = material.study
    study.refresh_from_db()
    assert (study.thicknesses_mm, study.widths_mm) == ([25.0, 38.0], [75.0, 100.0])
    assert (study.crosscut_kerf_mm, study.min_length_mm, study.max_length_mm, study.max_docks) == (
        6,
        1500,
        4800,
        2,
    )
    assert (study.oversize_width_pct, study.oversize_thickness_mm, study.edger_clearance_mm) == (4.5, 3, 2)
    assert (study.sweep_position, study.safety_note) == ("bow_up", fields["safety_note"])
    page = words(manager.get(url("fellings")))
    assert fields["safety_note"] in page
    assert CAUTIONS["C1"] in page


def test_lengths_out_of_order_and_impossible_thicknesses_are_refused_with_words(manager: Client) -> None:
    fields = {"name": "x", "log_volume_formula": "huber", "min_length_mm": "3000", "max_length_mm": "2000"}
    refused = manager.post(url("plan"), fields | {"thicknesses": "2, 25"})
    assert refused.status_code == 422
    assert "At least the shortest board, 3000 mm." in words(refused)
    assert "Thicknesses lie between 5 and 400 mm." in words(refused)


def test_the_plan_is_read_by_others_in_its_groups(material: Place, mill: Client) -> None:
    page = words(mill.get(url("plan")))
    assert "Keep this plan" not in page
    assert all(word in page for word in ("Mill and saws", "Docking", "Headsaw kerf, mm", CAUTIONS["C3"]))


def test_a_person_or_a_name_answers_for_a_stage_until_it_ends(material: Place, manager: Client) -> None:
    person = material.people["mill"]
    sent = {"stage": "sawn", "person": person.pk, "name": "", "planned_on": "2026-12-01", "note": "Mondays"}
    assert manager.post(url("duties"), sent).status_code == 302
    assert manager.post(url("duties"), {"stage": "felled", "name": "A. Feller"}).status_code == 302
    page = words(manager.get(url("plan")))
    assert "The mill" in page
    assert "A. Feller" in page
    assert manager.post(url("end_duty", str(Duty.objects.get(stage="sawn").pk))).status_code == 302
    assert "Mondays" not in words(manager.get(url("duties")))
    assert Duty.objects.filter(active=False).count() == 1
    refused = manager.post(url("duties"), {"stage": "sawn"})
    assert refused.status_code == 422
    assert "Choose a person, or write a name below." in words(refused)


def test_nobody_from_outside_answers_for_a_stage(material: Place, manager: Client) -> None:
    stranger = material.people["stranger"]
    assert manager.post(url("duties"), {"stage": "sawn", "person": stranger.pk}).status_code == 422
    with pytest.raises(PermissionDenied):
        actions.add_duty(study=material.study, by=material.people["manager"], stage="sawn", person=stranger)
    with pytest.raises(PermissionDenied):
        actions.add_duty(study=material.study, by=material.people["mill"], stage="sawn", name="Me")


# Stages --------------------------------------------------------------------------------------------


def test_stages_are_counted_over_trees_logs_and_boards(material: Place) -> None:
    """3 trees felled (no day noted), all with logs; one log labelled; all sawn; 7 boards, 3 graded (B1, B2, B4, B6)."""
    assert queries.stage_counts(material.study) == {
        "felled": (0, 3), "logged": (3, 3), "labelled": (0, 3), "sawn": (3, 3), "stacked": (0, 7), "dried": (0, 7),
        "graded": (4, 7),
    }  # fmt: skip
    stem(material, felled_on=BUILT)
    sheet_of(Log.objects.get(code="L2"))
    stack = a_stack(material)  # B3, B5, B7
    Board.objects.filter(code="B1").update(dry_width_mm=190)
    counts = queries.stage_counts(material.study)
    assert [counts[s] for s in ("felled", "logged", "labelled")] == [(1, 4), (3, 4), (1, 3)]
    assert [counts[s] for s in ("stacked", "dried", "graded")] == [(3, 7), (1, 7), (4, 7)]
    from sawing.drying.actions import release_boards

    release_boards(stack=stack, released_on=BUILT, by=material.people["mill"])
    assert queries.stage_counts(material.study)["dried"] == (4, 7)
    missing = queries.stage_rows(material.study, "dried", done=False)
    assert sorted(missing.values_list("code", flat=True)) == ["B2", "B4", "B6"]


def test_the_study_shows_its_progress_and_each_count_leads_to_its_rows(material: Place, mill: Client) -> None:
    page = mill.get(reverse("reports:study", args=STUDY)).content.decode()
    assert page.count('class="drawing progress-stages"') == 2
    for stage, which, codes in (
        ("logged", "done", {"S-1-1", "S-1-2", "S-2-2"}),
        ("labelled", "missing", {"L1", "L2", "L3"}),
        ("graded", "missing", {"B3", "B5", "B7"}),
    ):
        address = url("stage", stage, which)
        assert f'href="{address}"' in page
        listed = mill.get(address, {"download": "csv"}).content.decode("utf-8-sig").splitlines()
        assert {line.split(",")[0] for line in listed[1:]} == codes
    assert "Nothing is missing" in words(mill.get(url("stage", "sawn", "missing")))
    assert mill.get(url("stage", "felled", "some")).status_code == 404
    assert mill.get(url("stage", "burnt", "done")).status_code == 404


# Stems ---------------------------------------------------------------------------------------------


def test_a_tree_is_found_by_its_tag_and_its_stem_recorded(material: Place, client: Client) -> None:
    client.force_login(material.people["field_crew"])
    assert client.get(url("fellings"), {"find": "s-2-1 "})["Location"] == url("stem_record", "S-2-1")
    assert "No tree of this trial has that code" in words(client.get(url("fellings"), {"find": "X-9"}))
    sent = {
        "felled_on": "2025-10-14",
        "felled_by": "Crew two",
        "stem_length_m": "14.2",
        "stump_m": "0.25",
        "north_marked": "on",
    }
    kept = client.post(url("stem_record", "S-2-1"), sent)
    assert kept["Location"] == url("felling", "S-2-1")
    felling = Felling.objects.get(tree__code="S-2-1")
    assert (felling.stem_length_m, felling.stump_m, felling.north_marked) == (14.2, 0.25, True)
    assert Tree.objects.get(code="S-2-1").status == "felled"
    assert "14.20" in words(client.get(url("felling", "S-2-1")))


def test_an_odd_stem_is_asked_about_and_kept_when_it_is_right(material: Place, client: Client) -> None:
    measured(material, "S-2-1", height_m=12.0)
    client.force_login(material.people["field_crew"])
    sent = {"stem_length_m": "14.2", "stump_m": "0.25"}
    asked = client.post(url("stem_record", "S-2-1"), sent)
    assert asked.status_code == 422
    assert "stem and stump are 14.45 m long together, the tree was 12.0 m tall" in words(asked).lower()
    assert not Felling.objects.filter(tree__code="S-2-1").exists()
    assert client.post(url("stem_record", "S-2-1"), sent | {"sure": "yes"}).status_code == 302
    assert Felling.objects.get(tree__code="S-2-1").stem_length_m == 14.2


def test_a_stem_of_another_study_or_a_day_to_come_is_refused(material: Place, client: Client) -> None:
    from sawing.actions import create_study

    other = create_study(trial=material.trial, code="second", name="Second", by=material.people["manager"])
    with pytest.raises(PermissionDenied, match="another study"):
        actions.record_stem(study=other, tree=Tree.objects.get(code="S-1-1"), by=material.people["mill"])
    client.force_login(material.people["mill"])
    assert client.get(reverse("sawing:stem_record", args=["small", "second", "S-1-1"])).status_code == 403
    refused = client.post(url("stem_record", "S-2-1"), {"felled_on": "2999-01-01"})
    assert "This day is still to come." in words(refused)


def test_a_corrected_stem_keeps_its_history(material: Place) -> None:
    felling = stem(material)
    stem(material, stem_length_m=13.6)
    events = Felling.pgh_event_model.objects.filter(pgh_obj=felling).order_by("pgh_id")
    assert list(events.values_list("stem_length_m", flat=True))[-2:] == [14.0, 13.6]


def test_the_cutting_list_gives_the_cuts_from_the_butt_and_above_the_ground(
    material: Place, mill: Client
) -> None:
    """12.0 m, stump 0.3 m, 4.1 and 3.1 m wanted, 10 mm a cut: cuts at 4.10, 8.21 and 11.32 m from the butt."""
    stem(material, stem_length_m=12.0)
    page = mill.get(url("cutting_list"), {"lengths": "4.1 3.1", "kerf_mm": "10"})
    text = words(page)
    assert CAUTIONS["C1"] in text
    assert "3 logs, 11.30 of 12.00 m" in text
    assert "S-2-1-2 4.10 4.11 8.21 4.41" in text
    assert "S-2-1-3 3.10 8.22 11.32 8.52" in text
    assert "Length of the stem not known" in text  # the three trees that came with uploaded logs
    refused = mill.get(url("cutting_list"), {"lengths": "4,1", "kerf_mm": "10"})
    assert refused.status_code == 422
    assert "with a decimal point" in words(refused)


# Logs ----------------------------------------------------------------------------------------------


def test_a_stem_is_entered_log_by_log(material: Place, mill: Client) -> None:
    stem(material)
    first = mill.get(url("new_log", "S-2-1"))
    assert 'value="S-2-1-1"' in first.content.decode()
    assert 'value="0.3"' in first.content.decode()  # the stump
    kept = mill.post(
        url("new_log", "S-2-1"),
        LOG | {"sed2_mm": "296", "heart_sed_mm": "120", "sweep_mm": "20", "then": "next"},
    )
    assert kept["Location"] == url("new_log", "S-2-1")
    log = Log.objects.get(code="S-2-1-1")
    assert (log.felling.tree.code, log.length_m, log.sed2_mm, log.heart_sed_mm, log.bark) == (
        "S-2-1",
        4.1,
        296,
        120,
        "under",
    )
    second = mill.get(url("new_log", "S-2-1")).content.decode()
    assert 'value="S-2-1-2"' in second
    assert 'value="4.4"' in second  # the top of the first
    last = LOG | {"log": "S-2-1-2", "bottom_m": "4.4", "led1_mm": "298", "sed1_mm": "270", "then": "stem"}
    assert mill.post(url("new_log", "S-2-1"), last)["Location"] == url("felling", "S-2-1")
    page = mill.get(url("felling", "S-2-1")).content.decode()
    assert page.count('class="drawing stem"') == 2
    assert "Asked about" not in page


def test_a_log_sent_twice_is_stored_once(material: Place, mill: Client) -> None:
    stem(material)
    for _ in range(2):
        assert mill.post(url("new_log", "S-2-1"), LOG).status_code == 302
    assert Log.objects.filter(felling__tree__code="S-2-1").count() == 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"length_m": "41"}, "at most 13 m"),
        ({"length_m": "long"}, "a number"),
        ({"heart_led_mm": "340"}, "at most the log's own diameter at that end (330 mm)"),
        ({"sections_mm": "330;x"}, "two or more diameters"),
        ({"sed1_mm": ""}, "This field is required"),
        ({"log": "L1"}, "the measures of a stored log are corrected on its own page"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field_and_nothing_is_stored(
    material: Place, mill: Client, change: dict[str, str], said: str
) -> None:
    stem(material)
    refused = mill.post(url("new_log", "S-2-1"), LOG | change)
    assert refused.status_code == 422
    assert said in words(refused)
    column = next(iter(change))
    assert f'id="id_{column}-error"' in refused.content.decode()
    assert Log.objects.filter(felling__tree__code="S-2-1").count() == 0


def test_a_log_that_does_not_fit_its_stem_is_asked_about(material: Place, mill: Client) -> None:
    stem(material)
    mill.post(url("new_log", "S-2-1"), LOG)
    odd = LOG | {"log": "S-2-1-2", "bottom_m": "4.4", "led1_mm": "345", "sed1_mm": "335"}
    asked = mill.post(url("new_log", "S-2-1"), odd)
    assert asked.status_code == 422
    text = words(asked)
    assert "Its large end (345 mm) is thicker than the small end of S-2-1-1 under it (300 mm)" in text
    assert (
        "Log S-2-1-1: its large end (330 mm) is thinner than the small end of S-2-1-2 above it (335 mm)"
        in text
    )
    assert Log.objects.filter(code="S-2-1-2").count() == 0
    assert mill.post(url("new_log", "S-2-1"), odd | {"sure": "yes"}).status_code == 302
    assert "Asked about" in words(mill.get(url("felling", "S-2-1")))
    assert "Asked about" in words(mill.get(url("log", "S-2-1-2")))


def test_a_correction_keeps_history_and_empties_what_was_emptied(material: Place, mill: Client) -> None:
    before = mill.get(url("change_log", "L1")).content.decode()
    assert 'value="330"' in before
    changed = {
        "bottom_m": "0.3",
        "length_m": "3.0",
        "led1_mm": "331",
        "sed1_mm": "300",
        "sed2_mm": "298",
        "bark": "under",
    }
    assert mill.post(url("change_log", "L1"), changed).status_code == 302
    assert mill.post(url("change_log", "L1"), changed | {"sed2_mm": ""}).status_code == 302
    log = Log.objects.get(code="L1")
    assert (log.led1_mm, log.sed2_mm) == (331, None)
    events = Log.pgh_event_model.objects.filter(pgh_obj=log).order_by("pgh_id")
    assert list(events.values_list("led1_mm", "sed2_mm"))[-3:] == [(330, None), (331, 298), (331, None)]


def test_a_log_cannot_be_made_smaller_than_its_boards(material: Place, mill: Client) -> None:
    small = {
        "bottom_m": "0.3",
        "length_m": "3.0",
        "led1_mm": "150",
        "sed1_mm": "120",
        "bark": "under",
        "sure": "yes",
    }
    refused = mill.post(url("change_log", "L1"), small)
    assert refused.status_code == 422
    assert "at least the volume of its boards" in words(refused)
    assert Log.objects.get(code="L1").led1_mm == 330


def test_those_who_bring_no_logs_enter_and_correct_none(material: Place, client: Client) -> None:
    stem(material)
    client.force_login(material.people["field_crew"])
    assert client.post(url("new_log", "S-2-1"), LOG).status_code == 403
    assert client.post(url("change_log", "L1"), LOG).status_code == 403
    with pytest.raises(PermissionDenied):
        actions.enter_log(study=material.study, values=LOG | {"tree": "S-2-1"}, by=material.people["grader"])
    with pytest.raises(PermissionDenied):
        actions.record_stem(
            study=material.study, tree=Tree.objects.get(code="S-2-1"), by=material.people["grader"]
        )


def test_an_uploaded_log_is_remarked_on_with_its_stem_record_and_the_tree(material: Place) -> None:
    measured(material, "S-2-1", dbh_mm=305.0, height_m=30.0)
    stem(material, stem_length_m=4.0)
    upload = check_upload(
        kind_name="logs",
        target=material.target("logs"),
        file_name="more.csv",
        data=b"log,tree,bottom_m,length_m,sed1_mm,led1_mm\nN1,S-2-1,0.3,4.1,300,330\n",
        by=material.people["mill"],
    )
    assert upload.held == 0
    assert upload.notes == [
        "logs reach beyond the length of the stem: row 2",
        "nearly as thick as the tree over bark: perhaps measured over bark: row 2",
    ]


# The log's page ------------------------------------------------------------------------------------


def test_a_log_shows_shape_preferred_volume_and_colours(material: Place, mill: Client) -> None:
    Log.objects.filter(code="L1").update(heart_sed_mm=180, heart_led_mm=240, led1_mm=360, sweep_mm=15)
    page = mill.get(url("log", "L1"))
    text = words(page)
    assert "Heartwood, % of volume 40.7" in text
    assert "Taper, mm/m 20.0" in text
    assert "preferred" in text
    assert page.content.decode().count('class="drawing log-end"') == 2
    graded = mill.get(url("log", "L1"), {"colour": "grade-look"}).content.decode()
    assert 'class="board mark grade-0"' in graded
    assert "not graded" in graded
    for colour, css in (("heartwood", "part-heart"), ("clone", "board mark clone-")):
        assert css in mill.get(url("log", "L1"), {"colour": colour}).content.decode()
    assert "No drying defect is on record" in words(mill.get(url("log", "L1"), {"colour": "defect"}))


def test_boards_with_codes_read_are_drawn_at_their_place(material: Place, mill: Client) -> None:
    """Cells 10 columns left and right of the pith, 5 rows above it: the board's middle lies 41.5 mm above the pith."""
    from sawing.models import BoardCode

    sheet = sheet_of(Log.objects.get(code="L1"), pith_row=20, pith_col=20)
    for col in (10, 30):
        BoardCode.objects.create(board=Board.objects.get(code="B1"), sheet=sheet, row=15, col=col)
    text = words(mill.get(url("log", "L1")))
    assert "B1 (28 × 200 mm, 3 m, 42 mm from the pith)" in text
    assert "2 boards without a code read on this end are not drawn" in text
    assert "places read from the boards’ codes" in text


def test_a_tree_felled_before_it_was_planted_is_asked_about(material: Place) -> None:
    tree = Tree.objects.select_related("site").get(code="S-2-1")
    tree.planted_on = BUILT
    tree.save()
    asked = {"study": material.study, "tree": tree, "by": material.people["mill"], "felled_on": BUILT}
    with pytest.raises(actions.AskedError, match="but planted on"):
        actions.record_stem(**asked)
    assert actions.record_stem(**asked, sure=True).felled_on == BUILT


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("max_length_mm", "1e12", "Between 10 and 20000 mm."),
        ("crosscut_module_mm", "0.001", "Between 1 and 5000 mm."),
        ("headsaw_kerf_mm", "900", "Between 0 and 20 mm."),
        ("headsaw_kerf_mm", "-1", "Between 0 and 20 mm."),
        ("oversize_width_pct", "500", "Between 0 and 50 %."),
        ("bark_factor", "3", "Between 0.51 and 1."),
        ("felled_on", "2099-01-01", "This day is still to come."),
    ],
)
def test_a_plan_no_mill_can_have_is_refused_at_its_field(
    material: Place, client: Client, field: str, value: str, words: str
) -> None:
    client.force_login(material.people["manager"])
    page = client.post(reverse("sawing:plan", args=STUDY), {"name": "First", field: value})
    assert page.status_code == 422
    text = html.unescape(page.content.decode())
    assert words in text
    assert "Constraint" not in text

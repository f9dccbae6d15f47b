"""Who sees what, and who does what: every address, asked by everybody."""

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import get_resolver, reverse

from portal.models import Membership, Role, Upload, User
from sawing.actions import create_study
from tests.conftest import Place
from tests.portal.town import CHECKED_TALLY, PEOPLE, STUDY, TRIAL, address, answer, asked, signed_in

# Written out by hand from what the roles are for. Columns as in PEOPLE. 302 leads on, "in" leads to signing in.
GETS = """
portal:sign_in               200 302 302 302 302 302 302 302 302 302
portal:look                  200 200 200 200 200 200 200 200 200 200
portal:account               in  200 200 200 200 200 200 200 200 200
portal:change_password       in  200 200 200 200 200 200 200 200 200
portal:people                in  403 200 403 403 403 403 403 200 200
portal:give_role             in  404 404 404 403 403 403 404 200 200
portal:new_person            in  404 404 404 403 403 403 404 200 200
reports:home                 in  200 200 200 200 200 200 200 200 200
portal:jobs                  in  200 200 200 200 200 200 200 200 200
portal:job                   in  404 404 404 200 200 200 404 200 200
portal:files                 in  200 200 200 200 200 200 200 200 200
portal:bring_file            in  403 200 403 200 200 200 403 200 200
portal:formats               in  200 200 200 200 200 200 200 200 200
portal:sample                in  200 200 200 200 200 200 200 200 200
portal:file                  in  404 404 404 200 200 200 404 200 200
portal:held                  in  404 404 404 200 200 200 404 200 200
portal:held_download         in  404 404 404 200 200 200 404 200 200
trials:trees                 in  200 302 200 302 302 302 200 302 200
trials:new_trial             in  403 403 403 403 403 403 403 403 200
trials:describe_trial        in  404 404 404 403 403 403 404 200 200
trials:describe_site         in  404 404 404 403 403 403 404 200 200
trials:plan                  in  404 404 404 403 403 403 404 200 200
trials:choose                in  404 404 404 403 403 403 404 200 200
trials:trial_trees           in  404 404 404 200 200 200 404 200 200
trials:site                  in  404 404 404 200 200 200 404 200 200
trials:tree                  in  404 404 404 200 200 200 404 200 200
trials:site_map              in  404 404 404 200 200 200 404 200 200
trials:site_map_data         in  404 404 404 200 200 200 404 200 200
trials:walking_list          in  404 404 404 200 200 200 404 200 200
trials:tree_tags             in  404 404 404 200 200 200 404 200 200
trials:traits                in  404 404 404 200 200 200 404 200 200
trials:assessments           in  404 404 404 200 200 200 404 200 200
trials:unplaced              in  404 404 404 200 200 200 404 200 200
trials:assessment            in  404 404 404 200 200 200 404 200 200
trials:assessment_values     in  404 404 404 200 200 200 404 200 200
trials:assessment_waiting    in  404 404 404 200 200 200 404 200 200
trials:assessment_checks     in  404 404 404 200 200 200 404 200 200
trials:assessment_photos     in  404 404 404 200 200 200 404 200 200
trials:photo                 in  404 404 404 200 200 200 404 200 200
trials:growth                in  404 404 404 200 200 200 404 200 200
trials:close_assessment      in  404 404 404 403 403 403 404 200 200
trials:change_assessment     in  404 404 404 403 403 403 404 200 200
trials:assessment_figures    in  404 404 404 200 200 200 404 200 200
trials:new_trait             in  404 404 404 403 403 403 404 200 200
trials:change_trait          in  404 404 404 403 403 403 404 200 200
trials:new_assessment        in  404 404 404 403 403 403 404 200 200
trials:usual_traits          in  405 405 405 405 405 405 405 405 405
trials:photo_state           in  405 405 405 405 405 405 405 405 405
trials:assessment_state      in  405 405 405 405 405 405 405 405 405
trials:field                 200 200 200 200 200 200 200 200 200 200
trials:field_worker          200 200 200 200 200 200 200 200 200 200
trials:field_manifest        200 200 200 200 200 200 200 200 200 200
trials:field_session         401 200 200 200 200 200 200 200 200 200
trials:field_assessments     401 200 200 200 200 200 200 200 200 200
trials:field_assessment      401 404 404 404 200 403 403 404 200 200
trials:field_entries         405 405 405 405 405 405 405 405 405 405
trials:field_photos          405 405 405 405 405 405 405 405 405 405
sawing:studies               in  200 200 200 302 302 302 200 200 200
sawing:new_study             in  404 404 404 403 403 403 404 200 200
sawing:plan                  in  404 404 404 200 200 200 404 200 200
sawing:logs                  in  404 404 404 200 200 200 404 200 200
sawing:log                   in  404 404 404 200 200 200 404 200 200
sawing:duties                in  404 404 404 200 200 200 404 200 200
sawing:stage                 in  404 404 404 200 200 200 404 200 200
sawing:fellings              in  404 404 404 200 200 200 404 200 200
sawing:felling               in  404 404 404 200 200 200 404 200 200
sawing:cutting_list          in  404 404 404 200 200 200 404 200 200
sawing:stem_record           in  404 404 404 200 200 403 404 200 200
sawing:new_log               in  404 404 404 403 200 403 404 200 200
sawing:change_log            in  404 404 404 403 200 403 404 200 200
sawing:end_duty              in  405 405 405 405 405 405 405 405 405
sawing:labels                in  404 404 404 200 200 200 404 200 200
sawing:scan_labels           in  404 404 404 200 200 200 404 200 200
sawing:label_sheet           in  404 404 404 200 200 200 404 200 200
sawing:label_file            in  404 404 404 404 404 404 404 404 404
sawing:print_labels          in  405 405 405 405 405 405 405 405 405
sawing:link_named_boards     in  405 405 405 405 405 405 405 405 405
sawing:dock                  in  404 404 404 200 200 200 404 200 200
sawing:dock_flitch           in  404 404 404 200 200 200 404 200 200
sawing:dock_trace            in  404 404 404 403 200 403 404 200 200
sawing:dock_compare          in  404 404 404 200 200 200 404 200 200
sawing:dock_scenarios        in  404 404 404 200 200 200 404 200 200
sawing:dock_scenario_table   in  404 404 404 200 200 200 404 200 200
sawing:drying                in  404 404 404 200 200 200 404 200 200
sawing:yard                  in  404 404 404 200 200 200 404 200 200
sawing:stack                 in  404 404 404 200 200 200 404 200 200
sawing:drying_defects        in  404 404 404 200 200 200 404 200 200
sawing:dry_sizes             in  404 404 404 200 200 200 404 200 200
sawing:calibration           in  404 404 404 200 200 200 404 200 200
sawing:new_yard              in  404 404 404 403 200 403 404 200 200
sawing:new_stack             in  404 404 404 403 200 403 404 200 200
sawing:change_stack          in  404 404 404 403 200 403 404 200 200
sawing:stack_boards          in  404 404 404 403 200 403 404 200 200
sawing:stack_readings        in  404 404 404 403 200 403 404 200 200
sawing:stack_samples         in  404 404 404 403 200 403 404 200 200
sawing:release_stack         in  404 404 404 403 200 403 404 200 200
sawing:take_out              in  404 404 404 403 200 403 404 200 200
sawing:reading_aside         in  405 405 405 405 405 405 405 405 405
sawing:defect_aside          in  405 405 405 405 405 405 405 405 405
sawing:tally                 in  404 404 404 403 200 403 404 200 200
sawing:tally_balance         in  404 404 404 200 200 200 404 200 200
sawing:tally_waiting         in  404 404 404 200 200 200 404 200 200
sawing:tally_pack            401 404 404 404 403 200 403 404 200 200
sawing:tally_entries         405 405 405 405 405 405 405 405 405 405
sawing:tally_frame           200 200 200 200 200 200 200 200 200 200
sawing:tally_worker          200 200 200 200 200 200 200 200 200 200
grading:boards               in  200 200 200 200 200 200 200 200 200
grading:rule_sets            in  200 200 200 200 200 200 200 200 200
grading:new_rule_set         in  403 200 403 403 403 403 403 200 200
grading:write_rule_set       in  403 200 403 403 403 403 403 200 200
grading:type_rule_set        in  403 200 403 403 403 403 403 200 200
grading:change_rule_set      in  403 200 403 403 403 403 403 200 200
grading:rule_set             in  200 200 200 200 200 200 200 200 200
grading:rule_set_version     in  200 200 200 200 200 200 200 200 200
grading:rule_set_file        in  200 200 200 200 200 200 200 200 200
grading:take_rule_set        in  405 405 405 405 405 405 405 405 405
grading:grading              in  404 404 404 200 200 200 404 200 200
grading:bench                in  404 404 404 403 403 200 404 200 200
grading:bench_sample         in  404 404 404 403 403 200 404 200 200
grading:bench_board          in  404 404 404 403 403 409 404 409 409
grading:bench_start          in  405 405 405 405 405 405 405 405 405
grading:bench_close          in  405 405 405 405 405 405 405 405 405
grading:bench_suggest        in  405 405 405 405 405 405 405 405 405
grading:bench_keep           in  405 405 405 405 405 405 405 405 405
grading:feature_map          in  404 404 404 200 200 200 404 200 200
grading:out_turn             in  404 404 404 200 200 200 404 200 200
grading:regrades             in  404 404 404 200 200 200 404 200 200
grading:regrade              in  404 404 404 200 200 200 404 200 200
grading:keep_regrade         in  405 405 405 405 405 405 405 405 405
grading:stiffness            in  404 404 404 200 200 200 404 200 200
grading:new_tap              in  404 404 404 403 403 200 404 200 200
grading:new_sound            in  404 404 404 403 403 200 404 200 200
grading:stiffness_rules      in  405 405 405 405 405 405 405 405 405
grading:tap_aside            in  405 405 405 405 405 405 405 405 405
grading:samples              in  404 404 404 200 200 200 404 200 200
grading:sample               in  404 404 404 200 200 200 404 200 200
grading:drift                in  404 404 404 200 200 200 404 200 200
grading:close_sample         in  405 405 405 405 405 405 405 405 405
grading:study_boards         in  404 404 404 200 200 200 404 200 200
grading:board                in  404 404 404 200 200 200 404 200 200
grading:board(on_offer)      in  404 404 404 200 200 200 200 200 200
reports:trial                in  404 404 404 200 200 200 404 200 200
reports:study                in  404 404 404 200 200 200 404 200 200
reports:clones               in  200 302 200 302 302 302 200 302 200
reports:trial_clones         in  404 404 404 200 200 200 404 200 200
reports:prices               in  404 404 404 200 200 200 404 200 200
reports:clone                in  404 404 404 200 200 200 404 200 200
portal:stop_job              in  405 405 405 405 405 405 405 405 405
portal:store_file            in  405 405 405 405 405 405 405 405 405
portal:discard_file          in  405 405 405 405 405 405 405 405 405
portal:end_role              in  405 405 405 405 405 405 405 405 405
grading:offer                in  405 405 405 405 405 405 405 405 405
portal:sign_out              in  405 405 405 405 405 405 405 405 405
"""
# 302: done, led on to what came of it. 422: allowed, but what was sent (nothing) will not do.
POSTS = """
portal:sign_out              in  302 302 302 302 302 302 302 302 302
portal:bring_file            in  403 422 403 422 422 422 403 422 422
portal:store_file            in  404 404 404 403 302 403 404 302 302
portal:discard_file          in  404 404 404 403 302 403 404 302 302
portal:held                  in  404 404 404 403 302 403 404 302 302
portal:account               in  422 422 422 422 422 422 422 422 422
portal:change_password       in  422 422 422 422 422 422 422 422 422
portal:give_role             in  404 404 404 403 403 403 404 422 422
portal:new_person            in  404 404 404 403 403 403 404 422 422
portal:end_role              in  404 404 404 403 403 403 404 302 302
portal:stop_job              in  404 404 404 403 403 403 404 302 302
trials:new_trial             in  403 403 403 403 403 403 403 403 422
trials:describe_trial        in  404 404 404 403 403 403 404 422 422
trials:plan                  in  404 404 404 403 403 403 404 422 422
trials:describe_site         in  404 404 404 403 403 403 404 302 302
trials:new_trait             in  404 404 404 403 403 403 404 422 422
trials:change_trait          in  404 404 404 403 403 403 404 422 422
trials:usual_traits          in  404 404 404 403 403 403 404 302 302
trials:new_assessment        in  404 404 404 403 403 403 404 422 422
trials:photo_state           in  404 404 404 403 403 403 404 302 302
trials:assessment_state      in  404 404 404 403 403 403 404 302 302
trials:assessment_waiting    in  404 404 404 403 403 403 404 302 302
trials:assessment_checks     in  404 404 404 403 403 403 404 302 302
trials:change_assessment     in  404 404 404 403 403 403 404 422 422
trials:unplaced              in  404 404 404 403 403 403 404 302 302
trials:field_entries         401 400 400 400 400 400 400 400 400 400
trials:field_photos          401 400 400 400 400 400 400 400 400 400
sawing:new_study             in  404 404 404 403 403 403 404 422 422
sawing:plan                  in  404 404 404 403 403 403 404 422 422
sawing:duties                in  404 404 404 403 403 403 404 422 422
sawing:end_duty              in  404 404 404 403 403 403 404 302 302
sawing:stem_record           in  404 404 404 302 302 403 404 302 302
sawing:new_log               in  404 404 404 403 422 403 404 422 422
sawing:change_log            in  404 404 404 403 422 403 404 422 422
sawing:labels                in  404 404 404 403 422 403 404 422 422
sawing:dock_flitch           in  404 404 404 403 302 403 404 302 302
sawing:dock_trace            in  404 404 404 403 422 403 404 422 422
sawing:dock_compare          in  404 404 404 403 302 403 404 302 302
sawing:dock_scenarios        in  404 404 404 403 422 403 404 422 422
sawing:scan_labels           in  404 404 404 403 302 403 404 302 302
sawing:label_sheet           in  404 404 404 403 422 403 404 422 422
sawing:print_labels          in  404 404 404 403 200 403 404 200 200
sawing:link_named_boards     in  404 404 404 403 302 403 404 302 302
sawing:new_yard              in  404 404 404 403 422 403 404 422 422
sawing:yard                  in  404 404 404 403 422 403 404 422 422
sawing:new_stack             in  404 404 404 403 422 403 404 422 422
sawing:change_stack          in  404 404 404 403 302 403 404 302 302
sawing:stack_boards          in  404 404 404 403 422 403 404 422 422
sawing:stack_readings        in  404 404 404 403 422 403 404 422 422
sawing:stack_samples         in  404 404 404 403 422 403 404 422 422
sawing:release_stack         in  404 404 404 403 422 403 404 422 422
sawing:take_out              in  404 404 404 403 422 403 404 422 422
sawing:drying_defects        in  404 404 404 403 422 403 404 422 422
sawing:dry_sizes             in  404 404 404 403 422 403 404 422 422
sawing:reading_aside         in  404 404 404 403 302 403 404 302 302
sawing:defect_aside          in  404 404 404 403 302 403 404 302 302
sawing:tally_waiting         in  404 404 404 403 403 403 404 302 302
sawing:tally_entries         401 404 404 400 400 400 400 400 400 400
grading:offer                in  404 404 404 403 403 403 404 302 302
grading:bench_start          in  404 404 404 403 403 302 404 302 302
grading:bench_close          in  404 404 404 403 403 404 404 404 404
grading:bench_suggest        in  404 404 404 403 403 409 404 409 409
grading:bench_keep           in  404 404 404 403 403 409 404 409 409
grading:feature_map          in  404 404 404 403 403 422 404 422 422
grading:new_tap              in  404 404 404 403 403 422 404 422 422
grading:new_sound            in  404 404 404 403 403 422 404 422 422
grading:stiffness_rules      in  404 404 404 403 403 403 404 302 302
grading:tap_aside            in  404 404 404 403 403 302 404 302 302
grading:samples              in  404 404 404 403 403 422 404 422 422
grading:close_sample         in  404 404 404 403 403 403 404 302 302
grading:regrades             in  404 404 404 403 403 422 404 422 422
grading:keep_regrade         in  404 404 404 403 403 403 404 302 302
grading:new_rule_set         in  403 422 403 403 403 403 403 422 422
grading:write_rule_set       in  403 422 403 403 403 403 403 422 422
grading:type_rule_set        in  403 422 403 403 403 403 403 422 422
grading:change_rule_set      in  403 422 403 403 403 403 403 422 422
grading:take_rule_set        in  403 302 403 403 403 403 403 302 302
"""


def rows(table: str) -> list[Any]:
    lines = [line.split() for line in table.strip().splitlines()]
    return [pytest.param(name, dict(zip(PEOPLE, answers, strict=True)), id=name) for name, *answers in lines]


@pytest.mark.parametrize(("name", "expected"), rows(GETS))
def test_pages(town: Place, name: str, expected: dict[str, str]) -> None:
    url = address(town, name)
    assert asked(lambda client: client.get(url)) == expected


@pytest.mark.parametrize(("name", "expected"), rows(POSTS))
def test_actions(town: Place, name: str, expected: dict[str, str]) -> None:
    url = address(town, name)
    held = town.trial.uploads.get(file_name="bad.csv").held_rows.get().pk
    sent = {
        "portal:held": {"do": f"aside-{held}"},
        "grading:offer": {"board": "B2"},
        "trials:assessment_state": {"do": "close"},
        "trials:photo_state": {"do": "aside"},
        "trials:assessment_checks": {"do": "settle"},
        "trials:assessment_waiting": {"do": "drop-0"},
        "trials:unplaced": {"do": "drop-0"},
        "sawing:tally_waiting": {"do": f"drop-{town.study.held_tallies.get().pk}"},
    }.get(name, {"title": ""})
    assert asked(lambda client: client.post(url, sent)) == expected


def test_every_address_is_in_the_table() -> None:
    names = set()
    for include in get_resolver().url_patterns:
        names |= {f"{include.app_name}:{pattern.name}" for pattern in include.url_patterns}
    assert names == {row.values[0].split("(")[0] for row in rows(GETS)}


@pytest.mark.parametrize("who", ["stranger", "neighbour", "left", "field_crew", "grader", "researcher"])
def test_actions_by_the_wrong_people_change_nothing(town: Place, who: str) -> None:
    client = signed_in(who)
    bad, checked = (town.trial.uploads.get(file_name=f"{n}.csv") for n in ("bad", "checked"))
    client.post(reverse("portal:store_file", args=[checked.pk]))
    client.post(reverse("portal:discard_file", args=[checked.pk]))
    client.post(
        reverse("portal:held", args=[bad.pk]), {f"row-{bad.held_rows.get().pk}-log": "L1", "do": "mend"}
    )
    client.post(reverse("portal:held", args=[bad.pk]), {"do": f"aside-{bad.held_rows.get().pk}"})
    client.post(reverse("grading:offer", args=STUDY), {"board": "B2"})
    client.post(reverse("grading:offer", args=STUDY), {"board": "B1", "do": "withdraw"})
    client.post(reverse("sawing:plan", args=STUDY), {"name": "Mine", "log_volume_formula": "huber"})
    client.post(
        reverse("sawing:new_study", args=TRIAL), {"name": "X", "code": "x", "log_volume_formula": "huber"}
    )
    checked.refresh_from_db()
    assert checked.state == "checked"
    assert bad.held_rows.get().state == "waiting"
    assert dict(town.study.boards.filter(code__in=["B1", "B2"]).values_list("code", "state")) == {
        "B1": "available",
        "B2": "graded",
    }
    assert list(town.trial.studies.values_list("name", "log_volume_formula")) == [("First study", "smalian")]


def test_a_manager_starts_a_study_and_changes_its_plan(town: Place) -> None:
    client = signed_in("manager")
    fields = {"name": "Second", "code": "second", "log_volume_formula": "huber", "widths": "100, 75"}
    made = client.post(reverse("sawing:new_study", args=TRIAL), fields)
    assert made["Location"] == reverse("reports:study", args=["small", "second"])
    study = town.trial.studies.get(code="second")
    assert (study.log_volume_formula, study.widths_mm) == ("huber", [75.0, 100.0])
    changed = client.post(
        reverse("sawing:plan", args=["small", "second"]), {"name": "Second", "log_volume_formula": "newton"}
    )
    assert changed.status_code == 302
    study.refresh_from_db()
    assert (study.log_volume_formula, study.code) == ("newton", "second")


def test_a_study_never_takes_a_code_that_is_an_address_of_its_own(town: Place) -> None:
    fields = {"name": "Second", "code": "new", "log_volume_formula": "huber"}
    refused = signed_in("manager").post(reverse("sawing:new_study", args=TRIAL), fields)
    assert refused.status_code == 422
    assert not town.trial.studies.filter(code="new").exists()


def test_a_researcher_sees_the_boards_on_offer_and_no_way_further_in(town: Place) -> None:
    client = signed_in("researcher")
    offered = client.get(reverse("grading:boards")).content.decode()
    assert ">B1<" in offered
    assert reverse("grading:board", args=[*STUDY, "B1"]) in offered
    assert reverse("grading:board", args=[*STUDY, "B2"]) not in offered
    page = client.get(reverse("grading:board", args=[*STUDY, "B1"])).content.decode()
    home = client.get(reverse("reports:home")).content.decode()
    for text in (offered, page, home):
        for inside in ("trees/small", "sawing/small", "clones/small", "boards/small/first/offer"):
            assert inside not in text
    assert "The manager" not in page  # the history of the board is the trial's own


def test_boards_taken_back_are_gone_for_researchers(town: Place) -> None:
    signed_in("manager").post(reverse("grading:offer", args=STUDY), {"board": "B1", "do": "withdraw"})
    client = signed_in("researcher")
    assert client.get(reverse("grading:board", args=[*STUDY, "B1"])).status_code == 404
    assert ">B1<" not in client.get(reverse("grading:boards")).content.decode()


def test_another_trial_sees_nothing_of_this_one(town: Place) -> None:
    client = signed_in("neighbour")
    hidden = ("Small trial", "First study", ">B1<", "S-1-1", "bad.csv", "boards.csv")
    for name in (
        "reports:home",
        "portal:files",
        "portal:bring_file",
        "trials:trees",
        "sawing:studies",
        "grading:boards",
        "reports:clones",
    ):
        page = client.get(reverse(name), follow=True).content.decode()
        assert [text for text in hidden if text in page] == [], name


def test_nobody_brings_files_into_a_place_not_their_own(town: Place) -> None:
    def sent(who: str, kind: str, place: str) -> Any:
        file = SimpleUploadedFile("x.csv", CHECKED_TALLY.replace("N2", "N3").encode())
        return signed_in(who).post(reverse("portal:bring_file"), {"kind": kind, "place": place, "file": file})

    before = Upload.objects.count()
    assert sent("neighbour", "boards", "small/first").status_code == 422
    assert sent("mill", "clones", "small").status_code == 422
    assert sent("grader", "boards", "small/first").status_code == 422
    Membership.objects.create(user=town.people["neighbour"], trial=town.trial, role=Role.GRADER)
    # Now both the kind and the place are among the choices, but not together.
    assert sent("neighbour", "boards", "small/first").status_code == 403
    assert Upload.objects.count() == before
    assert sent("mill", "boards", "small/first").status_code == 302


def test_signing_in_and_out(town: Place) -> None:
    client = Client()
    wrong = client.post(reverse("portal:sign_in"), {"username": "mill", "password": "wrong"})
    assert wrong.status_code == 200
    asked_for = reverse("reports:study", args=STUDY)
    assert client.get(asked_for)["Location"] == f"{reverse('portal:sign_in')}?next={asked_for}"
    right = client.post(
        reverse("portal:sign_in"), {"username": "mill", "password": "larch and rain 12", "next": asked_for}
    )
    assert right["Location"] == asked_for
    away = client.post(
        reverse("portal:sign_in"),
        {"username": "mill", "password": "larch and rain 12", "next": "//evil.example"},
    )
    assert away["Location"] == reverse("reports:home")
    client.post(reverse("portal:sign_out"))
    assert answer(client.get(asked_for)) == "in"


def test_someone_no_longer_active_is_out(town: Place) -> None:
    client = signed_in("manager")
    User.objects.filter(username="manager").update(is_active=False)
    assert answer(client.get(reverse("reports:home"))) == "in"


def test_a_form_from_elsewhere_is_refused(town: Place) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(town.people["manager"])
    assert client.post(reverse("grading:offer", args=STUDY), {"board": "B2"}).status_code == 403


def test_a_second_study_of_the_trial_is_open_to_its_people(town: Place) -> None:
    create_study(trial=town.trial, code="second", name="Second study", by=town.people["manager"])
    url = reverse("reports:study", args=["small", "second"])
    answers = asked(lambda client: client.get(url))
    assert {who for who, status in answers.items() if status == "200"} == {
        "field_crew", "mill", "grader", "manager", "steward",
    }  # fmt: skip

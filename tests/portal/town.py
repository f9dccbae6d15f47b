"""A place with neighbours: who asks, what stands in the addresses, and what each is answered."""

import uuid
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import F
from django.test import Client
from django.urls import reverse

from grading.models import (
    BoardGrade,
    GradingSample,
    GradingSession,
    Regrade,
    RuleSet,
    SampleBoard,
    StiffnessReading,
)
from portal.models import Job, Membership, Role, User
from portal.uploads.actions import check_upload
from reports.calc.recovery import compute_with_held_rows
from sawing.actions import offer_boards
from sawing.calc.label_lattice import Slice
from sawing.labels.actions import make_sheets
from sawing.models import DryingDefect, LabelSheet, ScenarioTable
from sawing.planning.actions import add_duty
from sawing.tally.actions import receive_tally
from tests.conftest import Place
from tests.sawing.drying_place import a_defect, a_stack, read
from tests.trials.crews import looked_at, open_spring
from trials.actions import create_trial
from trials.models import Assessment, Photo

BAD_TALLY = "board,log,thickness_mm,width_mm,length_m\nN1,NOLOG,28,100,3\n"
CHECKED_TALLY = "board,log,thickness_mm,width_mm,length_m\nN2,L1,28,100,3\n"

# "neighbour" manages another trial; "left" was this trial's manager once; "in" is led to the sign-in page.
PEOPLE = (
    "out",
    "stranger",
    "neighbour",
    "left",
    "field_crew",
    "mill",
    "grader",
    "researcher",
    "manager",
    "steward",
)
SESSIONS: dict[str, str] = {}
FIGURES: dict[Any, Any] = {}
TRIAL, STUDY = ("small",), ("small", "first")


def build_town(place: Place) -> None:
    """A second trial beside the place, one board on offer, a file with a held row and one not stored yet."""
    other = create_trial(code="other", name="Other trial", by=place.people["steward"])
    for name, trial, active in (("neighbour", other, True), ("left", place.trial, False)):
        place.people[name] = User.objects.create_user(name)
        Membership.objects.create(user=place.people[name], trial=trial, role=Role.MANAGER, active=active)
    offer_boards(study=place.study, by=place.people["manager"], codes=["B1"])
    place.bring("boards", BAD_TALLY, name="bad.csv", by="mill")
    check_upload(
        kind_name="boards",
        target=place.target("boards"),
        file_name="checked.csv",
        data=CHECKED_TALLY.encode(),
        by=place.people["mill"],
    )
    looked_at(open_spring(place), place.people["manager"])
    log = place.study.logs.get(code="L1")
    make_sheets(study=place.study, by=place.people["mill"], logs=[log], board=Slice(25, 100))
    unread = {"id": str(uuid.uuid4()), "kind": "board"}
    receive_tally(study=place.study, device=uuid.uuid4(), entries=[unread], by=place.people["mill"])
    ScenarioTable.objects.create(
        study=place.study, name="Scenarios", parameters={}, by=place.people["manager"]
    )
    Job.objects.create(kind="scenarios", title="Scenarios", by=place.people["manager"], trial=place.trial)
    stack = a_stack(place, boards=["B3"])
    read(place, stack, 0, "27", boards=["B3"])
    a_defect(place, "B3")
    add_duty(study=place.study, by=place.people["manager"], stage="sawn", name="The sawyer")
    sample = GradingSample.objects.create(
        study=place.study,
        rule_set=RuleSet.objects.get(code="look"),
        title="Spring",
        seed=1,
        by=place.people["manager"],
    )
    StiffnessReading.objects.create(
        board=place.study.boards.get(code="B2"), client_id=uuid.uuid4(), resonance_hz=800
    )
    session = GradingSession.objects.create(study=place.study, grader=place.people["neighbour"])
    BoardGrade.objects.filter(board__code="B1").update(
        session=session, suggested=F("grade"), graded_at=session.created_at
    )
    Regrade.objects.create(study=place.study, rule_set=sample.rule_set, by=place.people["manager"])
    SampleBoard.objects.create(sample=sample, study=place.study, board=place.study.boards.get(code="B1"))
    for name, user in place.people.items():
        client = Client()
        client.force_login(user)
        SESSIONS[name] = client.cookies[settings.SESSION_COOKIE_NAME].value


def arguments(place: Place) -> dict[str, tuple[Any, ...]]:
    """What stands in the addresses."""
    files = {u.file_name: u.pk for u in place.trial.uploads.all()}
    spring = (*TRIAL, Assessment.objects.get(site__trial=place.trial).pk)
    return {
        "portal:sample": ("boards",),
        "portal:file": (files["bad.csv"],),
        "portal:held": (files["bad.csv"],),
        "portal:held_download": (files["bad.csv"],),
        "portal:store_file": (files["checked.csv"],),
        "portal:discard_file": (files["checked.csv"],),
        "portal:job": (place.trial.jobs.get().pk,),
        "portal:stop_job": (place.trial.jobs.get().pk,),
        "portal:give_role": TRIAL,
        "portal:new_person": TRIAL,
        "portal:end_role": (*TRIAL, place.trial.memberships.get(role=Role.MILL).pk),
        "trials:describe_trial": TRIAL,
        "trials:describe_site": (*TRIAL, "S"),
        "trials:trial_trees": TRIAL,
        "trials:plan": TRIAL,
        "trials:choose": TRIAL,
        "trials:site": (*TRIAL, "S"),
        "trials:tree": (*TRIAL, "S-1-1"),
        "trials:site_map": (*TRIAL, "S"),
        "trials:site_map_data": (*TRIAL, "S"),
        "trials:walking_list": (*TRIAL, "S"),
        "trials:tree_tags": (*TRIAL, "S"),
        "trials:traits": TRIAL,
        "trials:new_trait": TRIAL,
        "trials:usual_traits": TRIAL,
        "trials:change_trait": (*TRIAL, "dbh_mm"),
        "trials:assessments": TRIAL,
        "trials:new_assessment": TRIAL,
        "trials:unplaced": TRIAL,
        "trials:assessment": spring,
        "trials:field_assessment": spring[1:],
        "trials:assessment_values": spring,
        "trials:assessment_waiting": spring,
        "trials:assessment_checks": spring,
        "trials:assessment_photos": spring,
        "trials:photo": (*TRIAL, Photo.objects.get().pk),
        "trials:photo_state": (*TRIAL, Photo.objects.get().pk),
        "trials:growth": TRIAL,
        "trials:close_assessment": spring,
        "trials:change_assessment": spring,
        "trials:assessment_figures": spring,
        "trials:assessment_state": spring,
        "sawing:new_study": TRIAL,
        "sawing:plan": STUDY,
        "sawing:tally": STUDY,
        "sawing:tally_balance": STUDY,
        "sawing:tally_waiting": STUDY,
        "sawing:tally_pack": STUDY,
        "sawing:tally_entries": STUDY,
        "sawing:logs": STUDY,
        "sawing:dock": STUDY,
        "sawing:dock_flitch": (*STUDY, place.study.flitches.get(log__code="L1", code="1").pk),
        "sawing:dock_trace": STUDY,
        "sawing:dock_compare": STUDY,
        "sawing:dock_scenarios": STUDY,
        "sawing:dock_scenario_table": (*STUDY, place.study.scenario_tables.get().pk),
        "sawing:log": (*STUDY, "L1"),
        "sawing:duties": STUDY,
        "sawing:end_duty": (*STUDY, place.study.duties.get().pk),
        "sawing:stage": (*STUDY, "labelled", "missing"),
        "sawing:fellings": STUDY,
        "sawing:cutting_list": STUDY,
        "sawing:felling": (*STUDY, "S-1-1"),
        "sawing:stem_record": (*STUDY, "S-1-1"),
        "sawing:new_log": (*STUDY, "S-1-1"),
        "sawing:change_log": (*STUDY, "L1"),
        "sawing:labels": STUDY,
        "sawing:print_labels": STUDY,
        "sawing:link_named_boards": STUDY,
        "sawing:scan_labels": STUDY,
        "sawing:label_file": (*STUDY, "00000000-0000-4000-8000-000000000000"),  # of no job: 404 for everybody
        "sawing:label_sheet": (*STUDY, LabelSheet.objects.get(serial__log__study=place.study, end="butt").pk),
        **drying_arguments(place),
        "grading:rule_set": ("look",),
        "grading:change_rule_set": ("look",),
        "grading:rule_set_version": ("look", 1),
        "grading:rule_set_file": ("look", 1, "toml"),
        "grading:grading": STUDY,
        **{f"grading:bench{n}": STUDY for n in ("", "_start", "_close", "_board", "_suggest", "_keep")},
        "grading:bench_sample": (*STUDY, GradingSample.objects.get().pk),
        "grading:feature_map": (*STUDY, "B2"),
        "grading:out_turn": STUDY,
        "grading:samples": STUDY,
        "grading:sample": (*STUDY, GradingSample.objects.get().pk),
        "grading:close_sample": (*STUDY, GradingSample.objects.get().pk),
        "grading:drift": (*STUDY, GradingSession.objects.get().pk, RuleSet.objects.get(code="look").pk),
        **{f"grading:{n}": STUDY for n in ("stiffness", "new_tap", "new_sound", "stiffness_rules")},
        "grading:tap_aside": (*STUDY, StiffnessReading.objects.get().pk),
        "grading:regrades": STUDY,
        "grading:regrade": (*STUDY, Regrade.objects.get().pk),
        "grading:keep_regrade": (*STUDY, Regrade.objects.get().pk),
        "grading:study_boards": STUDY,
        "grading:offer": STUDY,
        "grading:board": (*STUDY, "B2"),
        "grading:board(on_offer)": (*STUDY, "B1"),
        "reports:trial": TRIAL,
        "reports:study": STUDY,
        "reports:trial_clones": TRIAL,
        "reports:prices": TRIAL,
        "reports:clone": (*TRIAL, "K1"),
    }


def drying_arguments(place: Place) -> dict[str, tuple[Any, ...]]:
    """Addresses of drying: one yard, one stack with one board, one reading and one defect."""
    in_study = ("drying", "new_yard", "new_stack", "drying_defects", "dry_sizes", "calibration")
    of_stack = (
        "stack",
        "change_stack",
        "stack_boards",
        "stack_readings",
        "stack_samples",
        "release_stack",
        "take_out",
    )
    stack = place.study.stacks.get()
    return {
        **{f"sawing:{name}": STUDY for name in in_study},
        **{f"sawing:{name}": (*STUDY, stack.code) for name in of_stack},
        "sawing:yard": (*STUDY, stack.yard_id),
        "sawing:reading_aside": (*STUDY, stack.moisture_readings.get().pk),
        "sawing:defect_aside": (*STUDY, DryingDefect.objects.get(board__study=place.study).pk),
    }


def computed_once(trees: Any, logs: Any, boards: Any, *others: Any) -> Any:
    key = (tuple(logs["log"]), tuple(boards["board"]), others[-1].log_volume)
    if key not in FIGURES:
        FIGURES[key] = compute_with_held_rows(trees, logs, boards, *others)
    return FIGURES[key]


def address(place: Place, name: str) -> str:
    return reverse(name.split("(")[0], args=arguments(place).get(name, ()))


def signed_in(who: str) -> Client:
    client = Client()
    if who != "out":
        client.cookies[settings.SESSION_COOKIE_NAME] = SESSIONS[who]
    return client


def answer(response: Any) -> str:
    to_sign_in = response.status_code == 302 and response["Location"].startswith(reverse("portal:sign_in"))
    return (
        "in"
        if to_sign_in and response["Location"] != reverse("portal:sign_in")
        else str(response.status_code)
    )


def asked(ask: Callable[[Client], Any]) -> dict[str, str]:
    """The answer to each person; what one of them changed is undone before the next one asks."""
    found = {}
    for who in PEOPLE:
        with transaction.atomic():
            found[who] = answer(ask(signed_in(who)))
            transaction.set_rollback(True)
    return found

"""The database refuses what cannot be in a study: impossible sizes, second parents, skipped steps."""

from typing import Any

import pytest

from sawing.actions import create_study
from sawing.models import BOARD_STEPS, Board, BoardState, Felling, Flitch, Log, Study
from tests.conftest import Place
from tests.refusals import (
    NEGATIVE,
    NOT_POSITIVE,
    Attempt,
    insert,
    numbers_refused,
    refused,
    rules_named,
    rules_of,
    update,
)
from tests.sawing.test_processing_constraints import TRIED as TRIED_BESIDE
from trials.actions import create_trial
from trials.models import Tree, Trial

NUMBERS = [
    *numbers_refused(
        Log, "positive", "length_m sed1_mm led1_mm sed2_mm led2_mm mid1_mm mid2_mm centroid_mm", NOT_POSITIVE
    ),
    *numbers_refused(Log, "positive", "resonance_hz mass_kg", NOT_POSITIVE),
    *numbers_refused(Log, "not_negative", "bottom_m heart_sed_mm heart_led_mm sweep_mm", NEGATIVE),
    *numbers_refused(Felling, "positive", "stem_length_m", NOT_POSITIVE),
    *numbers_refused(Flitch, "positive", "thickness_mm", NOT_POSITIVE),
    *numbers_refused(Board, "positive", "thickness_mm width_mm length_m", NOT_POSITIVE),
    *numbers_refused(Board, "positive", "nominal_thickness_mm nominal_width_mm", NOT_POSITIVE),
    *numbers_refused(Board, "positive", "dry_thickness_mm dry_width_mm dry_length_m", NOT_POSITIVE),
    *numbers_refused(Study, "positive", "crosscut_module_mm", NOT_POSITIVE),
    *numbers_refused(Study, "not_negative", "headsaw_kerf_mm edger_kerf_mm", NEGATIVE),
]


def second_study(p: Place) -> Study:
    return create_study(trial=p.trial, code="second", name="Second study", by=p.people["manager"])


def study_elsewhere(p: Place) -> Study:
    """A study of another trial."""
    trial = create_trial(code="other", name="Other trial", by=p.people["steward"])
    return create_study(trial=trial, code="first", name="Theirs", by=p.people["steward"])


def of(model: type[Any], code: str) -> Any:
    return model.objects.get(code=code)


def standing_tree() -> Tree:
    return Tree.objects.get(code="S-2-1")


def log_of_a_felling_for_another_study(p: Place) -> None:
    felling = Felling.objects.create(study=second_study(p), tree=standing_tree())
    insert(Log, code="NEW", felling=felling)


RULES: dict[str, list[Attempt]] = {
    "sawing_study_code_once": [lambda p: insert(Study)],
    "sawing_study_code_filled": [lambda p: update(Study, code="")],
    "sawing_study_name_filled": [lambda p: update(Study, name="")],
    "sawing_study_bark_factor_plausible": [
        lambda p, v=value: update(Study, bark_factor=v)
        for value in (0.5, 0.0, -1.0, 1.0001, *NOT_POSITIVE[2:])
    ],
    "stays_in_its_trial": [lambda p: update(Study, trial=Trial.objects.create(code="other", name="Other"))],
    "sawing_study_id_trial": [],  # implied by the key; there for others to refer to, as the next like it
    "portal_upload_into_a_study_of_its_trial": [
        lambda p: p.study.uploads.filter(kind="boards").update(study=study_elsewhere(p))
    ],
    "sawing_felling_tree_id_key": [
        lambda p: Felling.objects.bulk_create([Felling(study=p.study, tree=of(Tree, "S-1-1"))]),
        lambda p: Felling.objects.bulk_create([Felling(study=second_study(p), tree=of(Tree, "S-1-1"))]),
    ],
    "tree_of_the_trial": [
        lambda p: Felling.objects.bulk_create([Felling(study=study_elsewhere(p), tree=standing_tree())]),
        lambda p: update(Felling, study=study_elsewhere(p)),
    ],
    "sawing_felling_id_study": [],
    "sawing_log_code_once": [lambda p: insert(Log), lambda p: update(Log, {"code": "L2"}, code="L1")],
    "sawing_log_code_filled": [lambda p: update(Log, {"code": "L1"}, code="")],
    "sawing_log_bark_known": [lambda p: update(Log, bark="half")],
    "sawing_log_felled_for_its_study": [
        log_of_a_felling_for_another_study,
        lambda p: Felling.objects.filter(tree__code="S-1-1").update(study=second_study(p)),
    ],
    "sawing_log_id_study": [],
    "sawing_flitch_code_once": [lambda p: insert(Flitch)],
    "sawing_flitch_code_filled": [lambda p: update(Flitch, {"log__code": "L1", "code": "1"}, code="")],
    "sawing_flitch_in_the_study_of_its_log": [
        lambda p: insert(Flitch, code="NEW", study=second_study(p)),
        lambda p: update(Flitch, {"log__code": "L1"}, study=second_study(p)),
    ],
    "sawing_flitch_id_log": [],
    "sawing_board_code_once": [lambda p: insert(Board), lambda p: update(Board, {"code": "B2"}, code="B1")],
    "sawing_board_code_filled": [lambda p: update(Board, {"code": "B1"}, code="")],
    "sawing_board_state_known": [lambda p: insert(Board, code="NEW", state="lost")],
    "sawing_board_in_the_study_of_its_log": [
        lambda p: insert(Board, code="NEW", study=second_study(p)),
        lambda p: update(Board, {"code": "B1"}, study=second_study(p)),
    ],
    "sawing_board_from_a_flitch_of_its_log": [
        lambda p: insert(
            Board, code="NEW", log=of(Log, "L1"), flitch=Flitch.objects.filter(log__code="L2")[0]
        ),
        lambda p: update(Board, {"code": "B1"}, flitch=Flitch.objects.filter(log__code="L2")[0]),
        lambda p: update(Board, {"code": "B1"}, log=of(Log, "L2")),
        lambda p: update(Flitch, {"log__code": "L1", "code": "1"}, log=of(Log, "L3"), code="9"),
    ],
    "board_steps": [lambda p: update(Board, {"code": "B1"}, state="consumed")],
    "holds_its_graded_piece": [],  # tried beside the grades, in tests/grading
}
SAID_OTHERWISE = {
    "stays_in_its_trial": "Cannot update rows from sawing_study",
    "tree_of_the_trial": "belongs to another trial than the study",
    "board_steps": "Invalid transition of field",
}
ATTEMPTS = [
    pytest.param(rule, a, id=f"{rule}-{i}") for rule, tries in RULES.items() for i, a in enumerate(tries)
]

# The life of a board as the mill, the yard and the store tell it; written out by hand, not taken from the code.
ALLOWED_STEPS = {
    "sawn": {"in_stack", "dry", "graded"},
    "in_stack": {"sawn", "dry", "graded"},
    "dry": {"graded"},
    "graded": {"available"},
    "available": {"graded", "reserved"},
    "reserved": {"available", "released"},
    "released": {"consumed", "returned"},
    "consumed": set(),
    "returned": {"available"},
}


@pytest.mark.parametrize(("rule", "attempt"), ATTEMPTS)
def test_the_database_refuses(material: Place, rule: str, attempt: Attempt) -> None:
    with refused(SAID_OTHERWISE.get(rule, rule)):
        attempt(material)


@pytest.mark.parametrize(("model", "field", "value", "rule"), NUMBERS)
def test_sizes_are_positive_and_finite(
    material: Place, model: Any, field: str, value: float, rule: str
) -> None:
    with refused(rule):
        update(model, **{field: value})


def test_every_rule_of_the_room_is_tried(material: Place) -> None:
    elsewhere = {"portal_upload_into_a_study_of_its_trial"}
    assert rules_of("sawing") == (set(RULES) | rules_named(NUMBERS) | TRIED_BESIDE) - elsewhere


def test_the_volume_of_a_board_is_computed_by_the_database(material: Place) -> None:
    """28 mm x 200 mm x 3 m = 0.0168 m3, computed by hand."""
    assert of(Board, "B1").volume_m3 == pytest.approx(0.0168)
    update(Board, {"code": "B3"}, length_m=1.0)
    assert of(Board, "B3").volume_m3 == pytest.approx(0.00504)


def test_the_steps_written_here_are_those_of_the_product(material: Place) -> None:
    assert {(a, b) for a, after in ALLOWED_STEPS.items() for b in after} == set(BOARD_STEPS)
    assert set(ALLOWED_STEPS) == set(BoardState.values)


@pytest.mark.parametrize("before", ALLOWED_STEPS)
def test_a_board_takes_the_allowed_steps_and_no_others(material: Place, before: str) -> None:
    for after in BoardState.values:
        insert(Board, code=f"{before} {after}", state=before)
        where = {"code": f"{before} {after}"}
        if after == before or after in ALLOWED_STEPS[before]:
            update(Board, where, state=after)
        else:
            with refused("Invalid transition of field"):
                update(Board, where, state=after)


def test_one_forbidden_step_undoes_the_whole_statement(material: Place) -> None:
    """B1 is graded, B3 sawn: both to "available" is more than one of them may."""
    with refused("Invalid transition of field"):
        update(Board, {"code__in": ["B1", "B3"]}, state="available")
    assert set(Board.objects.filter(code__in=["B1", "B3"]).values_list("state", flat=True)) == {
        "graded",
        "sawn",
    }

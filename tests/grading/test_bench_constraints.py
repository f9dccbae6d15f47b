"""The database refuses impossible features, sessions, samples, taps and regrades."""

import datetime as dt
from typing import Any

import pytest

from grading.models import (
    FEATURE_NUMBERS,
    BoardFeature,
    BoardGrade,
    Grade,
    GradingPlan,
    GradingSample,
    GradingSession,
    Regrade,
    RegradedBoard,
    SampleBoard,
    SampleGrade,
    SessionRuleSet,
    StiffnessReading,
)
from grading.rules.actions import add_rule_set
from sawing.actions import create_study
from sawing.models import Study
from tests.conftest import Place
from tests.grading.bench_rows import NOW, one_of_each
from tests.refusals import (
    NEGATIVE,
    NOT_POSITIVE,
    Attempt,
    insert,
    numbers_refused,
    refused,
    rules_named,
    update,
)

PIECE = "graded_length_m graded_width_mm graded_thickness_mm"
NUMBERS = [
    *numbers_refused(BoardFeature, "not_negative", " ".join(FEATURE_NUMBERS), NEGATIVE),
    *numbers_refused(BoardGrade, "not_negative", "from_mm from_edge_mm", NEGATIVE),
    *numbers_refused(
        StiffnessReading,
        "positive",
        "resonance_hz second_hz length_m mass_kg density_kg_m3",
        NOT_POSITIVE,
    ),
    *numbers_refused(RegradedBoard, "positive", PIECE, NOT_POSITIVE),
    *numbers_refused(RegradedBoard, "not_negative", "from_mm from_edge_mm value", NEGATIVE),
]


def other_study(p: Place) -> Study:
    return create_study(trial=p.trial, code="second", name="Second study", by=p.people["manager"])


def other_session(p: Place) -> GradingSession:
    return GradingSession.objects.create(study=other_study(p), grader=p.people["manager"])


def foreign_grade(p: Place) -> Grade:
    rules = add_rule_set(code="bend", title="Bend", grades=[{"code": "Stiff"}], by=p.people["steward"])
    return rules.grades.get()


def sample_of_its_own(p: Place) -> GradingSession:
    """An open sitting over another sample of the same study."""
    first = GradingSample.objects.get()
    second = GradingSample.objects.create(
        study=p.study, rule_set=first.rule_set, title="Summer", seed=2, by=first.by
    )
    return GradingSession.objects.create(study=p.study, grader=p.people["manager"], sample=second)


RULES: dict[str, list[Attempt]] = {
    "grading_gradingplan_mc_rule_filled": [lambda p: update(GradingPlan, mc_rule="")],
    "grading_gradingplan_study_id_key": [lambda p: insert(GradingPlan)],
    "grading_gradingsample_title_once": [lambda p: insert(GradingSample)],
    "grading_gradingsample_title_filled": [lambda p: update(GradingSample, title="")],
    "grading_gradingsample_seed_check": [lambda p: update(GradingSample, seed=-1)],
    "grading_gradingsample_id_study": [],  # implied by the key; there for others to refer to
    "grading_gradingsession_one_open": [
        lambda p: insert(GradingSession),
        lambda p: GradingSession.objects.create(
            study=p.study, grader=p.people["grader"], sample=GradingSample.objects.get()
        ),
    ],
    "grading_gradingsession_times_in_order": [
        lambda p: update(GradingSession, closed_at=dt.datetime(2020, 1, 1, tzinfo=dt.UTC))
    ],
    "grading_gradingsession_sample_of_its_study": [
        lambda p: update(GradingSession, {"sample__isnull": False}, study=other_study(p))
    ],
    "grading_sessionruleset_once": [lambda p: insert(SessionRuleSet)],
    "grading_sampleboard_once": [lambda p: insert(SampleBoard)],
    "grading_sampleboard_sample_of_its_study": [lambda p: update(SampleBoard, study=other_study(p))],
    "grading_sampleboard_board_of_its_study": [lambda p: update(SampleBoard, study=other_study(p))],
    "grading_samplegrade_once": [lambda p: insert(SampleGrade)],
    "grade_of_its_sample": [
        lambda p: update(SampleGrade, grade=foreign_grade(p)),
        lambda p: update(SampleGrade, session=sample_of_its_own(p)),
        lambda p: update(SampleGrade, session=GradingSession.objects.get(sample__isnull=True)),
    ],
    "grading_boardfeature_once_at_a_place": [
        lambda p: insert(BoardFeature),
        lambda p: (insert(BoardFeature, x_mm=None, y_mm=None), insert(BoardFeature, x_mm=None, y_mm=None)),
    ],
    "grading_boardfeature_kind_known": [lambda p: update(BoardFeature, kind="gnarl")],
    "grading_boardfeature_face_known": [lambda p: update(BoardFeature, face="side")],
    "feature_session_of_its_study": [
        lambda p: update(BoardFeature, session=other_session(p)),
        lambda p: insert(BoardFeature, x_mm=1, session=other_session(p)),
    ],
    "session_of_its_study": [lambda p: update(BoardGrade, {"board__code": "B1"}, session=other_session(p))],
    "grading_boardgrade_override_has_a_reason": [
        lambda p: update(BoardGrade, {"board__code": "B1"}, grade=Grade.objects.get(code="Plain"))
    ],
    "grading_boardgrade_deciding_kind_known": [lambda p: update(BoardGrade, deciding_kind="gnarl")],
    "grading_boardgrade_suggested_of_its_rule_set": [
        lambda p: update(
            BoardGrade, {"board__code": "B1"}, suggested=foreign_grade(p), override_reason="by hand"
        )
    ],
    "grading_stiffnessreading_client_id_key": [lambda p: insert(StiffnessReading)],
    "grading_stiffnessreading_read_by_known": [lambda p: update(StiffnessReading, read_by="ear")],
    "grading_stiffnessreading_mode_plausible": [
        lambda p, n=n: update(StiffnessReading, harmonic=n) for n in (0, 21)
    ],
    "grading_stiffnessreading_harmonic_check": [],  # below zero: the rule above
    "grading_stiffnessreading_moisture_plausible": [
        lambda p, v=v: update(StiffnessReading, mc_pct=v) for v in (-1.0, 301.0, float("nan"))
    ],
    "grading_regrade_kept_when_done": [lambda p: update(Regrade, kept_at=NOW)],
    "grading_regradedboard_once": [lambda p: insert(RegradedBoard)],
    "grading_regradedboard_deciding_kind_known": [lambda p: update(RegradedBoard, deciding_kind="gnarl")],
}
SAID_OTHERWISE = {
    "grade_of_its_sample": "belong to different samples",
    "feature_session_of_its_study": "belongs to another study than the session",
    "session_of_its_study": "belongs to another study than the session",
    # Either may speak first.
    "grading_sampleboard_sample_of_its_study": "grading_sampleboard_(sample|board)_of_its_study",
    "grading_sampleboard_board_of_its_study": "grading_sampleboard_(sample|board)_of_its_study",
}
ATTEMPTS = [
    pytest.param(rule, a, id=f"{rule}-{i}") for rule, tries in RULES.items() for i, a in enumerate(tries)
]
TRIED = set(RULES) | rules_named(NUMBERS)


@pytest.mark.parametrize(("rule", "attempt"), ATTEMPTS)
def test_the_database_refuses(material: Place, rule: str, attempt: Attempt) -> None:
    one_of_each(material)
    with refused(SAID_OTHERWISE.get(rule, rule)):
        attempt(material)


@pytest.mark.parametrize(("model", "field", "value", "rule"), NUMBERS)
def test_numbers_are_finite_and_in_range(
    material: Place, model: Any, field: str, value: float, rule: str
) -> None:
    one_of_each(material)
    with refused(rule):
        update(model, **{field: value})


def test_a_feature_set_aside_leaves_its_place_free(material: Place) -> None:
    one_of_each(material)
    update(BoardFeature, set_aside=True)
    insert(BoardFeature, set_aside=False)
    assert BoardFeature.objects.filter(set_aside=False).count() == 1


def test_a_grade_may_differ_from_the_suggested_one_with_a_reason(material: Place) -> None:
    one_of_each(material)
    plain = Grade.objects.get(code="Plain")
    update(BoardGrade, {"board__code": "B1"}, grade=plain, override_reason="stain on the back")
    assert BoardGrade.objects.get(board__code="B1").grade == plain


def test_a_closed_session_lets_the_next_begin(material: Place) -> None:
    one_of_each(material)
    later = GradingSession.objects.latest("created_at").created_at + dt.timedelta(hours=1)
    update(GradingSession, closed_at=later)
    GradingSession.objects.create(study=material.study, grader=material.people["grader"])
    assert GradingSession.objects.filter(closed_at__isnull=True).count() == 1

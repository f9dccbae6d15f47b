"""One row of every table of the grading bench, beside the small trial's material."""

import datetime as dt
import uuid

from grading.models import (
    BoardFeature,
    BoardGrade,
    Grade,
    GradingPlan,
    GradingSample,
    GradingSession,
    Regrade,
    RegradedBoard,
    RuleSet,
    SampleBoard,
    SampleGrade,
    SessionRuleSet,
    StiffnessReading,
)
from sawing.models import Board
from tests.conftest import Place

NOW = dt.datetime(2026, 4, 1, 9, tzinfo=dt.UTC)


def one_of_each(place: Place) -> None:
    study, by = place.study, place.people["grader"]
    board, rules = Board.objects.get(code="B1"), RuleSet.objects.get(code="look")
    fine = Grade.objects.get(rule_set=rules, code="Fine")
    GradingPlan.objects.create(study=study)
    session = GradingSession.objects.create(study=study, grader=by)
    SessionRuleSet.objects.create(session=session, rule_set=rules)
    BoardFeature.objects.create(
        board=board, kind="dead_knot", face="face1", x_mm=900, y_mm=60, size_mm=18, by=by, session=session
    )
    BoardGrade.objects.filter(board=board).update(
        suggested=fine, session=session, deciding_kind="dead_knot", graded_at=NOW
    )
    sample = GradingSample.objects.create(study=study, rule_set=rules, title="Spring", seed=1, by=by)
    drawn = SampleBoard.objects.create(sample=sample, board=board, study=study)
    blind = GradingSession.objects.create(study=study, grader=by, sample=sample)
    SampleGrade.objects.create(session=blind, sample_board=drawn, grade=fine, graded_at=NOW)
    StiffnessReading.objects.create(board=board, client_id=uuid.uuid4(), resonance_hz=880, mass_kg=9.1)
    regrade = Regrade.objects.create(study=study, rule_set=rules, by=by)
    RegradedBoard.objects.create(regrade=regrade, board=board, before=fine, after=fine)

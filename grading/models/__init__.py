"""Tables of this room."""

from grading.models.features import FEATURE_NUMBERS, BoardFeature
from grading.models.grades import BoardGrade, GradedBoard, GradedBy
from grading.models.regrading import Regrade, RegradedBoard
from grading.models.rule_sets import Grade, Purpose, RuleSet
from grading.models.sessions import (
    GradingPlan,
    GradingSample,
    GradingSession,
    SampleBoard,
    SampleGrade,
    SessionRuleSet,
)
from grading.models.stiffness import StiffnessReading, TapRead

__all__ = [
    "FEATURE_NUMBERS",
    "BoardFeature",
    "BoardGrade",
    "Grade",
    "GradedBoard",
    "GradedBy",
    "GradingPlan",
    "GradingSample",
    "GradingSession",
    "Purpose",
    "Regrade",
    "RegradedBoard",
    "RuleSet",
    "SampleBoard",
    "SampleGrade",
    "SessionRuleSet",
    "StiffnessReading",
    "TapRead",
]

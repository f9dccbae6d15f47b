"""How far the grading of a study is."""

from typing import Any

from django.db.models import Count, Exists, OuterRef, Q
from django.urls import NoReverseMatch, reverse

from grading.models import BoardFeature, BoardGrade, GradingSample, GradingSession, RuleSet, StiffnessReading
from grading.queries import rule_sets_in_use
from sawing.models import Study

PARTS = (
    ("grading:bench", "Grading bench", "Grade boards one by one, with suggestions from what you enter."),
    (
        "grading:out_turn",
        "Out-turn",
        "Grades by clone, tree and place in the tree, and what kept boards from better.",
    ),
    ("grading:stiffness", "Stiffness", "Taps on boards: resonance, density, dynamic MOE at 12 % moisture."),
    ("grading:samples", "Agreement", "Boards graded blind by two people, and how far they agree."),
    ("grading:regrades", "Grade anew by rules", "Another version of a rule set, and which boards move."),
)


def parts_of(study: Study) -> list[dict[str, str]]:
    """The rooms of grading that this portal has: title, words, url."""
    found = []
    for name, title, words in PARTS:
        try:
            url = reverse(name, args=[study.trial.code, study.code])
        except NoReverseMatch:
            continue
        found.append({"title": title, "words": words, "url": url})
    return found


def standing(study: Study) -> dict[str, Any]:
    """How many of the study's boards have features, a stiffness, a grade by each rule set in use."""
    features = BoardFeature.objects.filter(board=OuterRef("pk"), set_aside=False)
    taps = StiffnessReading.objects.filter(board=OuterRef("pk"), set_aside=False)
    grades = BoardGrade.objects.filter(board=OuterRef("pk"))
    counts = study.boards.order_by().aggregate(
        boards=Count("pk"),
        dry=Count("pk", filter=~Q(state__in=["sawn", "in_stack"])),
        graded=Count("pk", filter=Exists(grades)),
        mapped=Count("pk", filter=Exists(features)),
        tapped=Count("pk", filter=Exists(taps)),
    )
    by_rules = [
        {
            "rule_set": rule_set,
            "boards": given.count(),
            "by_rules": given.filter(by="rules").count(),
            "overridden": given.filter(override_reason__gt="").count(),
        }
        for rule_set in rule_sets_in_use(study)
        for given in [BoardGrade.objects.filter(board__study=study, rule_set=rule_set)]
    ]
    earlier = RuleSet.objects.filter(current=False, board_grades__board__study=study).distinct()
    return {
        **counts,
        "by_rules": by_rules,
        "earlier": list(earlier.annotate(n=Count("board_grades"))),
        "sessions": GradingSession.objects.filter(study=study, closed_at__isnull=True).select_related(
            "grader", "sample"
        ),
        "samples": GradingSample.objects.filter(study=study, closed_at__isnull=True).count(),
    }

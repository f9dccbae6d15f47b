"""Reading blind samples: who graded what, and how sittings move against what was suggested."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Count, QuerySet

from grading.models import BoardGrade, GradingSample, GradingSession, RuleSet
from sawing.models import Study

ON_RECORD = "on record"


@dataclass(frozen=True)
class Rater:
    """Somebody's grades in a sample: a sitting, or the grades on record. `grades`: {board: grade}."""

    name: str
    grades: dict[str, str]
    session: GradingSession | None = None


def samples_of(study: Study) -> QuerySet[GradingSample]:
    """The blind samples of a study, newest first, with how many boards they have."""
    return study.grading_samples.select_related("rule_set", "by").annotate(n=Count("boards", distinct=True))


def sittings_of(sample: GradingSample) -> list[dict[str, Any]]:
    """Who sat in a sample, and how many boards each graded; not what."""
    found = sample.sessions.select_related("grader").annotate(n=Count("sample_grades")).order_by("created_at")
    return [{"session": s, "grader": s.grader, "n": s.n} for s in found]


def raters(sample: GradingSample) -> list[Rater]:
    """The sittings of a sample with their grades, and last the grades on record under the same rule set."""
    found = []
    for session in sample.sessions.select_related("grader").order_by("created_at"):
        given = dict(session.sample_grades.values_list("sample_board__board__code", "grade__code"))
        name = session.grader.full_name or session.grader.username
        again = sum(r.name.split(" (")[0] == name for r in found)
        found.append(Rater(f"{name} ({again + 1})" if again else name, given, session))
    boards = sample.boards.values("board")
    record = BoardGrade.objects.filter(board__in=boards, rule_set=sample.rule_set)
    kept = dict(record.values_list("board__code", "grade__code"))
    return [*found, Rater(ON_RECORD, kept)] if kept else found


def trees_of(sample: GradingSample) -> dict[str, str]:
    """{board: tree} of a sample."""
    return dict(sample.boards.values_list("board__code", "board__log__felling__tree__code"))


def recorded(study: Study, rule_set: RuleSet) -> dict[str, str | None]:
    """{board: grade on record, or None} of all the study's boards that are dry or further."""
    grades = dict(
        BoardGrade.objects.filter(board__study=study, rule_set=rule_set).values_list(
            "board__code", "grade__code"
        )
    )
    boards = (
        study.boards.exclude(state__in=["sawn", "in_stack"]).order_by("code").values_list("code", flat=True)
    )
    return {code: grades.get(code) for code in boards}


def against_suggestion(session: GradingSession, rule_set: RuleSet) -> list[tuple[Any, int]]:
    """(when, sign) of the grades a sitting gave where the rules suggested one: +1 better, 0 the same, -1 worse."""
    rows = session.board_grades.filter(rule_set=rule_set, suggested__isnull=False, graded_at__isnull=False)
    found = []
    for at, given, said in rows.order_by("graded_at").values_list(
        "graded_at", "grade__rank", "suggested__rank"
    ):
        found.append((at, (said > given) - (said < given)))
    return found


def sittings_with_suggestions(study: Study) -> list[dict[str, Any]]:
    """Sittings at the bench that gave grades beside a suggestion, one a rule set, newest first."""
    rows = (
        BoardGrade.objects.filter(board__study=study, session__isnull=False, suggested__isnull=False)
        .values("session", "rule_set")
        .annotate(n=Count("pk"))
        .order_by("-session", "rule_set")
    )
    sessions = GradingSession.objects.select_related("grader").in_bulk([r["session"] for r in rows])
    rule_sets = RuleSet.objects.in_bulk([r["rule_set"] for r in rows])
    return [
        {"session": sessions[r["session"]], "rule_set": rule_sets[r["rule_set"]], "n": r["n"]} for r in rows
    ]

"""Reading rule sets: a version with its rules, what differs, the documents that come with the portal."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import Count
from django.shortcuts import get_object_or_404

from grading.calc.feature_kinds import members_of
from grading.calc.rule_limits import GradingRules
from grading.calc.rule_set_documents import RuleSetDocument, read_rule_sets
from grading.calc.rules_shown import Difference, differences, kinds_in_words
from grading.gradable import rules_of
from grading.models import RuleSet

SHIPPED = Path(settings.BASE_DIR) / "fixtures" / "rule_sets"


@dataclass(frozen=True)
class GradeLine:
    """A grade as its page tells it. `blank`: how many of its limits are not filled in; `asks`: what has to be looked
    for before a board can have it."""

    code: str
    title: str
    description: str
    reject: bool
    min_length_mm: float | None
    blank: int
    asks: str


def rule_set_of(code: str, version: int | None = None) -> RuleSet:
    """A version of a rule set, the current one when none is named; or 404."""
    which = {"current": True} if version is None else {"version": version}
    return get_object_or_404(RuleSet.objects.prefetch_related("grades"), code=code, **which)


def versions_of(code: str) -> list[RuleSet]:
    """All versions, newest first, each with `boards`, the number of grades given by it."""
    found = RuleSet.objects.filter(code=code).annotate(boards=Count("board_grades"))
    return list(found.order_by("-version"))


@cache
def shipped() -> dict[str, RuleSetDocument]:
    """The documents that come with the portal, by code."""
    return {d.code: d for d in read_rule_sets(SHIPPED)}


def shipped_new() -> list[RuleSetDocument]:
    """Those whose code no rule set has yet."""
    there = set(RuleSet.objects.values_list("code", flat=True))
    return [d for code, d in shipped().items() if code not in there]


def document_of(rule_set: RuleSet) -> dict[str, Any]:
    """The whole document of a version, with its version; names of grades only where it has no rules."""
    if rule_set.rules:
        return {**rule_set.rules, "version": rule_set.version}
    grades = [
        {"code": g.code, "title": g.title or g.code, "reject": g.reject, "description": g.description}
        for g in rule_set.grades.all()
    ]
    top = {n: getattr(rule_set, n) for n in ("code", "version", "title", "purpose", "origin", "caution")}
    return {**top, "grades": grades, "limits": []}


def grade_lines(rule_set: RuleSet, rules: GradingRules | None) -> list[GradeLine]:
    """The grades of a version, best first."""
    by_code = {g.code: g for g in rules.grades} if rules else {}
    found = []
    for grade in rule_set.grades.all():
        rule = by_code.get(grade.code)
        of_rules = rules is not None and rule is not None
        found.append(
            GradeLine(
                grade.code,
                grade.title if grade.title != grade.code else "",
                grade.description,
                grade.reject,
                rule.min_length_mm if rule and not grade.reject else None,
                len(rules.unfilled(grade.code)) if rules and of_rules else 0,
                kinds_in_words(members_of(rules.needed(grade.code))) if rules and of_rules else "",
            )
        )
    return found


def what_differs(old: RuleSet, new: RuleSet) -> list[Difference]:
    """What the newer version has otherwise; of sets without rules their grades only."""
    before, after = rules_of(old), rules_of(new)
    if before and after:
        return differences(before, after)
    names = [[g.code for g in one.grades.all()] for one in (old, new)]
    found = [Difference("gone", f"grade {g}", "", "") for g in names[0] if g not in names[1]]
    found += [Difference("added", f"grade {g}", "", "") for g in names[1] if g not in names[0]]
    if not found and names[0] != names[1]:
        found = [Difference("changed", "order of grades", ", ".join(names[0]), ", ".join(names[1]))]
    if before or after:
        change = "added" if after else "gone"
        found.append(Difference(change, "limits and sizes of pieces", "", ""))
    return found

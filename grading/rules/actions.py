"""Every write of rule sets: new ones and new versions. A version that is there is never changed."""

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction

from grading.calc.rule_reading import RuleProblems
from grading.calc.rule_set_checks import document_problems
from grading.models import Grade, RuleSet
from portal.models import Membership, Role, User


def may_add_rule_sets(user: User) -> bool:
    """Rule sets serve every trial: any trial's manager may add one."""
    return user.is_superuser or Membership.objects.filter(user=user, active=True, role=Role.MANAGER).exists()


def add_rule_set(*, code: str, title: str, grades: list[dict[str, Any]], by: User, **fields: Any) -> RuleSet:
    """Add a rule set, or a new version of one when anything in it differs. Grades come best first.

    :param grades: {"code", and optionally "title", "description", "reject"} each.
    :returns: the current version; the stored one when nothing differs.
    :raises ValueError: no grade, or two grades of one name.
    """
    if not may_add_rule_sets(by):
        raise PermissionDenied("Rule sets are added by managers.")
    codes = [g["code"] for g in grades]
    if not codes or len(set(codes)) != len(codes):
        raise ValueError("A rule set needs at least one grade, and each grade once.")
    with transaction.atomic():
        latest = RuleSet.objects.select_for_update().filter(code=code).order_by("-version").first()
        if latest and _same(latest, title, grades, fields):
            return latest
        RuleSet.objects.filter(code=code, current=True).update(current=False)
        version = latest.version + 1 if latest else 1
        rule_set = RuleSet.objects.create(code=code, title=title, version=version, **fields)
        Grade.objects.bulk_create(
            Grade(rule_set=rule_set, rank=rank, **_grade(g)) for rank, g in enumerate(grades, start=1)
        )
        return rule_set


def add_document(*, content: Mapping[str, Any], by: User) -> RuleSet:
    """Add the rule set of a document, or a new version of the one of its code when anything in it differs.

    The document's own version counts for nothing: versions are numbered here.

    :raises RuleProblems: all that is wrong with it, key by key; nothing is stored.
    """
    if not may_add_rule_sets(by):
        raise PermissionDenied("Rule sets are added by managers.")
    if problems := document_problems(content):
        raise RuleProblems(problems)
    return add_rule_set(
        code=content["code"],
        title=content["title"].strip(),
        grades=[dict(g) for g in content["grades"]],
        by=by,
        purpose=content.get("purpose", "other"),
        origin=content.get("origin", ""),
        caution=content.get("caution", ""),
        rules=dict(content),
    )


def _grade(given: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "code": given["code"],
        "title": given.get("title", ""),
        "description": given.get("description", ""),
        "reject": bool(given.get("reject", False)),
    }


def _same(rule_set: RuleSet, title: str, grades: list[dict[str, Any]], fields: dict[str, Any]) -> bool:
    stored = rule_set.grades.order_by("rank").values("code", "title", "description", "reject")
    return (
        list(stored) == [_grade(g) for g in grades]
        and rule_set.title == title
        and all(_bare(getattr(rule_set, name)) == _bare(value) for name, value in fields.items())
    )


def _bare(value: Any) -> Any:
    """A document without the version it came with."""
    return {n: v for n, v in value.items() if n != "version"} if isinstance(value, dict) else value

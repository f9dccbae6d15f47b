"""Every write of the room: rule sets and the grades of boards."""

from typing import Any

import pandas as pd
from django.core.exceptions import PermissionDenied
from django.db import transaction

from grading import queries
from grading.models import BoardGrade, Grade, RuleSet
from portal.models import Membership, Role, Upload, User
from portal.uploads.bulk import copy_columns, json_notes, python_values
from portal.uploads.frames import codes_to_ids
from portal.uploads.registry import Target

GIVEN = [*queries.GRADE_NUMBERS, "reason", "grader", *queries.PIECE_PLACES, "deciding_kind"]


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
            Grade(
                rule_set=rule_set,
                rank=rank,
                code=g["code"],
                title=g.get("title", ""),
                description=g.get("description", ""),
                reject=bool(g.get("reject", False)),
            )
            for rank, g in enumerate(grades, start=1)
        )
        return rule_set


def insert_grades(target: Target, rows: pd.DataFrame, upload: Upload | None) -> int:
    """Add grades; boards not yet graded become so. Caller holds the study's lock."""
    boards = codes_to_ids(target.study.boards.filter(code__in=rows["board"].unique().tolist()))
    ids = queries.grade_ids()
    pairs = [ids[k] for k in zip(rows["rule_set"], rows["grade"], strict=True)]
    added = copy_columns(
        BoardGrade,
        {
            "board_id": rows["board"].map(boards),
            "upload_id": upload and upload.pk,
            "rule_set_id": pd.Series([p[0] for p in pairs], rows.index, dtype=object),
            "grade_id": pd.Series([p[1] for p in pairs], rows.index, dtype=object),
            **{name: rows[name] for name in GIVEN},
            "notes": json_notes(rows),
        },
        len(rows),
    )
    target.study.boards.filter(pk__in=list(boards.values()), state__in=["sawn", "in_stack", "dry"]).update(
        state="graded"
    )
    return added


def replace_grades(target: Target, rows: pd.DataFrame, upload: Upload) -> int:
    """Overwrite stored grades with the filled cells of these rows."""
    ids = queries.grade_ids()
    stored = {
        (g.board.code, g.rule_set.code): g
        for g in BoardGrade.objects.filter(
            board__study=target.study, board__code__in=rows["board"].tolist(), rule_set__current=True
        ).select_related("board", "rule_set")
    }
    lists = {name: python_values(rows[name], len(rows)) for name in GIVEN}
    for position, key in enumerate(zip(rows["board"], rows["rule_set"], strict=True)):
        grade = stored[key]
        grade.grade_id = ids[key[1], rows["grade"].iloc[position]][1]
        for name in GIVEN:
            if lists[name][position] is not None:
                setattr(grade, name, lists[name][position])
        if grade.suggested_id not in (None, grade.grade_id):
            grade.suggested = None  # what a file says overrides no suggestion: it knows of none
        grade.save()
    return len(rows)


def _same(rule_set: RuleSet, title: str, grades: list[dict[str, Any]], fields: dict[str, Any]) -> bool:
    stored = [
        {"code": g.code, "title": g.title, "description": g.description, "reject": g.reject}
        for g in rule_set.grades.order_by("rank")
    ]
    wanted = [
        {
            "code": g["code"],
            "title": g.get("title", ""),
            "description": g.get("description", ""),
            "reject": bool(g.get("reject", False)),
        }
        for g in grades
    ]
    return (
        stored == wanted
        and rule_set.title == title
        and all(getattr(rule_set, k) == v for k, v in fields.items())
    )

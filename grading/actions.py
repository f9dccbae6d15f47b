"""Writes of the grades of boards that come in files."""

import pandas as pd

from grading import queries
from grading.graders import UNGRADED
from grading.models import BoardGrade
from portal.models import Upload
from portal.uploads.bulk import copy_columns, json_notes, python_values
from portal.uploads.frames import codes_to_ids
from portal.uploads.registry import Target

GIVEN = [*queries.GRADE_NUMBERS, "reason", "grader", *queries.PIECE_PLACES, "deciding_kind"]


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
    target.study.boards.filter(pk__in=list(boards.values()), state__in=UNGRADED).update(state="graded")
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

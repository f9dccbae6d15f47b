"""Asking for a regrade, storing it, keeping its grades."""

import json
from collections.abc import Sequence
from typing import Any

import pandas as pd
from django.db import transaction
from django.utils import timezone
from psycopg.types.json import Jsonb

from grading.calc.graded_boards import GradedBoard, main_piece
from grading.calc.regrade_tables import cross_table, moves
from grading.graders import GRADERS, UNGRADED
from grading.models import BoardGrade, Grade, GradedBy, Regrade, RegradedBoard, RuleSet
from portal import access
from portal.jobs.actions import start_job
from portal.models import Role, User
from portal.uploads.bulk import copy_columns
from sawing.models import Study

CODE_VERSION = "regrade 1"
PIECE = ("from_mm", "from_edge_mm", "graded_length_m", "graded_width_mm", "graded_thickness_mm")


class NotReady(Exception):
    """The grades of a regrade cannot be kept; the message says why."""


def start_regrade(
    *,
    study: Study,
    rule_set: RuleSet,
    against: RuleSet | None,
    options: dict[str, Any],
    link: Any,
    by: User,
) -> Regrade:
    """Ask for the boards of a study to be graded anew by a job. Nothing of their grades changes by it.

    :param link: link(regrade) gives the address of its page.
    """
    access.require(by, study.trial_id, GRADERS)
    with transaction.atomic():
        made = Regrade.objects.create(study=study, rule_set=rule_set, against=against, options=options, by=by)
        made.job = start_job(
            kind="regrade",
            title=f"Grading {study.name} by {rule_set}"[:200],
            by=by,
            trial=study.trial,
            parameters={"regrade": made.pk},
            link=link(made),
        )
        made.save()
    return made


def store_regrade(
    *,
    regrade: Regrade,
    answers: Sequence[GradedBoard],
    boards: pd.DataFrame,
    input_hash: str,
    by: User,
) -> int:
    """Store what came of a regrade, in place of what an earlier run of its job stored. Returns how many moved."""
    access.require(by, regrade.study.trial_id, GRADERS)
    grades = {g.code: g for g in regrade.rule_set.grades.all()}
    given = BoardGrade.objects.filter(board__study=regrade.study, rule_set=regrade.against)
    columns = (
        "board__code",
        "grade_id",
        "grade__code",
        "graded_length_m",
        "graded_width_mm",
        "graded_thickness_mm",
    )
    before = {row[0]: row[1:] for row in given.values_list(*columns)}
    rows = [_row(a, before.get(a.board), grades) for a in answers]
    frame = pd.DataFrame(rows).astype({"before_id": "Int64", "after_id": "Int64"})
    frame["board_id"] = boards["_row"].to_numpy()
    sizes = boards[["length_m", "width_mm", "thickness_mm"]].reset_index(drop=True)
    table = _compared(frame, answers, before, sizes)
    order = list(grades)
    before_order = list(regrade.against.grades.values_list("code", flat=True)) if regrade.against else []
    result = {
        "moves": moves(table["before"], table["after"], order).__dict__,
        "cross": cross_table(table, [*before_order, None], [*order, None]),
        "deciding": _deciding(table),
        "value": float(frame["value"].sum()) if frame["value"].notna().any() else None,
    }
    with transaction.atomic():
        locked = Regrade.objects.select_for_update().get(pk=regrade.pk)
        if locked.kept_at is not None:
            return 0  # a second run of the job comes too late to change what was kept
        locked.boards.all().delete()
        copy_columns(
            RegradedBoard, {"regrade_id": locked.pk, **{n: frame[n] for n in frame.columns}}, len(frame)
        )
        locked.result, locked.input_hash, locked.code_version = result, input_hash, CODE_VERSION
        locked.save()
    return sum(result["moves"][n] for n in ("up", "down", "other", "gone"))


def keep_regrade(*, regrade: Regrade, by: User) -> dict[str, int]:
    """Make the grades of a regrade the boards' grades under its rule set. Managers.

    A grade that a person gave under this very version stays, and boards whose grade cannot be said are left as they
    are; both are counted. Kept once only: again it changes nothing.

    :raises NotReady: its job is not done, or it has been kept.
    """
    access.require(by, regrade.study.trial_id, [Role.MANAGER])
    with transaction.atomic():
        regrade = Regrade.objects.select_for_update(of=("self",)).select_related("study").get(pk=regrade.pk)
        if regrade.result is None:
            raise NotReady("Its job is not done yet.")
        if regrade.kept_at is not None:
            raise NotReady("Its grades were kept already.")
        Study.objects.select_for_update().get(pk=regrade.study_id)
        stored = {
            g.board_id: g
            for g in BoardGrade.objects.filter(board__study=regrade.study, rule_set=regrade.rule_set)
        }
        by_person = {pk for pk, g in stored.items() if g.by == GradedBy.PERSON}
        found = list(regrade.boards.all())
        said = [b for b in found if b.after_id is not None]
        taken = [b for b in said if b.board_id not in by_person]
        new = [_grade_of(b, regrade) for b in taken if b.board_id not in stored]
        changed = [_onto(stored[b.board_id], _grade_of(b, regrade)) for b in taken if b.board_id in stored]
        _copy_grades(new)
        BoardGrade.objects.bulk_update(changed, FIELDS, batch_size=2000)
        regrade.study.boards.filter(pk__in=[b.board_id for b in taken], state__in=UNGRADED).update(
            state="graded"
        )
        regrade.kept_at = timezone.now()
        counts = {
            "kept": len(taken),
            "by_a_person": len(said) - len(taken),
            "not_said": len(found) - len(said),
        }
        regrade.result = {**regrade.result, "kept": counts}
        regrade.save()
    return counts


FIELDS = ["grade", "by", "grader", *PIECE, "pieces", "deciding_kind", "reason", "graded_at"]


def _row(answer: GradedBoard, before: tuple[Any, ...] | None, grades: dict[str, Grade]) -> dict[str, Any]:
    piece = main_piece(answer.pieces)
    decided = answer.deciding_feature
    grade = grades.get(answer.grade or "")
    return {
        "before_id": before[0] if before else None,
        "after_id": grade.pk if grade else None,
        **{n: getattr(piece, n) if piece else None for n in PIECE},
        "value": answer.value,
        "deciding_kind": decided.kind if decided else None,
        "deciding_text": decided.text()[:400] if decided else None,
        "not_assessed": json.dumps(answer.not_assessed) if answer.not_assessed else None,
        "pieces": json.dumps(answer.to_dict()["pieces"]) if len(answer.pieces) > 1 else None,
    }


def _compared(
    frame: pd.DataFrame,
    answers: Sequence[GradedBoard],
    before: dict[str, tuple[Any, ...]],
    sizes: pd.DataFrame,
) -> pd.DataFrame:
    """Grades and volumes before and after, a row a board."""
    whole = (sizes["length_m"] * sizes["width_mm"] * sizes["thickness_mm"] / 1e6).to_numpy()
    old = [before.get(a.board) for a in answers]
    return pd.DataFrame(
        {
            "before": pd.Series([o[1] if o else None for o in old], dtype=object),
            "after": pd.Series([a.grade for a in answers], dtype=object),
            "volume_before_m3": [
                _volume(o[2:], size) if o else 0.0 for o, size in zip(old, sizes.to_numpy(), strict=True)
            ],
            "volume_after_m3": [
                sum(p.volume_m3 for p in a.pieces) if a.pieces else (w if a.grade else 0.0)
                for a, w in zip(answers, whole, strict=True)
            ],
            "deciding_kind": frame["deciding_kind"].to_numpy(),
        }
    )


def _volume(given: Sequence[float | None], own: Sequence[float]) -> float:
    length, width, thick = (g if g is not None else o for g, o in zip(given, own, strict=True))
    return float(length * width * thick / 1e6)


def _deciding(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Kinds that decide on the boards that moved, most frequent first."""
    moved = table[table["before"].notna() & (table["before"] != table["after"])]
    counts = moved["deciding_kind"].fillna("nothing").value_counts()
    return [{"kind": str(kind), "boards": int(n)} for kind, n in counts.items()]


def _grade_of(found: RegradedBoard, regrade: Regrade) -> BoardGrade:
    return BoardGrade(
        board_id=found.board_id,
        rule_set_id=regrade.rule_set_id,
        grade_id=found.after_id,
        by=GradedBy.RULES,
        grader=None,
        pieces=found.pieces,
        deciding_kind=found.deciding_kind,
        reason=found.deciding_text,
        graded_at=timezone.now(),
        **{n: getattr(found, n) for n in PIECE},
    )


def _copy_grades(new: Sequence[BoardGrade]) -> None:
    """Store new grades by COPY: a whole study at once."""
    names = ["board_id", "rule_set_id", *("grade_id" if n == "grade" else n for n in FIELDS)]
    columns = {n: pd.Series([getattr(g, n) for g in new], dtype=object) for n in names}
    columns["pieces"] = pd.Series([g.pieces and Jsonb(g.pieces) for g in new], dtype=object)
    copy_columns(BoardGrade, columns, len(new))


def _onto(stored: BoardGrade, new: BoardGrade) -> BoardGrade:
    for name in FIELDS:
        setattr(stored, name, getattr(new, name))
    stored.suggested = None
    return stored

"""Reading rule sets and the grades of boards."""

from typing import Any

import pandas as pd
from django.db.models import Count, OuterRef, QuerySet, Subquery, Sum
from django.shortcuts import get_object_or_404

from grading.models import BoardGrade, Grade, RuleSet
from portal.models import User
from portal.uploads.frames import frame
from portal.uploads.registry import Target
from sawing.models import Board, Study
from sawing.queries import BOARD_NUMBERS, available_boards, board_frame
from trials.queries import trials_of

GRADE_NUMBERS = ["graded_length_m", "graded_width_mm", "graded_thickness_mm"]
PIECE_PLACES = ["from_mm", "from_edge_mm"]
GRADE_FIELDS = {
    "board": "board__code",
    "rule_set": "rule_set__code",
    "grade": "grade__code",
    **{n: n for n in GRADE_NUMBERS},
    "reason": "reason",
    "grader": "grader",
    **{n: n for n in PIECE_PLACES},
    "deciding_kind": "deciding_kind",
}


def current_rule_sets() -> QuerySet[RuleSet]:
    return RuleSet.objects.filter(current=True).prefetch_related("grades")


def rule_sets_in_use(study: Study) -> QuerySet[RuleSet]:
    """The current rule sets by which boards of a study were graded."""
    used = BoardGrade.objects.filter(board__study=study).values("rule_set")
    return current_rule_sets().filter(pk__in=used)


def rule_sets_on_offer() -> QuerySet[RuleSet]:
    """The current rule sets by which boards on offer were graded."""
    used = BoardGrade.objects.filter(board__state="available").values("rule_set")
    return current_rule_sets().filter(pk__in=used)


def known_grades() -> pd.DataFrame:
    """The grades of the current rule sets, best first: rule_set, grade."""
    grades = Grade.objects.filter(rule_set__current=True).order_by("rule_set__code", "rank")
    return frame(grades, {"rule_set": "rule_set__code", "grade": "code"})


def grade_order() -> dict[str, list[str]]:
    """{rule set: grades, best first} of the current rule sets."""
    known = known_grades()
    return {str(name): list(rows["grade"]) for name, rows in known.groupby("rule_set", sort=False)}


def reject_grades() -> dict[str, list[str]]:
    """{rule set: its reject grades} of the current rule sets; an empty list where nothing is rejected."""
    found: dict[str, list[str]] = {code: [] for code in grade_order()}
    for code, grade in Grade.objects.filter(rule_set__current=True, reject=True).values_list(
        "rule_set__code", "code"
    ):
        found[code].append(grade)
    return found


def grade_ids() -> dict[tuple[str, str], tuple[int, int]]:
    """{(rule set, grade): (rule set id, grade id)} of the current rule sets."""
    grades = Grade.objects.filter(rule_set__current=True)
    found = grades.values_list("rule_set__code", "code", "rule_set_id", "pk")
    return {(rule_set, code): (rule_set_id, pk) for rule_set, code, rule_set_id, pk in found}


def grade_frame(study: Study) -> pd.DataFrame:
    """The grades of a study's boards under the current rule sets, in the columns of the grades file; `_row` is
    the primary key."""
    rows = BoardGrade.objects.filter(board__study=study, rule_set__current=True)
    return frame(rows.order_by("board__code", "rule_set__code"), {**GRADE_FIELDS, "_row": "pk"}).astype(
        dict.fromkeys([*GRADE_NUMBERS, *PIECE_PLACES], float)
    )


def boards_of_study(study: Study) -> QuerySet[Board]:
    """The boards of a study with their chain back to the clone."""
    return study.boards.select_related(
        "study__trial", "log__felling__tree__trial", "log__felling__tree__clone__trial"
    )


def with_grade_columns(boards: QuerySet[Board], rule_sets: QuerySet[RuleSet]) -> QuerySet[Board]:
    """Boards with the grade under each rule set as `grade_<code>`; None where not graded."""
    return boards.annotate(
        **{
            f"grade_{rule_set.code}": Subquery(
                BoardGrade.objects.filter(board=OuterRef("pk"), rule_set=rule_set).values("grade__code")[:1]
            )
            for rule_set in rule_sets
        }
    )


def sums(boards: QuerySet[Board]) -> dict[str, Any]:
    """Number and actual green volume (m3) of boards, and their number of trees."""
    return boards.order_by().aggregate(
        boards=Count("pk"), volume_m3=Sum("volume_m3"), trees=Count("log__felling__tree", distinct=True)
    )


def pieces(board: Board) -> list[dict[str, Any]]:
    """The grades of a board with the piece each holds, missing sizes filled from the board."""
    found = []
    for grade in board.grades.select_related("rule_set", "grade").order_by("rule_set__code"):
        sizes = {n: getattr(grade, n) or getattr(board, n.removeprefix("graded_")) for n in GRADE_NUMBERS}
        volume = sizes["graded_length_m"] * sizes["graded_width_mm"] * sizes["graded_thickness_mm"] / 1e6
        found.append(
            {"grade": grade, **sizes, "volume_m3": volume, "percent": 100 * volume / board.volume_m3}
        )
    return found


def board_events(board: Board) -> list[Any]:
    """What happened to a board's own row, oldest first, each with who and when."""
    events = (
        Board.pgh_event_model.objects.filter(pgh_obj_id=board.pk)
        .select_related("pgh_context")
        .order_by("pgh_id")
    )
    people = dict(User.objects.values_list("pk", "full_name"))
    shown = []
    before: Any = None
    for event in events:
        changed = [
            (f.verbose_name, getattr(before, f.attname), getattr(event, f.attname))
            for f in Board._meta.concrete_fields
            if before is not None and getattr(before, f.attname, None) != getattr(event, f.attname, None)
        ]
        context = event.pgh_context.metadata if event.pgh_context else {}
        who = people.get(context.get("user"), "")
        shown.append({"what": event.pgh_label, "when": event.pgh_created_at, "who": who, "changed": changed})
        before = event
    return shown


def board_for(user: User, trial_code: str, study_code: str, code: str) -> Any:
    """One board with its whole chain, or 404; researchers from outside see available boards only."""
    chain = Board.objects.select_related(
        "study__trial", "flitch", "upload", "log__felling__tree__clone", "log__felling__tree__site"
    )
    inside = chain.filter(study__trial__in=trials_of(user))
    visible = inside | chain.filter(pk__in=available_boards(user).values("pk"))
    return get_object_or_404(visible, study__trial__code=trial_code, study__code=study_code, code=code)


def known_for_grades(target: Target) -> dict[str, pd.DataFrame]:
    """The study's boards with their sizes, and the grades of the current rule sets."""
    boards = board_frame(target.study)
    return {"boards": boards[["board", "log", *BOARD_NUMBERS]], "rule_sets": known_grades()}


def stored_grades(target: Target, rows: pd.DataFrame) -> pd.DataFrame:
    """The grades already stored for the boards of these rows."""
    found = BoardGrade.objects.filter(
        board__study=target.study, board__code__in=rows["board"].unique().tolist(), rule_set__current=True
    )
    return frame(found, GRADE_FIELDS)

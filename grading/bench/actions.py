"""Writing at the bench: sessions, features, grades."""

from dataclasses import dataclass
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from grading.bench import queries
from grading.bench.suggesting import Suggested, looks_of, map_of, sizes_of, suggestions
from grading.calc.feature_kinds import BY_CODE
from grading.graders import GRADERS, UNGRADED
from grading.models import (
    BoardFeature,
    BoardGrade,
    Grade,
    GradedBy,
    GradingSample,
    GradingSession,
    RuleSet,
    SampleGrade,
    SessionRuleSet,
)
from portal import access
from portal.models import User
from sawing.models import Board, Study


class NotKept(Exception):
    """What was sent cannot be kept; the message says why, for the page."""


@dataclass(frozen=True)
class GradeAsked:
    """The grade a person gives a board under one rule set. Sizes are those of the suggested piece where not given."""

    rule_set: int
    grade: str
    reason: str = ""
    length_m: float | None = None
    width_mm: float | None = None


def start_session(
    *, study: Study, rule_sets: list[RuleSet], by: User, sample: GradingSample | None = None
) -> GradingSession:
    """The person's open session in the study (blind: in the sample), begun if there is none, with these rule sets."""
    access.require(by, study.trial_id, GRADERS)
    if sample is not None:
        if sample.study_id != study.pk or sample.closed_at:
            raise NotKept("The sample is closed, or of another study.")
        rule_sets = [sample.rule_set]
    if not rule_sets:
        raise NotKept("Choose at least one rule set to grade by.")
    with transaction.atomic():
        Study.objects.select_for_update().get(pk=study.pk)
        session, _ = GradingSession.objects.get_or_create(
            study=study, grader=by, sample=sample, closed_at=None
        )
        for rule_set in rule_sets:
            SessionRuleSet.objects.get_or_create(session=session, rule_set=rule_set)
        session.rule_sets.exclude(rule_set__in=rule_sets).delete()
        return session


def close_session(*, session: GradingSession, by: User) -> None:
    """End a sitting. Its own person or a manager may."""
    access.require(by, session.study.trial_id, GRADERS)
    if session.closed_at is None:
        session.closed_at = timezone.now()
        session.save(update_fields=["closed_at"])


def add_features(
    *, board: Board, rows: list[dict[str, Any]], by: User, session: GradingSession | None = None
) -> int:
    """Add features to a board's map; returns how many are new, since the same again changes nothing. A feature that is
    there sets aside the word that none was found.

    :param rows: in the columns of a features file, without the board.
    :raises NotKept: another feature of this kind stands at this place already.
    """
    access.require(by, board.study.trial_id, GRADERS)
    with transaction.atomic():
        Board.objects.select_for_update().get(pk=board.pk)
        stored = list(board.features.filter(set_aside=False))
        looks = {BY_CODE[r["kind"]].look for r in rows if r.get("size_mm") != 0}
        for feature in stored:
            if feature.size_mm == 0 and looks & looks_of(feature.kind):
                feature.set_aside = True
                feature.save(update_fields=["set_aside"])
        there = {(f.kind, f.face, f.x_mm, f.y_mm): f for f in stored if not f.set_aside}
        made = []
        for row in rows:
            found = there.get((row["kind"], row["face"], row.get("x_mm"), row.get("y_mm")))
            if found is None:
                made.append(BoardFeature(board=board, by=by, session=session, **row))
            elif any(getattr(found, name) != value for name, value in row.items()):
                raise NotKept(f"{row['kind'].replace('_', ' ')}: another one stands at this place already.")
        return len(BoardFeature.objects.bulk_create(made))


def set_feature_aside(*, board: Board, pk: int, by: User, back: bool = False) -> BoardFeature:
    """A feature counts no longer, or counts again. History tells who did it.

    :raises NotKept: another one stands at its place by now.
    """
    access.require(by, board.study.trial_id, GRADERS)
    with transaction.atomic():
        Board.objects.select_for_update().get(pk=board.pk)
        found = board.features.get(pk=pk)
        same = board.features.filter(
            set_aside=False, kind=found.kind, face=found.face, x_mm=found.x_mm, y_mm=found.y_mm
        )
        if back and same.exclude(pk=pk).exists():
            raise NotKept("Another one stands at this place by now.")
        if found.set_aside == back:
            found.set_aside = not back
            found.save(update_fields=["set_aside"])
        return found


def keep_grading(
    *,
    session: GradingSession,
    board: Board,
    rows: list[dict[str, Any]],
    grades: list[GradeAsked],
    by: User,
    seen: str | None = None,
) -> list[BoardGrade]:
    """Store the features typed and the grades given, all of it or nothing. The same again changes nothing.

    `seen`: the mark of the grades that the person saw on the board (`queries.grades_mark`); None asks nobody.

    What the rules suggest is worked out here once more and kept beside each grade.

    :raises NotKept: a grade of another rule set, one unlike the suggestion without a reason, a piece larger than its
        board, no grade at all, grades that somebody gave the board meanwhile.
    """
    _may_grade(session, board, by)
    with transaction.atomic():
        board = Board.objects.select_for_update(of=("self",)).select_related("study").get(pk=board.pk)
        if seen is not None and seen != queries.grades_mark(board, but=session):
            raise NotKept(f"{board.code} was graded by somebody else meanwhile: leave it and scan it again.")
        if rows:
            add_features(board=board, rows=rows, by=by, session=session)
        chosen = {r.rule_set_id: r.rule_set for r in session.rule_sets.select_related("rule_set")}
        if not grades:
            raise NotKept("No grade was given.")
        if strange := [g for g in grades if g.rule_set not in chosen]:
            raise NotKept(f"This sitting does not grade by rule set {strange[0].rule_set}.")
        found = suggestions(board, [chosen[g.rule_set] for g in grades], map_of(board, []))
        kept = [_keep(session, board, asked, s, by) for asked, s in zip(grades, found, strict=True)]
        Board.objects.filter(pk=board.pk, state__in=UNGRADED).update(state="graded")
        return kept


def keep_blind_grade(
    *, session: GradingSession, board: Board, grade: str, by: User, note: str = ""
) -> SampleGrade:
    """Store the grade of a board in a blind sample; given again it takes the place of the first.

    :raises NotKept: a board that is not in the sample, a grade of another rule set.
    """
    _may_grade(session, board, by)
    if session.sample is None:
        raise NotKept("This sitting is not a blind one.")
    drawn = session.sample.boards.filter(board=board).first()
    if drawn is None:
        raise NotKept(f"{board.code} is not in the sample.")
    given = Grade.objects.filter(rule_set=session.sample.rule_set, code=grade).first()
    if given is None:
        raise NotKept(f"{session.sample.rule_set} has no grade {grade}.")
    found, _ = SampleGrade.objects.update_or_create(
        session=session,
        sample_board=drawn,
        defaults={"grade": given, "note": note},
        create_defaults={"grade": given, "note": note, "graded_at": timezone.now()},
    )
    return found


def _may_grade(session: GradingSession, board: Board, by: User) -> None:
    access.require(by, session.study.trial_id, GRADERS)
    if session.grader_id != by.pk:
        raise PermissionDenied("This sitting is somebody else's.")
    if session.closed_at:
        raise NotKept("This sitting is closed: begin another.")
    if board.study_id != session.study_id:
        raise NotKept(f"{board.code} belongs to another study.")


def _keep(
    session: GradingSession, board: Board, asked: GradeAsked, suggested: Suggested, by: User
) -> BoardGrade:
    rule_set = suggested.rule_set
    grades = {g.code: g for g in rule_set.grades.all()}
    if asked.grade not in grades:
        raise NotKept(f"{rule_set} has no grade {asked.grade!r}; it has {', '.join(grades)}.")
    against = suggested.grade not in (None, asked.grade)
    if against and not asked.reason.strip():
        raise NotKept(f"{rule_set.title}: say why {asked.grade} and not {suggested.grade}.")
    values = _piece_values(board, asked, suggested, grades[asked.grade].reject)
    decided = suggested.answer.deciding_feature if suggested.answer else None
    values |= {
        "grade": grades[asked.grade],
        "by": GradedBy.PERSON,
        "grader": by.full_name or by.username,
        "suggested": grades.get(suggested.grade or ""),
        "override_reason": asked.reason.strip() if against else "",
        "deciding_kind": decided.kind if decided else None,
        "reason": asked.reason.strip() if against else (decided.text() if decided else None),
    }
    stored = BoardGrade.objects.filter(board=board, rule_set=rule_set).first()
    if stored and all(getattr(stored, name) == value for name, value in values.items()):
        return stored
    new = stored or BoardGrade(board=board, rule_set=rule_set)
    for name, value in {**values, "session": session, "graded_at": timezone.now()}.items():
        setattr(new, name, value)
    new.save()
    return new


def _piece_values(board: Board, asked: GradeAsked, suggested: Suggested, reject: bool) -> dict[str, Any]:
    """Sizes and place of the piece: as given, else the suggested piece, else the whole board."""
    piece = None if reject else suggested.piece
    length = asked.length_m or (piece.graded_length_m if piece else None)
    width = asked.width_mm or (piece.graded_width_mm if piece else None)
    own = sizes_of(board)
    for size, most, what in ((length, own.length_mm / 1000, "m long"), (width, own.width_mm, "mm wide")):
        if size is not None and not 0 < size <= most * (1 + 1e-9):
            raise NotKept(f"A piece of {size:g} from a board that is {most:g} {what}.")
    several = suggested.answer.to_dict()["pieces"] if suggested.answer else []
    return {
        "graded_length_m": length,
        "graded_width_mm": width,
        "graded_thickness_mm": min(piece.graded_thickness_mm, board.thickness_mm) if piece else None,
        "from_mm": piece.from_mm if piece else None,
        "from_edge_mm": piece.from_edge_mm if piece else None,
        "pieces": several if len(several) > 1 else None,
    }

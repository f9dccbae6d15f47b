"""What the page at the bench asks for: a board, suggestions for what was typed, keeping it. JSON both ways."""

import json
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import HttpRequest, JsonResponse
from django.views.decorators.http import require_GET, require_POST

from grading.bench import actions, queries
from grading.bench.doors import bench_study
from grading.bench.suggesting import (
    Suggested,
    TypedLine,
    drawn,
    map_of,
    nothing_else,
    read_lines,
    suggestions,
)
from grading.calc.typed_features import written
from grading.models import BoardGrade, GradingSession, RuleSet
from sawing.models import Board, Study

MOST_LINES = 200


class _Refused(Exception):
    """An answer of 4xx: status and words."""

    def __init__(self, status: int, words: str) -> None:
        self.status = status
        super().__init__(words)


def _told(view: Callable[..., JsonResponse]) -> Callable[..., JsonResponse]:
    """A view whose refusals are answered in words."""

    @wraps(view)
    def answered(request: HttpRequest, trial: str, study: str) -> JsonResponse:
        try:
            return view(request, trial, study)
        except _Refused as why:
            return JsonResponse({"wrong": str(why)}, status=why.status)
        except actions.NotKept as why:
            return JsonResponse({"wrong": str(why)}, status=422)

    return answered


@require_GET
@_told
def board(request: HttpRequest, trial: str, study: str) -> JsonResponse:
    """The board that was scanned, and what the rules say of it as it stands."""
    found = bench_study(request, trial, study)
    session = _session(request, found)
    scanned = _read(found, request.GET.get("code", "").strip())
    return JsonResponse(_about(scanned, session) | _said(scanned, [], session))


@require_POST
@_told
def suggest(request: HttpRequest, trial: str, study: str) -> JsonResponse:
    """What the rules say of a board with the lines typed so far. Nothing is stored."""
    found = bench_study(request, trial, study)
    session = _session(request, found)
    asked = _asked(request)
    return JsonResponse(_said(_read(found, str(asked.get("board", ""))), _lines(asked), session))


@require_POST
@_told
def keep(request: HttpRequest, trial: str, study: str) -> JsonResponse:
    """Store lines and grades of one board."""
    found = bench_study(request, trial, study)
    session = _session(request, found)
    asked = _asked(request)
    scanned = _read(found, str(asked.get("board", "")))
    if session.sample_id:
        actions.keep_blind_grade(
            session=session,
            board=scanned,
            grade=_blind_grade(asked),
            by=request.user,
            note=str(asked.get("note", ""))[:400],
        )
    else:
        typed = read_lines(_lines(asked), scanned)
        if wrong := next((t for t in typed if t.row is None), None):
            raise _Refused(422, f"{wrong.text}: {wrong.wrong}")
        actions.keep_grading(
            session=session,
            board=scanned,
            rows=[t.row for t in typed if t.row is not None],
            grades=_grades(asked),
            by=request.user,
            seen=str(asked.get("seen")) if asked.get("seen") is not None else None,
        )
    return JsonResponse(_progress(session))


def _session(request: HttpRequest, study: Study) -> GradingSession:
    wanted = request.GET.get("sample") or request.headers.get("X-Sample") or ""
    session = queries.open_session(study, request.user, int(wanted) if wanted.isdigit() else None)
    if session is None:
        raise _Refused(409, "No sitting is open: begin one on the page of the bench.")
    return session


def _asked(request: HttpRequest) -> dict[str, Any]:
    try:
        asked = json.loads(request.body)
    except ValueError:
        asked = None
    if not isinstance(asked, dict):
        raise _Refused(400, "A JSON object was expected.")
    return asked


def _read(study: Study, text: str) -> Board:
    found = queries.board_read(study, text)
    if found is None:
        raise _Refused(404, f"No board {text!r} in this study. Scan again, or type its code.")
    return found


def _lines(asked: dict[str, Any]) -> list[str]:
    lines = asked.get("lines", [])
    if not isinstance(lines, list) or len(lines) > MOST_LINES:
        raise _Refused(422, f"At most {MOST_LINES} lines at a time.")
    return [str(line)[:200] for line in lines]


def _grades(asked: dict[str, Any]) -> list[actions.GradeAsked]:
    given = asked.get("grades", [])
    if not isinstance(given, list) or not all(isinstance(g, dict) for g in given):
        raise _Refused(422, "A list of grades was expected.")
    try:
        return [
            actions.GradeAsked(
                int(g["rule_set"]),
                str(g["grade"]),
                str(g.get("reason") or "")[:400],
                float(g["length_m"]) if g.get("length_m") else None,
                float(g["width_mm"]) if g.get("width_mm") else None,
            )
            for g in given
        ]
    except (KeyError, TypeError, ValueError):
        raise _Refused(422, "Each grade needs its rule set and the grade; sizes are numbers.") from None


def _blind_grade(asked: dict[str, Any]) -> str:
    grades = asked.get("grades") or [{}]
    first = grades[0] if isinstance(grades, list) and isinstance(grades[0], dict) else {}
    return str(first.get("grade", ""))


def _about(scanned: Board, session: GradingSession) -> dict[str, Any]:
    """What the page shows of a board; in a blind sample nothing that others found."""
    blind = session.sample is not None
    if blind and session.sample and not session.sample.boards.filter(board=scanned).exists():
        raise _Refused(422, f"{scanned.code} is not in the sample {session.sample.title}.")
    tree = scanned.log.felling.tree
    earlier = [] if blind else list(scanned.grades.select_related("rule_set", "grade", "session"))
    return {
        "board": scanned.code,
        "facts": queries.facts_of(scanned),
        "origin": []
        if blind
        else [("Tree", tree.code), ("Clone", tree.clone.code), ("Log", scanned.log.code)],
        "earlier": [_earlier(g) for g in earlier],
        "seen": None if blind else queries.grades_mark(scanned),
        "progress": _progress(session),
    }


def _earlier(grade: BoardGrade) -> dict[str, Any]:
    who = grade.grader or ("the rules" if grade.by == "rules" else "somebody")
    return {
        "rule_set": grade.rule_set_id,
        "title": str(grade.rule_set),
        "grade": grade.grade.code,
        "by": who,
        "reason": grade.override_reason,
    }


def _progress(session: GradingSession) -> dict[str, Any]:
    following = queries.next_of_sample(session)
    return queries.progress_of(session) | {"next": following.board.code if following else None}


def _said(scanned: Board, lines: list[str], session: GradingSession) -> dict[str, Any]:
    rule_sets = queries.session_rule_sets(session)
    if session.sample_id:
        return {"blind": True, "lines": [], "sets": [_blind_set(r) for r in rule_sets], "svg": ""}
    typed = read_lines(lines, scanned)
    rows = [t.row for t in typed if t.row is not None]
    features = map_of(scanned, rows)
    found = suggestions(scanned, rule_sets, features)
    wide, narrow = drawn(scanned, features, found, name="board", title=f"Board {scanned.code}")
    return {
        "lines": [_line(t) for t in typed],
        "nothing_else": nothing_else(rule_sets, features),
        "sets": [_set(s) for s in found],
        "svg": wide,
        "svg_narrow": narrow,
    }


def _line(typed: TypedLine) -> dict[str, Any]:
    return {"text": typed.text, "wrong": typed.wrong, "words": written(typed.row) if typed.row else ""}


def _blind_set(rule_set: RuleSet) -> dict[str, Any]:
    return {
        "id": rule_set.pk,
        "title": str(rule_set),
        "grades": [g.code for g in rule_set.grades.all()],
        "suggested": None,
        "words": "",
        "not_assessed": [],
        "reasons": [],
    }


def _set(suggested: Suggested) -> dict[str, Any]:
    answer, piece = suggested.answer, suggested.piece
    words = suggested.why
    if answer:
        words = answer.deciding_feature.text() if answer.deciding_feature else "nothing against it"
    return {
        **_blind_set(suggested.rule_set),
        "suggested": suggested.grade,
        "provisional": answer.provisional_grade if answer else None,
        "words": words,
        "piece": piece
        and f"{piece.graded_length_m:.1f} m × {piece.graded_width_mm:.0f} mm from {piece.from_mm:.0f} mm",
        "not_assessed": [k.replace("_", " ") for k in answer.not_assessed] if answer else [],
        "reasons": list(answer.reasons) if answer else [],
    }

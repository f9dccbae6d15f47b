"""What the page at the bench asks for: a board, suggestions for what was typed, keeping it. JSON both ways."""

import json
from typing import Any

from django.http import HttpRequest, JsonResponse
from django.views.decorators.http import require_GET, require_POST

from grading.bench import actions, queries
from grading.bench.doors import bench_study
from grading.bench.suggesting import (
    Suggested,
    TypedLine,
    map_of,
    nothing_else,
    outlined,
    read_lines,
    suggestions,
)
from grading.calc.picture_board import board_picture
from grading.calc.typed_features import written
from grading.models import BoardGrade, GradingSession, RuleSet
from portal.calc.svg import NARROW, WIDE
from sawing.models import Board, Study

MOST_LINES = 200


class _Refused(Exception):
    """An answer of 4xx: status and words."""

    def __init__(self, status: int, words: str) -> None:
        self.status = status
        super().__init__(words)


@require_GET
def board(request: HttpRequest, trial: str, study: str) -> JsonResponse:
    """The board that was scanned, and what the rules say of it as it stands."""
    found = bench_study(request, trial, study)
    try:
        session = _session(request, found)
        text = request.GET.get("code", "").strip()
        scanned = queries.board_read(found, text)
        if scanned is None:
            raise _Refused(404, f"No board {text!r} in this study. Scan again, or type its code.")
        return JsonResponse(_about(scanned, session) | _said(scanned, [], session))
    except _Refused as why:
        return JsonResponse({"wrong": str(why)}, status=why.status)


@require_POST
def suggest(request: HttpRequest, trial: str, study: str) -> JsonResponse:
    """What the rules say of a board with the lines typed so far. Nothing is stored."""
    found = bench_study(request, trial, study)
    try:
        session = _session(request, found)
        asked = _asked(request)
        scanned = _board(found, asked)
        return JsonResponse(_said(scanned, _lines(asked), session))
    except _Refused as why:
        return JsonResponse({"wrong": str(why)}, status=why.status)


@require_POST
def keep(request: HttpRequest, trial: str, study: str) -> JsonResponse:
    """Store lines and grades of one board."""
    found = bench_study(request, trial, study)
    try:
        session = _session(request, found)
        asked = _asked(request)
        scanned = _board(found, asked)
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
    except actions.NotKept as why:
        return JsonResponse({"wrong": str(why)}, status=422)
    except _Refused as why:
        return JsonResponse({"wrong": str(why)}, status=why.status)


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


def _board(study: Study, asked: dict[str, Any]) -> Board:
    found = queries.board_read(study, str(asked.get("board", "")))
    if found is None:
        raise _Refused(404, f"No board {asked.get('board')!r} in this study.")
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
        "seen": _seen(scanned),
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


def _seen(scanned: Board) -> str:
    """What the page showed of the board's grades: sent back with the new ones, so that nobody's goes unasked."""
    return queries.grades_mark(scanned)


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
    decided = {
        s.answer.deciding_feature.row for s in found if s.answer and s.answer.deciding_feature is not None
    }
    pictures = {
        layout: board_picture(
            1000 * (scanned.dry_length_m or scanned.length_m),
            scanned.dry_width_mm or scanned.width_mm,
            scanned.dry_thickness_mm or scanned.thickness_mm,
            features,
            outlined(found),
            name=f"board-{layout}",
            title=f"Board {scanned.code}",
            deciding=frozenset(decided),
            width=width,
        )
        for layout, width in (("wide", WIDE), ("narrow", NARROW))
    }
    return {
        "lines": [_line(t) for t in typed],
        "stored": int((features["size_mm"] != 0).sum()) - sum(1 for r in rows if r.get("size_mm") != 0),
        "nothing_else": nothing_else(rule_sets, features),
        "sets": [_set(s) for s in found],
        "svg": pictures["wide"],
        "svg_narrow": pictures["narrow"],
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

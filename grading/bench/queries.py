"""Reading the feature maps of boards, and sittings at the bench."""

from typing import Any

import pandas as pd

from grading.gradable import FEATURE_FIELDS, feature_frame
from grading.models import FEATURE_NUMBERS, BoardFeature, GradingSession, RuleSet, SampleBoard, SampleGrade
from portal.models import User
from portal.uploads.frames import frame
from portal.uploads.registry import Target
from sawing.drying.queries import boards_by_what_was_read
from sawing.models import Board, Study
from sawing.queries import BOARD_NUMBERS, board_frame


def known_for_features(target: Target) -> dict[str, pd.DataFrame]:
    """The study's boards with the sizes their features are held against: dry where measured."""
    boards = board_frame(target.study)
    for name in ("length_m", "width_mm", "thickness_mm"):
        boards[name] = boards[f"dry_{name}"].fillna(boards[name])
    return {"boards": boards[["board", "log", *BOARD_NUMBERS]]}


def stored_features(target: Target, rows: pd.DataFrame) -> pd.DataFrame:
    """The features that count on the boards of these rows, in the columns of the file."""
    found = BoardFeature.objects.filter(
        board__study=target.study, board__code__in=rows["board"].unique().tolist(), set_aside=False
    )
    return frame(found, FEATURE_FIELDS).astype(dict.fromkeys(FEATURE_NUMBERS, float))


def open_session(study: Study, user: User, sample: int | None = None) -> GradingSession | None:
    """The person's open sitting: at the bench, or in a blind sample."""
    found = GradingSession.objects.filter(study=study, grader=user, closed_at=None, sample_id=sample)
    return found.select_related("study__trial", "sample__rule_set").first()


def session_rule_sets(session: GradingSession) -> list[RuleSet]:
    """The rule sets of a sitting, in the order they were chosen."""
    chosen = session.rule_sets.select_related("rule_set").prefetch_related("rule_set__grades")
    return [r.rule_set for r in chosen]


def board_read(study: Study, text: str) -> Board | None:
    """The board that was typed or scanned, by its code or by a code of its log end."""
    board = boards_by_what_was_read(study, [text]).get(text)
    return board and study.boards.select_related("study", "log__felling__tree__clone", "flitch").get(
        pk=board.pk
    )


def facts_of(board: Board) -> list[tuple[str, str]]:
    """What a grader may know of a board without knowing its tree: sizes, place in the log, moisture."""
    sizes = [board.dry_length_m or board.length_m, board.dry_width_mm or board.width_mm]
    thick = board.dry_thickness_mm or board.thickness_mm
    reading = board.moisture_readings.filter(set_aside=False, mc_pct__isnull=False).order_by("read_on").last()
    place = ", ".join(
        f"{word} {v}"
        for word, v in (
            ("flitch", board.flitch and board.flitch.code),
            ("piece", board.piece),
            ("cell", board.cell),
        )
        if v
    )
    return [
        ("Size", f"{sizes[0]:.2f} m × {sizes[1]:.0f} × {thick:.1f} mm"),
        ("State", board.get_state_display()),
        ("Place in the log", place or "not on record"),
        (
            "Log begins at",
            f"{board.log.bottom_m:.2f} m above ground" if board.log.bottom_m is not None else "not on record",
        ),
        ("Moisture", f"{reading.mc_pct:.1f} % on {reading.read_on:%-d %b %Y}" if reading else "not read"),
    ]


def progress_of(session: GradingSession) -> dict[str, Any]:
    """How many boards of a sitting are graded, by rule set and grade, and how fast."""
    if session.sample_id:
        given = session.sample_grades.values_list("sample_board__board__code", "graded_at")
        return _pace(list(given)) | {"total": session.sample.boards.count() if session.sample else 0}
    rows = session.board_grades.order_by("graded_at", "pk")
    return _pace(list(rows.values_list("board__code", "graded_at")))


def _pace(given: list[tuple[str, Any]]) -> dict[str, Any]:
    boards = list(dict.fromkeys(code for code, _ in given))
    times = [t for _, t in given if t is not None]
    hours = (max(times) - min(times)).total_seconds() / 3600 if times else 0
    return {
        "boards": len(boards),
        "last": boards[-8:][::-1],
        "per_hour": (len(boards) - 1) / hours if hours > 0.01 else None,
    }


def next_of_sample(session: GradingSession) -> SampleBoard | None:
    """The next board of a blind sample that its person has not graded in any sitting, in the order they were drawn."""
    if session.sample is None:
        return None
    mine = SampleGrade.objects.filter(session__sample=session.sample, session__grader=session.grader_id)
    done = mine.values("sample_board")
    return session.sample.boards.exclude(pk__in=done).select_related("board").first()


def map_rows(board: Board) -> pd.DataFrame:
    """The features that count on a board, in the columns of a features file; `_row` is the key."""
    return feature_frame(Board.objects.filter(pk=board.pk))


def grades_mark(board: Board, but: GradingSession | None = None) -> str:
    """A mark of the grades on a board that changes with them; those given in the sitting `but` do not count."""
    given = board.grades.exclude(session=but, session__isnull=False) if but else board.grades.all()
    rows = given.order_by("rule_set").values_list("rule_set", "grade", "graded_at", "session")
    return ";".join(f"{r}:{g}:{at:%Y%m%d%H%M%S%f}" if at else f"{r}:{g}" for r, g, at, _ in rows)

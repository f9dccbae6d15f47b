"""A yard and a stack for tests of drying, over the small study that most tests share."""

import datetime as dt
import uuid
from typing import Any

from sawing.drying.actions import build_stack, keep_defects, keep_readings, keep_yard, place_boards
from sawing.drying.asked import DefectAsked, PlacingAsked, ReadingAsked
from sawing.models import Stack, Yard
from tests.conftest import Place

BUILT = dt.date(2025, 3, 10)
CLIMATE = [
    {"temperature_c": t, "humidity_pct": rh}
    for t, rh in zip(
        (1, 2, 5, 8, 12, 15, 17, 17, 13, 9, 5, 2),
        (86, 83, 79, 75, 73, 75, 76, 77, 80, 84, 87, 88),
        strict=True,
    )
]
# Boards of the small study that nobody has graded: B3 of log L1, B5 of L2, B7 of L3.
FREE = ["B3", "B5", "B7"]
SEASON = {0: (62.0, 70.0, 66.0), 30: (41.0, 46.0, 43.0), 60: (28.0, 29.5, 29.0), 100: (20.4, 22.0, 21.3)}


def a_yard(p: Place, **fields: Any) -> Yard:
    given = {"name": "Long shed", "climate": CLIMATE} | fields
    return keep_yard(trial=p.trial, by=p.people["manager"], **given)


def a_stack(p: Place, code: str = "S1", boards: list[str] | None = None, **fields: Any) -> Stack:
    """A stack with the free boards in it."""
    yard = p.trial.yards.first() or a_yard(p)
    given = {"yard": yard, "built_on": BUILT, "target_pct": 18.0} | fields
    stack = build_stack(study=p.study, code=code, by=p.people["mill"], **given)
    codes = FREE if boards is None else boards
    if codes:
        asked = [PlacingAsked(code, 1, at) for at, code in enumerate(codes, start=1)]
        place_boards(stack=stack, placings=asked, placed_on=BUILT, by=p.people["mill"])
    stack.refresh_from_db()
    return stack


def read(p: Place, stack: Stack, days: int, *values: str, boards: list[str] | None = None) -> int:
    """Meter readings of the boards so many days after building."""
    rows = [ReadingAsked(b, v, client_id=uuid.uuid4()) for b, v in zip(boards or FREE, values, strict=True)]
    return keep_readings(stack=stack, rows=rows, read_on=BUILT + dt.timedelta(days=days), by=p.people["mill"])


def a_defect(p: Place, board: str, **fields: Any) -> int:
    """A bow of 18 mm over 3 m."""
    given = {"kind": "bow", "size_mm": 18.0, "over_m": 3.0, "seen_on": BUILT} | fields
    return keep_defects(study=p.study, rows=[DefectAsked(board=board, **given)], by=p.people["mill"])

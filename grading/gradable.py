"""What the rules grade from: boards, their feature maps and rule sets, as the frames of `calc`."""

import math

import numpy as np
import pandas as pd
from django.db.models import QuerySet

from grading.calc.rule_limits import GradingRules
from grading.calc.rule_reading import RuleProblems, read_rules
from grading.models import FEATURE_NUMBERS, BoardFeature, RuleSet
from portal.uploads.frames import frame
from sawing.calc.heart_in_board import heart_span
from sawing.calc.picture_log_end import EndBoard
from sawing.end_places import EndScene, end_scene
from sawing.models import Board, Study
from sawing.queries import BOARD_FIELDS, BOARD_NUMBERS, log_frame

FEATURE_FIELDS = {
    "board": "board__code",
    "kind": "kind",
    "face": "face",
    **{name: name for name in FEATURE_NUMBERS},
    "note": "note",
}


def rules_of(rule_set: RuleSet) -> GradingRules | None:
    """The rules of a rule set; None when it has names of grades only, or its document cannot grade."""
    try:
        return read_rules({**rule_set.rules, "version": rule_set.version}) if rule_set.rules else None
    except RuleProblems:
        return None


def feature_frame(boards: QuerySet[Board]) -> pd.DataFrame:
    """The features that count on some boards of one study, in the columns of a features file; `_row` is the key."""
    rows = BoardFeature.objects.filter(board__in=boards.order_by(), set_aside=False)
    found = frame(rows.order_by("board__code", "face", "x_mm", "pk"), {**FEATURE_FIELDS, "_row": "pk"})
    return found.astype(dict.fromkeys(FEATURE_NUMBERS, float))


def gradable_boards(boards: QuerySet[Board]) -> pd.DataFrame:
    """Some boards of one study in the columns of the tally; `_row` is the primary key."""
    found = frame(boards.order_by("code"), {**BOARD_FIELDS, "_row": "pk"})
    return found.astype(dict.fromkeys(BOARD_NUMBERS, float))


def with_heartwood(study: Study, boards: pd.DataFrame) -> pd.DataFrame:
    """Boards of a study (see `gradable_boards`) with `heart_from_mm` and `heart_to_mm`, the stretch across the face
    that is heartwood through the whole thickness; NaN where the place or the heartwood is not known.

    Heartwood is that of the end where it is narrowest, the board taken to run parallel to the pith. Edge 1, from
    which it is counted, is the left one as one looks at the butt end with the top of the log up (the lower one of a
    board that stands on edge).
    """
    logs = log_frame(study).set_index("log", drop=False)
    found = boards.assign(heart_from_mm=np.nan, heart_to_mm=np.nan)
    for code, mine in boards.groupby("log", sort=False):
        if code in logs.index:
            scene = end_scene(study, logs.loc[code].to_dict(), mine)
            radii = _narrowest_heart(scene)
            for placed in scene.placed if radii else ():
                at = mine.index[mine["board"] == placed.code]
                found.loc[at, ["heart_from_mm", "heart_to_mm"]] = _span(placed, radii)
    return found


def _span(placed: EndBoard, radii: tuple[float, float]) -> tuple[float, float]:
    middle = placed.x_mm + placed.width_mm / 2, placed.y_mm + placed.height_mm / 2
    return heart_span(middle, (placed.width_mm / 2, placed.height_mm / 2), radii, placed.angle_deg)


def _narrowest_heart(scene: EndScene) -> tuple[float, float] | None:
    """Radii of the smaller of the log's two heartwoods, each in the shape of its own end; None: not measured."""
    found = []
    for end in ("sed", "led"):
        heart, first = scene.log[f"heart_{end}_mm"], scene.log[f"{end}1_mm"]
        if not pd.isna(heart):
            second = first if pd.isna(scene.log[f"{end}2_mm"]) else scene.log[f"{end}2_mm"]
            ratio = heart / math.sqrt(first * second) / 2
            found.append((first * ratio, second * ratio))
    return min(found, default=None)

"""Reading the feature maps of boards."""

import pandas as pd

from grading.gradable import FEATURE_FIELDS
from grading.models import FEATURE_NUMBERS, BoardFeature
from portal.uploads.frames import frame
from portal.uploads.registry import Target
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

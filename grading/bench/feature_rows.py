"""Writing the rows of a features file."""

import math

import pandas as pd

from grading.models import FEATURE_NUMBERS, BoardFeature
from portal.models import Upload
from portal.uploads.bulk import copy_columns, json_notes, python_values
from portal.uploads.frames import codes_to_ids
from portal.uploads.registry import Target

KEY = ("kind", "face", "x_mm", "y_mm")


def insert_features(target: Target, rows: pd.DataFrame, upload: Upload | None) -> int:
    """Add features to the maps of boards. Caller holds the study's lock."""
    boards = codes_to_ids(target.study.boards.filter(code__in=rows["board"].unique().tolist()))
    return copy_columns(
        BoardFeature,
        {
            "board_id": rows["board"].map(boards),
            "upload_id": upload and upload.pk,
            "by_id": upload and upload.by_id,
            "kind": rows["kind"],
            "face": rows["face"],
            **{name: rows[name] for name in FEATURE_NUMBERS},
            "note": rows["note"],
            "notes": json_notes(rows),
        },
        len(rows),
    )


def replace_features(target: Target, rows: pd.DataFrame, upload: Upload) -> int:
    """Overwrite stored features with the filled cells of these rows; place and kind say which one is meant."""
    stored = {
        (f.board.code, *(getattr(f, name) for name in KEY)): f
        for f in BoardFeature.objects.filter(
            board__study=target.study, board__code__in=rows["board"].tolist(), set_aside=False
        ).select_related("board")
    }
    fields = [n for n in (*FEATURE_NUMBERS, "note") if n not in KEY]
    lists = {name: python_values(rows[name], len(rows)) for name in fields}
    for at, row in enumerate(rows[["board", *KEY]].itertuples(index=False)):
        feature = stored[tuple(None if isinstance(v, float) and math.isnan(v) else v for v in row)]
        for name in fields:
            if lists[name][at] is not None:
                setattr(feature, name, lists[name][at])
        feature.save()
    return len(rows)

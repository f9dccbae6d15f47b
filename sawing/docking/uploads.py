"""The file of flitch outlines, for the shared upload machine."""

import pandas as pd

from portal.calc.file_spec import Known, Problem
from portal.models import Role
from portal.uploads.registry import Target, UploadKind, register
from sawing.docking import queries
from sawing.docking.actions import insert_flitches
from sawing.docking.columns import FLITCHES

LONGER_THAN_LOG_MM = 100.0


def within_their_logs(target: Target, rows: pd.DataFrame, known: Known, file_name: str) -> list[Problem]:
    """Stations farther from their flitch's first one than the log is long."""
    lengths = known["logs"].set_index("log")["length_m"] * 1000
    first = rows.groupby(["log", "flitch"], sort=False)["x_mm"].transform("min")
    most = rows["log"].map(lengths)
    outside = rows[(rows["x_mm"] - first) > most + LONGER_THAN_LOG_MM]
    return [
        Problem(
            file_name,
            int(row),
            "x_mm",
            f"{x - start:g} mm from the first station of the flitch",
            f"at most the length of log {log}, {most[at]:g} mm; look for a wrong log or unit",
        )
        for at, row, x, start, log in zip(
            outside.index, outside["_row"], outside["x_mm"], first[outside.index], outside["log"], strict=True
        )
    ]


def register_kinds() -> None:
    register(
        UploadKind(
            FLITCHES,
            "study",
            frozenset({Role.MILL, Role.MANAGER}),
            queries.known_for_flitches,
            queries.stored_flitches,
            insert_flitches,
            check=within_their_logs,
            whole=True,
        )
    )

"""Reading studies, logs, flitches and boards, for those who may see them."""

from collections.abc import Iterable

import pandas as pd
from django.db.models import Count, QuerySet, Sum
from django.shortcuts import get_object_or_404

from portal import access
from portal.models import User
from portal.uploads.frames import frame
from portal.uploads.registry import Target
from sawing.calc.balance import LogBalance, log_balance
from sawing.calc.board_volume import board_volumes
from sawing.calc.log_volume import log_volumes
from sawing.models import Board, Flitch, LabelSheet, Log, Study
from trials.queries import trials_of

LOG_NUMBERS = [
    "bottom_m",
    "length_m",
    "sed1_mm",
    "led1_mm",
    "sed2_mm",
    "led2_mm",
    "mid1_mm",
    "mid2_mm",
    "centroid_mm",
    "heart_sed_mm",
    "heart_led_mm",
    "sweep_mm",
    "resonance_hz",
    "mass_kg",
]
LOG_FIELDS = {
    "log": "code",
    "tree": "felling__tree__code",
    **{n: n for n in LOG_NUMBERS},
    "sections_mm": "sections_mm",
    "bark": "bark",
}
ENDS_OF_LOG = ["sed1_mm", "led1_mm", "sed2_mm", "led2_mm", "bark"]
BOARD_NUMBERS = [
    "thickness_mm",
    "width_mm",
    "length_m",
    "nominal_thickness_mm",
    "nominal_width_mm",
    "dry_thickness_mm",
    "dry_width_mm",
    "dry_length_m",
]
BOARD_FIELDS = {
    "board": "code",
    "log": "log__code",
    "flitch": "flitch__code",
    "piece": "piece",
    "cell": "cell",
    **{n: n for n in BOARD_NUMBERS},
}


def studies_of(user: User) -> QuerySet[Study]:
    """Studies of the trials a person belongs to, with counts."""
    return Study.objects.filter(trial__in=trials_of(user)).select_related("trial")


def study_for(user: User, trial_code: str, study_code: str) -> Study:
    """One study, or 404 for those who do not belong to its trial."""
    return get_object_or_404(studies_of(user), trial__code=trial_code, code=study_code)


def logs_of(study: Study) -> QuerySet[Log]:
    return study.logs.select_related("upload", "felling__tree__clone", "felling__tree__site").annotate(
        n_boards=Count("boards"), board_volume_m3=Sum("boards__volume_m3")
    )


def boards_of(study: Study) -> QuerySet[Board]:
    return study.boards.select_related("log__felling__tree__clone", "flitch")


def available_boards(user: User) -> QuerySet[Board]:
    """Boards that anybody with a role in their trial may ask for, researchers from outside included."""
    boards = Board.objects.filter(state="available").select_related(
        "study__trial", "log__felling__tree__clone"
    )
    allowed = access.trial_ids(user, roles=access.INSIDE | {"researcher"})
    return boards if allowed is None else boards.filter(study__trial_id__in=allowed)


def state_counts(study: Study) -> dict[str, int]:
    """{board state: number of boards} of a study."""
    return dict(study.boards.order_by().values_list("state").annotate(n=Count("pk")))


def tree_frame(study: Study) -> pd.DataFrame:
    """The felled trees of a study with their clone, site, block and plot."""
    return frame(
        study.fellings.all(),
        {
            "tree": "tree__code",
            "clone": "tree__clone__code",
            "site": "tree__site__code",
            "block": "tree__plot__block__code",
            "plot": "tree__plot__code",
        },
    )


def log_frame(study: Study) -> pd.DataFrame:
    """The logs of a study in the columns of the logs file; `_row` is the primary key."""
    logs = frame(study.logs.order_by("code"), {**LOG_FIELDS, "_row": "pk"})
    return logs.astype(dict.fromkeys(LOG_NUMBERS, float))


def board_frame(study: Study) -> pd.DataFrame:
    """The boards of a study in the columns of the tally; `_row` is the primary key."""
    boards = frame(study.boards.order_by("code"), {**BOARD_FIELDS, "_row": "pk"})
    return boards.astype(dict.fromkeys(BOARD_NUMBERS, float))


def log_rows(study: Study) -> pd.DataFrame:
    """One row a log: measures, volume by the study's formula, boards, volume in boards, green recovery."""
    logs = log_frame(study).merge(tree_frame(study)[["tree", "clone"]], on="tree", how="left")
    boards = board_frame(study)
    balance = balance_of(study, logs, boards).parts
    small, large = sections(logs, "sed"), sections(logs, "led")
    return logs.assign(
        sed_mm=small,
        led_mm=large,
        taper_mm_per_m=(large - small) / logs["length_m"],
        volume_m3=balance["log_volume_m3"].to_numpy(),
        boards=logs["log"].map(boards["log"].value_counts()).fillna(0),
        board_volume_m3=balance["boards_m3"].to_numpy(),
        recovery=(balance["boards_m3"] / balance["log_volume_m3"]).to_numpy(),
    )


def sections(logs: pd.DataFrame, end: str) -> pd.Series:
    """Diameter of an end ("sed", "led") in mm: geometric mean of its two readings, or the one there is."""
    first, second = logs[f"{end}1_mm"], logs[f"{end}2_mm"]
    return ((first * second) ** 0.5).where(second.notna(), first)


def study_balance(study: Study, formula: str | None, codes: Iterable[str]) -> tuple[LogBalance, int]:
    """Where the wood of these logs of a study went, in actual green volume (m3); and how many boards they gave.

    :param codes: of the logs that count, so that the balance is of the same wood as the figures beside it.
    """
    wanted = list(codes)
    logs, boards = log_frame(study), board_frame(study)
    boards = boards[boards["log"].isin(wanted)]
    return balance_of(study, logs[logs["log"].isin(wanted)], boards, formula), len(boards)


def balance_of(
    study: Study, logs: pd.DataFrame, boards: pd.DataFrame, formula: str | None = None
) -> LogBalance:
    """Where the wood of these logs went, in actual green volume (m3); the study's own formula when None."""
    volumes = log_volumes(logs, formula or study.log_volume_formula, study.bark_factor)
    return log_balance(
        logs["log"], volumes.volume_m3, boards, board_volumes(boards).volume_m3, study.headsaw_kerf_mm
    )


def known_for_logs(target: Target) -> dict[str, pd.DataFrame]:
    """Trees with their clone, and the study each was felled for."""
    return {
        "trees": frame(
            target.trial.trees.all(),
            {"tree": "code", "clone": "clone__code", "felled_for": "felling__study__code"},
        )
    }


def known_for_boards(target: Target) -> dict[str, pd.DataFrame]:
    """Logs with their volume, the flitches and the boards stored already."""
    study = target.study
    logs = log_frame(study)
    volumes = log_volumes(logs, study.log_volume_formula, study.bark_factor)
    return {
        "logs": logs[["log", "tree", "length_m", *ENDS_OF_LOG]].assign(volume_m3=volumes.volume_m3),
        **known_at_saw(study),
        "stored_boards": frame(
            study.boards.all(), {"board": "code", "log": "log__code", "volume_m3": "volume_m3"}
        ),
    }


def known_at_saw(study: Study) -> dict[str, pd.DataFrame]:
    """The labels on the logs of a study and the sizes it saws, as a file of boards is compared with them.

    A sheet counts as put with its middle over the pith until somebody read where it sits.
    """
    sheets = LabelSheet.objects.filter(serial__log__study=study, serial__retired_at__isnull=True)
    fields = ("serial__log__code", "end", "pitch_mm", "pith_row", "pith_col", "turned_deg", "rows", "cols")
    placed = []
    for log, end, pitch, row, col, turned, n_rows, n_cols in sheets.values_list(*fields):
        middle = (n_rows // 2 if row is None else row, n_cols // 2 if col is None else col)
        placed.append((log, int(end == "top"), pitch, *middle, turned or 0.0))
    saw = {
        "thicknesses_mm": tuple(float(t) for t in study.thicknesses_mm),
        "widths_mm": tuple(float(w) for w in study.widths_mm),
        "oversize_thickness_mm": study.oversize_thickness_mm or 0.0,
        "oversize_width_pct": study.oversize_width_pct or 0.0,
        "kerf_mm": study.headsaw_kerf_mm or 0.0,
        "bark_factor": study.bark_factor,
    }
    columns = ["log", "end", "pitch_mm", "pith_row", "pith_col", "turned_deg"]
    return {"sheets": pd.DataFrame(placed, columns=columns), "saw": pd.DataFrame([saw], dtype=object)}


def board_volume_by_log(study: Study) -> dict[str, float]:
    """{log code: m3 of its boards at actual green size}."""
    return dict(study.boards.order_by().values_list("log__code").annotate(volume=Sum("volume_m3")))


def stored_logs(target: Target, rows: pd.DataFrame) -> pd.DataFrame:
    """The logs already stored under the codes of these rows."""
    return frame(target.study.logs.filter(code__in=rows["log"].tolist()), LOG_FIELDS)


def stored_boards(target: Target, rows: pd.DataFrame) -> pd.DataFrame:
    """The boards already stored under the codes of these rows."""
    return frame(target.study.boards.filter(code__in=rows["board"].tolist()), BOARD_FIELDS)


def flitches_by_log(study: Study) -> dict[tuple[str, str], int]:
    """{(log code, flitch code): id} of a study."""
    found = Flitch.objects.filter(study=study).values_list("log__code", "code", "pk")
    return {(log, code): pk for log, code, pk in found}

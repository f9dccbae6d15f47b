"""The files of this room, for the shared upload machine."""

from dataclasses import replace

import pandas as pd

from portal.calc.file_spec import FileKind, Known, Problem
from portal.models import Role
from portal.uploads.registry import Target, UploadKind, register
from sawing import actions, queries
from sawing.calc.log_volume import log_volumes
from sawing.calc.tally_checks import log_remarks
from sawing.columns import BOARDS, LOGS
from sawing.planning.queries import stem_logs, tree_facts


def logs_file(target: Target) -> FileKind:
    """The logs file of a study: odd is also what does not fit its stored logs, its stem records and its trees."""

    def remarks(rows: pd.DataFrame, known: Known, file_name: str) -> list[str]:
        trees = rows["tree"].unique().tolist()
        around = {"stored_logs": stem_logs(target.study, trees), "trees": tree_facts(target.study, trees)}
        return log_remarks(rows, around, file_name)

    return replace(LOGS, remarks=remarks)


def logs_in_place(target: Target, rows: pd.DataFrame, known: Known, file_name: str) -> list[Problem]:
    """Logs of a tree that was felled for another study, and stored logs that would change their tree."""
    trees = known["trees"].set_index("tree")["felled_for"]
    elsewhere = rows["tree"].map(trees.where(trees != target.study.code))
    problems = [
        Problem(
            file_name,
            int(number),
            "tree",
            f"{tree}, felled for the study {study}",
            f"a tree felled for {target.study.code}, or not felled yet",
        )
        for number, tree, study in zip(rows["_row"], rows["tree"], elsewhere, strict=True)
        if isinstance(study, str)
    ]
    moved = _moved(rows, queries.stored_logs(target, rows), "log", "tree", file_name)
    return [*problems, *moved, *_too_small(target, rows, file_name)]


def _too_small(target: Target, rows: pd.DataFrame, file_name: str) -> list[Problem]:
    """Logs measured anew that would be smaller than the boards stored as sawn from them."""
    boards = queries.board_volume_by_log(target.study)
    volumes = log_volumes(rows, target.study.log_volume_formula, target.study.bark_factor).volume_m3
    stored = rows["log"].map(boards).astype(float)
    small = (stored > volumes * (1 + 1e-9)).to_numpy()
    return [
        Problem(
            file_name,
            int(number),
            "log",
            f"{volume:.4f} m³ of log {log} for {held:.4f} m³ of stored boards",
            "a log with at least the volume of its boards; look for a wrong code, length or diameter",
        )
        for number, log, volume, held in zip(
            rows["_row"][small], rows["log"][small], volumes[small], stored[small], strict=True
        )
    ]


def boards_in_place(target: Target, rows: pd.DataFrame, known: Known, file_name: str) -> list[Problem]:
    """Stored boards that would change their log: that is another board, or a misread code."""
    return _moved(rows, queries.stored_boards(target, rows), "board", "log", file_name)


def _moved(rows: pd.DataFrame, stored: pd.DataFrame, key: str, parent: str, file_name: str) -> list[Problem]:
    parents = dict(zip(stored[key], stored[parent], strict=True))
    return [
        Problem(
            file_name,
            int(number),
            parent,
            f"{code} from {given}",
            f"{key} {code} is stored as coming from {parent} {parents[code]}; check which code was misread",
        )
        for number, code, given in zip(rows["_row"], rows[key], rows[parent], strict=True)
        if code in parents and parents[code] != given
    ]


def register_kinds() -> None:
    register(
        UploadKind(
            LOGS,
            "study",
            frozenset({Role.MILL, Role.MANAGER}),
            queries.known_for_logs,
            queries.stored_logs,
            actions.insert_logs,
            actions.replace_logs,
            logs_in_place,
            file_for=logs_file,
        )
    )
    register(
        UploadKind(
            BOARDS,
            "study",
            frozenset({Role.MILL, Role.MANAGER}),
            queries.known_for_boards,
            queries.stored_boards,
            actions.insert_boards,
            actions.replace_boards,
            boards_in_place,
        )
    )

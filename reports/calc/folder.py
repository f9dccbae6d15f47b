"""A folder of files as people keep them, read into the frames of the recovery computing, without a database.

Each file is checked against those before it (clones, layout, logs, boards, prices, grades), then all of them
against each other. A row with a problem is held, and with it everything that hangs on it.
"""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd

from grading.columns import GRADES
from portal.calc.file_checks import Checked, check_file, empty_rows
from portal.calc.file_reading import NO_ROWS
from portal.calc.file_spec import FileKind, Problem, code_column
from portal.calc.file_table import DEFAULT_LIMITS, ReadLimits
from reports.calc.folder_checks import (
    FolderRows,
    grades_without_price,
    held_pairs,
    held_places,
    with_over_volume_held,
    with_spelling_of_prices,
)
from reports.calc.folder_files import REQUIRED, find_files
from reports.columns import PRICES
from sawing.calc.board_volume import SizeBasis, board_volumes
from sawing.calc.log_volume import log_volumes
from sawing.calc.tally_checks import as_problems
from sawing.columns import BOARDS, LOGS
from trials.columns import CLONES, LAYOUT

TREE_COLUMNS = ["tree", "clone", "site", "block", "plot"]
PLURAL = {"clones": "clones", "layout": "trees", "logs": "logs", "boards": "boards"}
"""What the rows of a kind of file are called where other files refer to them."""


@dataclass(frozen=True)
class FolderOptions:
    """Choices that decide which rows can be computed: log volume formula, bark factor, size of boards."""

    log_volume: str = "smalian"
    bark_factor: float | None = None
    size_basis: SizeBasis = "actual_green"
    limits: ReadLimits = DEFAULT_LIMITS
    today: dt.date | None = None


DEFAULT_OPTIONS = FolderOptions()


@dataclass(frozen=True)
class FolderData:
    """What a folder holds: frames of the good rows, all problems, notes.

    `trees`: tree, clone (None without a layout), site, block, plot. `logs`, `boards`, `grades`, `prices`:
    columns of their files with `_row` and `_notes`; empty where there is no such file. `missing`: kinds of
    files that could not be read, or are required and not there; without logs and boards nothing can be
    computed.
    `files`: name of the file read for each kind.
    """

    trees: pd.DataFrame
    logs: pd.DataFrame
    boards: pd.DataFrame
    grades: pd.DataFrame
    prices: pd.DataFrame
    problems: list[Problem]
    notes: list[str]
    missing: tuple[str, ...]
    files: dict[str, str]


@dataclass
class _Reading:
    """The state of reading a folder, kind by kind."""

    options: FolderOptions
    paths: dict[str, Path]
    problems: list[Problem]
    notes: list[str]
    missing: list[str]
    known: dict[str, pd.DataFrame] = field(default_factory=dict)
    held: dict[str, dict[str, str]] = field(default_factory=dict)

    def name(self, kind: str) -> str:
        return self.paths[kind].name if kind in self.paths else kind

    def read(self, kind: FileKind) -> Checked | None:
        """Check the file of a kind against what is known; None when there is none or it cannot be read."""
        if kind.name not in self.paths:
            return None
        name = self.name(kind.name)
        checked = check_file(
            self.paths[kind.name],
            name,
            kind,
            self.known,
            self.held,
            limits=self.options.limits,
            today=self.options.today,
        )
        if checked.unreadable and kind in (PRICES, GRADES) and _has_no_rows(checked):
            self.notes.append(f"{name}: a header and no rows: as if it were not there")
            return None
        self.problems += checked.problems
        self.notes += [f"{name}: {note}" for note in checked.notes]
        if checked.unreadable:
            self.missing.append(kind.name)
            return None
        return checked

    def keep(self, kind: FileKind, checked: Checked | None) -> pd.DataFrame:
        """Make the good rows known to the files that follow, and the held codes with their places."""
        if checked is None:
            return empty_rows(kind)
        plural = PLURAL[kind.name]
        self.known[plural] = checked.accepted
        self.held[plural] = held_places(checked.held, code_column(plural), self.name(kind.name))
        return checked.accepted

    def hold(self, kind: FileKind, checked: Checked | None, problems: list[Problem]) -> Checked | None:
        """Move the accepted rows that these further problems are about to the held ones."""
        if checked is None or not problems:
            return checked
        self.problems += problems
        wrong = checked.accepted["_row"].isin([problem.row for problem in problems])
        held = pd.concat(
            [checked.held, checked.accepted.loc[wrong, [*kind.names, "_row"]]], ignore_index=True
        )
        return replace(checked, accepted=checked.accepted[~wrong].reset_index(drop=True), held=held)


def read_folder(path: str | os.PathLike[str], options: FolderOptions = DEFAULT_OPTIONS) -> FolderData:
    """Read the files layout, clones, logs, boards, grades, prices (.csv or .xlsx) of a folder and check them.

    logs and boards are required; without a layout the trees are those of the logs, without clones. Raises
    NotADirectoryError when the path is no folder, ValueError for an unknown formula or an impossible factor.
    """
    folder = Path(path)
    if not folder.is_dir():
        raise NotADirectoryError(f"{folder} is not a folder")
    paths, problems, notes = find_files(folder)
    absent = [name for name in REQUIRED if name not in paths]
    reading = _Reading(options, paths, problems, notes, absent)
    reading.keep(CLONES, reading.read(CLONES))
    layout = reading.read(LAYOUT)
    trees = reading.keep(LAYOUT, layout)
    logs = _volumes_held(reading, LOGS, reading.read(LOGS))
    reading.keep(LOGS, logs)
    boards = _volumes_held(reading, BOARDS, reading.read(BOARDS))
    rows = _over_volume_held(reading, logs, boards)
    prices_read = reading.read(PRICES)
    prices = prices_read.accepted if prices_read else empty_rows(PRICES)
    grades = _grades(reading, rows.boards, prices_read)
    if layout is None:
        trees = _trees_of(rows.logs, reading)
    order = {
        reading.name(kind): at for at, kind in enumerate(("clones", "layout", "logs", "boards", "prices"))
    }
    return FolderData(
        trees=trees[TREE_COLUMNS],
        logs=rows.logs,
        boards=rows.boards,
        grades=grades,
        prices=prices,
        problems=sorted(reading.problems, key=lambda p: (order.get(p.file, 9), p.row or 0)),
        notes=reading.notes,
        missing=tuple(dict.fromkeys(reading.missing)),
        files={kind: found.name for kind, found in paths.items()},
    )


def _volumes_held(reading: _Reading, kind: FileKind, checked: Checked | None) -> Checked | None:
    """The file without the rows whose volume cannot be computed by the chosen formula or size basis."""
    if checked is None:
        return None
    options = reading.options
    if kind is LOGS:
        wrong = log_volumes(checked.accepted, options.log_volume, options.bark_factor).problems
    else:
        wrong = board_volumes(checked.accepted, options.size_basis).problems
    return reading.hold(kind, checked, as_problems(wrong, checked.accepted, reading.name(kind.name)))


def _over_volume_held(reading: _Reading, logs: Checked | None, boards: Checked | None) -> FolderRows:
    """Good logs and boards, without logs that have more boards than wood and without the boards of those."""
    log_file, board_file = reading.name("logs"), reading.name("boards")
    if logs is not None and boards is not None:
        options = reading.options
        volumes = log_volumes(logs.accepted, options.log_volume, options.bark_factor).volume_m3
        log_problems, board_problems = with_over_volume_held(
            logs.accepted.assign(volume_m3=volumes), boards.accepted, log_file, board_file
        )
        logs = reading.hold(LOGS, logs, log_problems)
        boards = reading.hold(BOARDS, boards, board_problems)
    return FolderRows(logs=reading.keep(LOGS, logs), boards=reading.keep(BOARDS, boards))


def _has_no_rows(checked: Checked) -> bool:
    return any(problem.found.endswith(NO_ROWS) for problem in checked.problems)


def _grades(reading: _Reading, boards: pd.DataFrame, prices_read: Checked | None) -> pd.DataFrame:
    """Good grades; where there are prices, in their spelling and without the grades that have none.

    Without readable boards nobody knows what a grade's piece measures: then prices are not asked for.
    """
    grades = reading.read(GRADES)
    if grades is None:
        return empty_rows(GRADES)
    if prices_read is None or "boards" in reading.missing:
        return grades.accepted
    prices = prices_read.accepted
    name = reading.name("grades")
    spelled, notes = with_spelling_of_prices(grades.accepted, prices)
    reading.notes += [f"{name}: {note}" for note in notes]
    grades = replace(grades, accepted=spelled)
    sizes = board_volumes(boards, reading.options.size_basis)
    held_prices = held_pairs(prices_read.held, reading.name("prices"))
    problems = grades_without_price(spelled, boards, sizes, prices, name, reading.name("prices"), held_prices)
    held = reading.hold(GRADES, grades, problems)
    return held.accepted if held else grades.accepted


def _trees_of(logs: pd.DataFrame, reading: _Reading) -> pd.DataFrame:
    """The trees the logs name, without clones."""
    if len(logs):
        reading.notes.append("no layout read: the trees are those of the logs, and their clones are unknown")
    trees = pd.DataFrame({"tree": pd.Series(logs["tree"].unique(), dtype=object)})
    return trees.reindex(columns=TREE_COLUMNS).astype(object).where(lambda frame: frame.notna(), None)

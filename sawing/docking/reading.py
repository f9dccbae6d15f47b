"""Flitches and rules from files, without a database."""

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from portal.calc.file_checks import check_file
from portal.calc.file_spec import Problem
from sawing.calc.dock_flitch import Flitch, flitch_problems, flitches_of
from sawing.calc.dock_rules import Rules, read_rules
from sawing.docking.columns import HEADLESS


@dataclass(frozen=True)
class DockFiles:
    """Flitches and rules as read; with any problem there are no flitches."""

    flitches: list[Flitch]
    rules: Rules | None
    problems: list[Problem]
    notes: list[str]


def read_files(flitches: Path, rules: Path) -> DockFiles:
    """Read a file of flitches (CSV or XLSX) and one of rules (TOML or JSON), and list all that is wrong.

    Raises:
        OSError: when the rules cannot be opened; flitches that cannot be opened are a problem like others.
    """
    given, problems = read_rules(rules.read_bytes(), rules.name)
    checked = check_file(flitches, flitches.name, HEADLESS, {})
    problems = [*checked.problems, *problems]
    thickness = given.thickness_mm if given else None
    if checked.unreadable or given is None:
        rows = _whole(checked.accepted, checked.held)
        problems += (
            [] if checked.unreadable else _but_thickness(flitch_problems(rows, flitches.name, thickness))
        )
        return DockFiles([], given, problems, checked.notes)
    if checked.problems:
        problems += flitch_problems(_whole(checked.accepted, checked.held), flitches.name, thickness)
        return DockFiles([], given, problems, checked.notes)
    found, wrong = flitches_of(checked.accepted, flitches.name, thickness)
    problems += wrong
    return DockFiles([] if problems else found, given, problems, checked.notes)


def _whole(rows: pd.DataFrame, held: pd.DataFrame) -> pd.DataFrame:
    """The rows of flitches none of whose rows is held: only these can be judged as a whole."""
    if "flitch" not in held:
        return rows
    return rows[~rows["flitch"].isin(held["flitch"].dropna())]


def _but_thickness(problems: list[Problem]) -> list[Problem]:
    """Without what bad rules may have left open: the thickness of flitches that give none."""
    return [p for p in problems if not (p.column == "thickness_mm" and p.found == "")]

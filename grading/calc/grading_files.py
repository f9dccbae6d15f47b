"""Grading from files: features and boards of a person, a rule set, prices; everything wrong with them at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from grading.calc.best_piece import GradingOptions, grade_boards
from grading.calc.graded_boards import GradedBoard
from grading.calc.piece_prices import PRICES_BY_GRADE
from grading.calc.rule_limits import GradingRules, Price
from grading.calc.rule_set_documents import read_rule_set, read_rule_sets
from grading.calc.rule_tables import prices_from
from grading.columns import FEATURES
from portal.calc.file_checks import check_file
from portal.calc.file_spec import Problem
from sawing.columns import BOARDS


@dataclass(frozen=True)
class GradingFiles:
    """What was read: good rows of boards and features, prices of the rule set, problems, and notes on the reading."""

    boards: pd.DataFrame
    features: pd.DataFrame
    prices: tuple[Price, ...]
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]


def find_rules(name: str, folder: Path) -> GradingRules:
    """A rule set by the path of its document, or by its code among those of a folder.

    Raises ValueError when there is none, or its document cannot be read or has no rules to grade by.
    """
    path = Path(name)
    if path.suffix == ".toml":
        if not path.is_file():
            raise ValueError(f"{name} is no file")
        return read_rule_set(path).rules()
    documents = {d.code: d for d in read_rule_sets(folder)}
    if name not in documents:
        raise ValueError(f"no rule set {name!r}; there are {', '.join(documents)}")
    return documents[name].rules()


def read_grading_files(
    features: Path, boards: Path, prices: Path | None, rules: GradingRules
) -> GradingFiles:
    """Read and check the files. What is wrong in them is in `problems`; rows with a problem are left out.

    Raises OSError for a file that is not there.
    """
    for path in (features, boards, *([prices] if prices else [])):
        if not path.is_file():
            raise FileNotFoundError(f"{path} is no file")
    tally = check_file(boards, boards.name, BOARDS, {})
    known = {"boards": _as_graded(tally.accepted)}
    found = check_file(features, features.name, FEATURES, known)
    problems = [*tally.problems, *found.problems]
    notes = [f"{boards.name}: {n}" for n in tally.notes] + [f"{features.name}: {n}" for n in found.notes]
    listed: tuple[Price, ...] = ()
    if prices:
        checked = check_file(prices, prices.name, PRICES_BY_GRADE, {"rule_sets": _grades_of(rules, prices)})
        problems += checked.problems
        listed = prices_from(checked.accepted, rules.code)
        if not listed and not checked.problems:
            problems.append(Problem(prices.name, None, "rule_set", "no row", f"prices of {rules.code}"))
    if not len(tally.accepted) and not tally.problems:
        problems.append(Problem(boards.name, None, None, "no boards", "at least one board"))
    return GradingFiles(tally.accepted, found.accepted, listed, tuple(problems), tuple(notes))


def _as_graded(boards: pd.DataFrame) -> pd.DataFrame:
    """Boards with the sizes features are held against: dry where measured."""
    sizes = {}
    for name in ("length_m", "width_mm", "thickness_mm"):
        dry = boards[f"dry_{name}"].to_numpy(dtype=np.float64, na_value=np.nan)
        sizes[name] = np.where(np.isnan(dry), boards[name].to_numpy(dtype=np.float64, na_value=np.nan), dry)
    return boards.assign(**sizes)


def _grades_of(rules: GradingRules, prices: Path) -> pd.DataFrame:
    """The grades of this rule set; other rule sets in a price list are nobody's concern here."""
    everything = check_file(prices, prices.name, PRICES_BY_GRADE, {}).accepted
    others = everything[everything["rule_set"] != rules.code]
    mine = pd.DataFrame({"rule_set": rules.code, "grade": [g.code for g in rules.grades]})
    return pd.concat([mine, others[["rule_set", "grade"]]], ignore_index=True)


def grading_answer(files: GradingFiles, rules: GradingRules, options: GradingOptions) -> dict[str, Any]:
    """Grades of the boards of some files, as one object ready for JSON. Raises ValueError as `grade_boards` does."""
    graded = grade_boards(files.boards, files.features, rules, files.prices, options)
    return {
        "rule_set": rules.code,
        "version": rules.version,
        "title": rules.title,
        "origin": rules.origin,
        "cautions": cautions_of(rules),
        "boards": [_with_file_rows(g, files.features) for g in graded],
        "summary": summary(graded, rules),
        "problems": [p.to_dict() for p in files.problems],
        "notes": list(files.notes),
    }


def cautions_of(rules: GradingRules) -> list[str]:
    """Ids of the cautions that stand beside grades of a rule set."""
    ids = ["C5"]
    if rules.purpose == "structural":
        ids.append("C6")
    if rules.from_memory:
        ids.append("C12")
    return ids


def summary(graded: Sequence[GradedBoard], rules: GradingRules) -> list[dict[str, Any]]:
    """Boards, pieces' volume and value by grade, best first; last the boards whose grade cannot be said."""
    lines: list[dict[str, Any]] = []
    for grade in (*(g.code for g in rules.grades), None):
        mine = [g for g in graded if g.grade == grade]
        pieces = [p for g in mine for p in g.pieces]
        values = [g.value for g in mine]
        known = [v for v in values if v is not None]
        lines.append(
            {
                "grade": grade,
                "boards": len(mine),
                "volume_m3": sum(p.volume_m3 for p in pieces),
                "value": sum(known) if known and len(known) == len(values) else None,
            }
        )
    return lines


def _with_file_rows(graded: GradedBoard, features: pd.DataFrame) -> dict[str, Any]:
    """A board's answer; its deciding feature is named by its row in the file a person sees."""
    answer = graded.to_dict()
    feature = answer["deciding_feature"]
    if feature is not None:
        at = feature.pop("row")
        feature["row"] = int(features["_row"].iloc[at]) if at >= 0 else None
    return answer

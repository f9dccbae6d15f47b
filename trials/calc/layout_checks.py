"""What no single cell of a layout or a list of clones shows: places taken twice, names that clash."""

from __future__ import annotations

import pandas as pd

from portal.calc.file_findings import remark, repeats, same_but_for_case
from portal.calc.file_spec import Known, Problem, shown

ADDRESS = ("site", "row", "col")


def check_layout(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    """Two trees in one place of a site; clones that differ by upper and lower case alone.

    Several clones in one plot are allowed. `known["trees"]` (tree, site, row, col) holds the places taken.
    """
    expected = "each place (site, row, col) for one tree"
    problems = [
        Problem(file, p.row, "col", f"place taken: {_place(rows, p.row)}", p.expected)
        for p in repeats(rows, ADDRESS, file, "tree", expected)
    ]
    problems += _taken_places(rows, known, file)
    if "clones" not in known:
        problems += _clashing_clones(rows, known, file)
    return problems


def check_clones(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    """Clones that differ from another, in the file or known already, by upper and lower case alone."""
    return _clashing_clones(rows, known, file)


def layout_remarks(rows: pd.DataFrame, known: Known, file: str) -> list[str]:
    """Sites and trees whose codes differ by upper and lower case alone."""
    return [
        f"{column} “{shown(code)}” (row {row}) and “{shown(other)}” (row {other_row}) differ by case alone"
        for column in ("site", "tree")
        for code, row, other, other_row in same_but_for_case(rows, column)
    ]


def clone_remarks(rows: pd.DataFrame, known: Known, file: str) -> list[str]:
    """Clones named as their own parent."""
    own = (rows["seed_parent"] == rows["clone"]) | (rows["pollen_parent"] == rows["clone"])
    return remark(rows, own, "a clone named as its own parent")


def _place(rows: pd.DataFrame, row: int | None) -> str:
    at = rows[rows["_row"] == row].iloc[0]
    return f"site {shown(at['site'])}, row {at['row']:g}, col {at['col']:g}"


def _taken_places(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    trees = known.get("trees")
    if trees is None or not {"tree", *ADDRESS} <= set(trees.columns) or not len(trees):
        return []
    taken = trees[["tree", *ADDRESS]].dropna().astype({"row": float, "col": float})
    both = rows[["tree", "_row", *ADDRESS]].merge(taken, on=list(ADDRESS), suffixes=("", "_there"))
    other = both[both["tree"] != both["tree_there"]]
    return [
        Problem(
            file,
            int(row),
            "col",
            f"place taken: {_place(rows, int(row))}",
            f"a free place; tree {shown(there)} stands there already",
        )
        for row, there in zip(other["_row"], other["tree_there"], strict=True)
    ]


def _clashing_clones(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    problems = []
    wrong: dict[str, str] = {}
    for code, _, other, other_row in same_but_for_case(rows, "clone"):
        wrong[code] = f"one spelling of each clone; row {other_row} has “{shown(other)}”"
    if "clones" in known:
        there = {str(code).casefold(): str(code) for code in known["clones"]["clone"].dropna()}
        exact = set(there.values())
        for code in rows["clone"].dropna().unique():
            if code not in exact and str(code).casefold() in there:
                wrong[code] = f"the spelling known already: {shown(there[str(code).casefold()])}"
    for code, row in zip(rows["clone"], rows["_row"], strict=True):
        if code in wrong:
            problems.append(Problem(file, int(row), "clone", shown(code), wrong[code]))
    return problems

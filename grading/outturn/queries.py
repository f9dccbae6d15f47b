"""Grades of a study with what they are grouped by: clone, tree, log position, distance from the pith, width."""

from typing import Final

import pandas as pd

from grading.calc.out_turn_tables import NOT_KNOWN, graded_frame, position_of, width_class
from grading.models import BoardGrade, RuleSet
from portal.uploads.frames import frame
from sawing.calc.label_place import End, ring_class
from sawing.end_places import end_scene
from sawing.models import Study
from sawing.queries import board_frame, log_frame

GROUPINGS: Final = {
    "clone": "Clone",
    "tree": "Tree",
    "position": "Log position",
    "radial": "Distance from the pith",
    "width": "Board width",
}
SIZES: Final = (
    "graded_length_m",
    "graded_width_mm",
    "graded_thickness_mm",
    "length_m",
    "width_mm",
    "thickness_mm",
    "nominal_width_mm",
)


def graded(study: Study, rule_set: RuleSet) -> pd.DataFrame:
    """A row a board graded by the rule set: board, log, tree, clone, position, width, grade, volumes and losses."""
    rows = frame(
        BoardGrade.objects.filter(board__study=study, rule_set=rule_set).order_by("board__code"),
        {
            "board": "board__code",
            "log": "board__log__code",
            "tree": "board__log__felling__tree__code",
            "clone": "board__log__felling__tree__clone__code",
            "grade": "grade__code",
            "deciding_kind": "deciding_kind",
            "graded_length_m": "graded_length_m",
            "graded_width_mm": "graded_width_mm",
            "graded_thickness_mm": "graded_thickness_mm",
            "length_m": "board__length_m",
            "width_mm": "board__width_mm",
            "thickness_mm": "board__thickness_mm",
            "nominal_width_mm": "board__nominal_width_mm",
        },
    ).astype(dict.fromkeys(SIZES, float))
    table = graded_frame(rows)
    return table.assign(
        position=position_of(_log_numbers(study, table["log"])),
        width=width_class(table["nominal_width_mm"].fillna(table["width_mm"])),
    )


def radial_classes(study: Study) -> dict[str, str]:
    """{board: inner, middle or outer} of the boards whose place on a log end is known or inferred."""
    logs = log_frame(study).set_index("log", drop=False)
    found: dict[str, str] = {}
    for code, mine in board_frame(study).groupby("log", sort=False):
        if code not in logs.index:
            continue
        scene = end_scene(study, logs.loc[code].to_dict(), mine)
        first, second = scene.diameters
        end = End.of_diameters(first, second)
        for b in scene.placed:
            middle = b.x_mm + b.width_mm / 2, b.y_mm + b.height_mm / 2
            found[b.code] = ring_class(end.relative(*middle))
    return found


def grouped_by(study: Study, table: pd.DataFrame, name: str) -> pd.DataFrame:
    """The table with its column `group`, sorted by it in the order people expect."""
    if name == "radial":
        column = table["board"].map(radial_classes(study)).fillna(NOT_KNOWN)
        rank = column.map({"inner": 0, "middle": 1, "outer": 2}).fillna(9)
        return table.assign(group=column, _rank=rank).sort_values(["_rank", "board"], kind="stable")
    if name == "width":
        return table.assign(group=table["width"]).sort_values(["nominal_width_mm", "width_mm"], kind="stable")
    return table.assign(group=table[name]).sort_values(["group", "board"], kind="stable")


def _log_numbers(study: Study, logs: pd.Series) -> pd.Series:
    """The number of each log from the butt: by where the logs of a tree begin."""
    known = log_frame(study)[["log", "tree", "bottom_m"]].sort_values(["tree", "bottom_m"])
    number = known.groupby("tree").cumcount() + 1
    return logs.map(dict(zip(known["log"], number, strict=True)))

"""The file of flitch outlines: one row a station."""

from dataclasses import replace
from typing import Final

import pandas as pd

from portal.calc.file_spec import Column, FileKind, Known, Problem
from sawing.calc.dock_flitch import flitch_problems
from sawing.columns import THICKNESS_MM

FARTHEST_MM: Final = 20_000.0
WIDEST_MM: Final = 3_000.0


def _edge(name: str, help_text: str, example: str, *, required: bool = False) -> Column:
    return Column(
        name,
        "number",
        required=required,
        unit="mm",
        minimum=-WIDEST_MM,
        maximum=WIDEST_MM,
        help=help_text,
        example=example,
    )


def _check(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    return flitch_problems(rows, file)


FLITCHES = FileKind(
    name="flitches",
    title="Flitches (outlines)",
    help=(
        "One row per station of a flitch, from the butt end on: where its usable edges lie against one straight"
        " line along it."
    ),
    columns=(
        Column("flitch", "code", required=True, help="code of the flitch within its log", example="3"),
        Column(
            "log", "code", required=True, refers_to="logs", help="log it was sawn from", example="AR-12-07-1"
        ),
        Column(
            "thickness_mm",
            "number",
            required=True,
            unit="mm",
            minimum=THICKNESS_MM[0],
            maximum=THICKNESS_MM[1],
            help="thickness of the flitch, the same in all its rows",
            example="28",
        ),
        Column(
            "x_mm",
            "number",
            required=True,
            unit="mm",
            minimum=-FARTHEST_MM,
            maximum=FARTHEST_MM,
            help="place along the flitch, rising from the butt end",
            example="500",
        ),
        _edge("left_mm", "left edge of the narrow face, free of wane", "-92", required=True),
        _edge("right_mm", "right edge of the narrow face, free of wane", "88", required=True),
        _edge("left_wide_mm", "left edge of the wide face", "-104"),
        _edge("right_wide_mm", "right edge of the wide face", "101"),
    ),
    key=("flitch", "log", "x_mm"),
    check=_check,
    more_examples=(
        {"x_mm": "1500", "left_mm": "-95", "right_mm": "86", "left_wide_mm": "-106", "right_wide_mm": "99"},
        {"x_mm": "2500", "left_mm": "-93", "right_mm": "80", "left_wide_mm": "-103", "right_wide_mm": "95"},
    ),
)

HEADLESS: Final = replace(
    FLITCHES,
    columns=tuple(
        replace(
            column, required=column.required and column.name not in ("log", "thickness_mm"), refers_to=None
        )
        for column in FLITCHES.columns
    ),
    check=None,
)
"""As a command reads it without a trial: the log may be left out, and the thickness where the rules give one."""

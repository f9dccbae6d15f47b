"""Files of measurements: one row a tree, one column a trait of the trial."""

from collections.abc import Sequence

import pandas as pd

from portal.calc.file_spec import Column, FileKind, Known
from trials.calc.entry_reading import LONGEST_TEXT
from trials.calc.trait_rules import STATUS_WORDS

NAME = "measurements"
HELP = (
    "One row per tree and visit; beside these columns one for each trait of the trial, named by its code. Values go"
    " into an open assessment of the tree's site."
)
FIXED = (
    Column("tree", "code", required=True, refers_to="trees", help="code of the tree", example="AR-12-07"),
    Column("measured_on", "date", required=True, help="day of measuring", example="2026-05-04"),
    Column(
        "assessment",
        "text",
        maximum=120,
        help="name of the open assessment; may be left out where the site has exactly one",
        example="Spring 2026",
    ),
    Column(
        "status", "choice", choices=STATUS_WORDS, help="what was found, where nothing is measured", example=""
    ),
)
USUAL = (
    Column("dbh_mm", "number", unit="mm", help="a trait of the trial by its code", example="352"),
    Column("height_m", "number", unit="m", help="another trait", example="21.5"),
)
GENERAL = FileKind(NAME, "Measurements", HELP, (*FIXED, *USUAL), ("tree", "measured_on"))


def file_of_traits(
    traits: Sequence[tuple[str, str, str, str, list[int], float | None, float | None]],
) -> FileKind:
    """The file with a column per trait: (code, name, kind, unit, points, minimum, maximum) each.

    Limits are remarked on, not enforced: a tree may be odder than anybody thought.
    """
    columns = [_column(code, name, kind, unit, points) for code, name, kind, unit, points, _, _ in traits]
    limits = {code: (low, high) for code, _, kind, _, _, low, high in traits if kind == "number"}

    def remarks(rows: pd.DataFrame, known: Known, file: str) -> list[str]:
        found = []
        for code, (low, high) in limits.items():
            odd = pd.Series(False, rows.index)
            odd |= rows[code] < low if low is not None else False
            odd |= rows[code] > high if high is not None else False
            if odd.any():
                listed = ", ".join(str(int(n)) for n in rows.loc[odd, "_row"].head(5))
                found.append(
                    f"{code}: {int(odd.sum())} values outside the limits of the trait (row {listed})"
                )
        return found

    return FileKind(NAME, GENERAL.title, HELP, (*FIXED, *columns), GENERAL.key, remarks=remarks)


def _column(code: str, name: str, kind: str, unit: str, points: list[int]) -> Column:
    if kind == "yes_no":
        return Column(code, "choice", choices=("yes", "no"), help=name, example="yes")
    if kind == "text":
        return Column(code, "text", maximum=LONGEST_TEXT, help=name)
    if kind == "ordinal":
        low, high = (min(points), max(points)) if points else (None, None)
        example = str(points[0]) if points else ""
        return Column(code, "integer", minimum=low, maximum=high, help=name, example=example)
    return Column(code, "number", unit=unit, help=name)

"""The files of this room, for the shared upload machine."""

import pandas as pd

from portal.calc.file_spec import Known, Problem
from portal.models import Role
from portal.uploads.registry import Target, UploadKind, register
from trials import actions, queries
from trials.columns import CLONES, LAYOUT
from trials.entries import measurement_rows
from trials.entries.actions import measurement_files
from trials.entries.files import GENERAL


def addresses_taken(target: Target, rows: pd.DataFrame, known: Known, file_name: str) -> list[Problem]:
    """New trees on an address where another tree is stored already."""
    trees = known["trees"]
    taken = {
        (s, int(r), int(c)): t for s, r, c, t in trees[["site", "row", "col", "tree"]].itertuples(index=False)
    }
    problems = []
    for number, site, row, col, tree in rows[["_row", "site", "row", "col", "tree"]].itertuples(index=False):
        holder = taken.get((site, int(row), int(col)))
        if holder is not None and holder != tree:
            problems.append(
                Problem(
                    file_name,
                    int(number),
                    "row",
                    f"row {int(row)}, col {int(col)} of {site}",
                    f"an address that no other tree holds; {holder} stands there",
                )
            )
    return problems


def register_kinds() -> None:
    register(
        UploadKind(
            CLONES,
            "trial",
            frozenset({Role.MANAGER}),
            queries.known_for_clones,
            queries.stored_clones,
            actions.insert_clones,
            actions.replace_clones,
        )
    )
    register(
        UploadKind(
            LAYOUT,
            "trial",
            frozenset({Role.MANAGER}),
            queries.known_for_layout,
            queries.stored_layout,
            actions.insert_layout,
            actions.replace_layout,
            addresses_taken,
        )
    )
    register(
        UploadKind(
            GENERAL,
            "trial",
            frozenset({Role.FIELD_CREW, Role.MANAGER}),
            measurement_rows.known_for_measurements,
            measurement_rows.stored_measurements,
            measurement_files.insert_measurements,
            measurement_files.replace_measurements,
            measurement_rows.assessment_problems,
            file_for=measurement_rows.file_for,
        )
    )

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


def measured_trees_moved(target: Target, rows: pd.DataFrame, known: Known, file_name: str) -> list[Problem]:
    """Trees that would go to another site though they were measured or photographed: assessments are of one site."""
    sites = dict(zip(known["trees"]["tree"], known["trees"]["site"], strict=True))
    moved = [
        (int(number), site, tree)
        for number, site, tree in rows[["_row", "site", "tree"]].itertuples(index=False)
        if sites.get(tree, site) != site
    ]
    found = queries.measured_trees(target.trial, [tree for _, _, tree in moved]) if moved else set()
    return [
        Problem(
            file_name,
            number,
            "site",
            site,
            f"{sites[tree]}, where {tree} was measured; a measured tree stays on its site",
        )
        for number, site, tree in moved
        if tree in found
    ]


def layout_problems(target: Target, rows: pd.DataFrame, known: Known, file_name: str) -> list[Problem]:
    """What a layout cannot do to what is stored."""
    return [
        *addresses_taken(target, rows, known, file_name),
        *measured_trees_moved(target, rows, known, file_name),
    ]


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
            layout_problems,
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

"""Every write of the room: studies, logs, boards and the steps of a board's life."""

from typing import Any

import pandas as pd
from django.db import transaction

from portal import access
from portal.models import Role, Upload, User
from portal.uploads.bulk import copy_columns, json_notes, python_values
from portal.uploads.frames import codes_to_ids
from portal.uploads.registry import Target
from sawing import queries
from sawing.models import Board, Felling, Flitch, Log, Study
from trials.actions import give_own_hues
from trials.models import Trial


def create_study(*, trial: Trial, code: str, name: str, by: User, **fields: Any) -> Study:
    """Start a processing study in a trial. Managers only."""
    access.require(by, trial.pk, [Role.MANAGER])
    with transaction.atomic():
        return Study.objects.create(trial=trial, code=code, name=name, **fields)


def change_study(*, study: Study, by: User, **fields: Any) -> Study:
    """Change the plan of a study (kerfs, bark factor, formula, …); the old plan stays in the history."""
    access.require(by, study.trial_id, [Role.MANAGER])
    with transaction.atomic():
        study = Study.objects.select_for_update().get(pk=study.pk)
        for name, value in fields.items():
            setattr(study, name, value)
        study.save()
        return study


def offer_boards(*, study: Study, by: User, codes: list[str]) -> int:
    """Offer graded boards to follow-on tests. Returns how many were offered; others stay as they are."""
    access.require(by, study.trial_id, [Role.MANAGER])
    with transaction.atomic():
        return study.boards.filter(state="graded", code__in=codes).update(state="available")


def withdraw_boards(*, study: Study, by: User, codes: list[str]) -> int:
    """Take offered boards back that nobody has reserved. Returns how many were."""
    access.require(by, study.trial_id, [Role.MANAGER])
    with transaction.atomic():
        return study.boards.filter(state="available", code__in=codes).update(state="graded")


def insert_logs(target: Target, rows: pd.DataFrame, upload: Upload | None) -> int:
    """Add logs; their trees are marked as felled for the study. Caller holds the study's lock."""
    study = target.study
    trees = codes_to_ids(study.trial.trees.filter(code__in=rows["tree"].unique().tolist()))
    fell_trees(study, list(trees.values()))
    fellings = dict(study.fellings.values_list("tree__code", "pk"))
    return copy_columns(
        Log,
        {
            "study_id": study.pk,
            "upload_id": upload and upload.pk,
            "felling_id": rows["tree"].map(fellings),
            "code": rows["log"],
            **{name: rows[name] for name in queries.LOG_NUMBERS},
            "sections_mm": rows["sections_mm"],
            "bark": rows["bark"].fillna("under"),
            "notes": json_notes(rows),
        },
        len(rows),
    )


def fell_trees(study: Study, tree_ids: list[int]) -> None:
    """Mark trees as felled for a study, those that are not yet; their clones get hues of their own.

    Caller holds the study's lock and has checked the permission.
    """
    felled = set(study.fellings.values_list("tree_id", flat=True))
    new = [pk for pk in tree_ids if pk not in felled]
    clones_of_felled = study.trial.clones.filter(trees__felling__isnull=False).values_list("pk", flat=True)
    shown = list(clones_of_felled)
    Felling.objects.bulk_create(Felling(study=study, tree_id=pk, felled_on=study.felled_on) for pk in new)
    study.trial.trees.filter(pk__in=new).update(status="felled")
    give_own_hues(study.trial, shown=shown, joining=clones_of_felled.all())


def replace_logs(target: Target, rows: pd.DataFrame, upload: Upload) -> int:
    """Overwrite stored logs with the filled cells of these rows. A log never changes its tree this way."""
    return _replace(Log, target.study.logs, rows, "log", [*queries.LOG_NUMBERS, "sections_mm", "bark"])


def insert_boards(target: Target, rows: pd.DataFrame, upload: Upload | None) -> int:
    """Add boards, with the flitches they name. Caller holds the study's lock."""
    study = target.study
    logs = codes_to_ids(study.logs.filter(code__in=rows["log"].unique().tolist()))
    flitches = _ensure_flitches(study, logs, rows, upload)
    named = rows["flitch"].notna()
    flitch_ids = pd.Series(None, rows.index, dtype=object)
    flitch_ids[named] = [flitches[k] for k in zip(rows["log"][named], rows["flitch"][named], strict=True)]
    return copy_columns(
        Board,
        {
            "study_id": study.pk,
            "upload_id": upload and upload.pk,
            "log_id": rows["log"].map(logs),
            "flitch_id": flitch_ids,
            "code": rows["board"],
            "piece": rows["piece"],
            "cell": rows["cell"],
            **{name: rows[name] for name in queries.BOARD_NUMBERS},
            "notes": json_notes(rows),
        },
        len(rows),
    )


def replace_boards(target: Target, rows: pd.DataFrame, upload: Upload) -> int:
    """Overwrite stored boards with the filled cells of these rows. A board never changes its log this way."""
    return _replace(Board, target.study.boards, rows, "board", [*queries.BOARD_NUMBERS, "piece", "cell"])


def _ensure_flitches(
    study: Study, logs: dict[str, int], rows: pd.DataFrame, upload: Upload | None
) -> dict[tuple[str, str], int]:
    named = rows[rows["flitch"].notna()]
    there = queries.flitches_by_log(study)
    wanted = named.drop_duplicates(["log", "flitch"])
    missing = [
        (log, flitch, thickness)
        for log, flitch, thickness in wanted[["log", "flitch", "thickness_mm"]].itertuples(index=False)
        if (log, flitch) not in there
    ]
    if not missing:
        return there
    new = pd.DataFrame(missing, columns=["log", "flitch", "thickness_mm"])
    copy_columns(
        Flitch,
        {
            "study_id": study.pk,
            "upload_id": upload and upload.pk,
            "log_id": new["log"].map(logs),
            "code": new["flitch"],
            "thickness_mm": new["thickness_mm"],
        },
        len(new),
    )
    return queries.flitches_by_log(study)


def _replace(model: Any, stored: Any, rows: pd.DataFrame, key: str, fields: list[str]) -> int:
    found = {obj.code: obj for obj in stored.filter(code__in=rows[key].tolist())}
    lists = {name: python_values(rows[name], len(rows)) for name in fields}
    changed = []
    for position, code in enumerate(rows[key]):
        obj = found[code]
        for name in fields:
            if lists[name][position] is not None:
                setattr(obj, name, lists[name][position])
        changed.append(obj)
    model.objects.bulk_update(changed, fields, batch_size=1000)
    return len(changed)

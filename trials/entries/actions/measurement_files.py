"""Storing files of measurements: each filled cell becomes an entry. Part of the upload machine's actions."""

import datetime as dt
import uuid

import pandas as pd

from portal.models import Upload
from portal.uploads.registry import Target
from trials.calc.standing import SET_ASIDE
from trials.entries.actions.storing import lock_assessments, restand, store_entries
from trials.entries.measurement_rows import Cell, agreed_entries, cells_of, is_new, stored_cells
from trials.models import Entry

FILE_SPACE = uuid.UUID("5f0f3c0a-9a4b-5d0e-8f57-3d5b1c1a7e42")  # ours, drawn once
WORDS = {"yes": 1.0, "no": 0.0}


def insert_measurements(target: Target, rows: pd.DataFrame, upload: Upload) -> int:
    """Store what these rows say and does not stand yet. Caller holds the trial's lock.

    :returns: number of rows, each of which said something new.
    """
    cells = cells_of(target, rows)
    _store(cells, upload)
    return len({c.row for c in cells})


def replace_measurements(target: Target, rows: pd.DataFrame, upload: Upload) -> int:
    """Let these rows stand in place of the values that contradict them; those are set aside, not lost."""
    cells = cells_of(target, rows)
    lock_assessments({c.assessment.pk for c in cells})
    there = stored_cells(cells)
    places = {(c.assessment.pk, c.tree_id, c.name) for c in cells if is_new(c, there)}
    contradicted = [
        e
        for e in agreed_entries(cells).select_related("trait")
        if (e.assessment_id, e.tree_id, e.trait.code if e.trait else "status") in places
    ]
    restand(contradicted, {e.client_id: SET_ASIDE for e in contradicted})
    _store(cells, upload)
    return len(rows)


def _store(cells: list[Cell], upload: Upload) -> None:
    """The same cell of the same file has the same id, so that it can be stored once only."""
    assessments = lock_assessments({c.assessment.pk for c in cells})
    there = stored_cells(cells)
    new = [_entry(c, upload) for c in cells if is_new(c, there)]
    known = set(
        Entry.objects.filter(client_id__in=[e.client_id for e in new]).values_list("client_id", flat=True)
    )
    for entry in new:
        entry.assessment = assessments[entry.assessment_id]
    store_entries([e for e in new if e.client_id not in known])


def _entry(cell: Cell, upload: Upload) -> Entry:
    words = WORDS if cell.trait is not None and cell.trait.kind == "yes_no" else {}
    value = words.get(cell.value, cell.value)
    is_text = cell.trait is not None and isinstance(value, str)
    return Entry(
        client_id=uuid.uuid5(
            FILE_SPACE, f"{upload.sha256}:{upload.trial_id}:{cell.row}:{cell.name}:{cell.value}"
        ),
        assessment=cell.assessment,
        tree_id=cell.tree_id,
        trait=cell.trait,
        kind="value" if cell.trait is not None else cell.value,
        number=None if cell.trait is None or is_text else float(value),
        text=value if is_text else None,
        entered_at=dt.datetime.combine(cell.day, dt.time(12), dt.UTC),
        by_id=upload.by_id,
        upload=upload,
    )

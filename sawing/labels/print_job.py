"""Printing many sheets: a job of the worker, its PDF kept for a week."""

from __future__ import annotations

import time
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings

from portal.jobs.registry import JobRefused, Progress
from sawing.labels import queries
from sawing.labels.sheet_layout import Sheet
from sawing.labels.sheet_pdf import sheets_pdf
from sawing.models import Study

KIND = "label sheets"
KEPT_S = 7 * 24 * 3600


def print_sheets(parameters: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """The job: draw the sheets into one PDF. Done twice it writes the same file again."""
    study = Study.objects.get(pk=parameters["study"])
    sheets = list(queries.all_sheets(study).filter(pk__in=parameters["sheets"]).select_related("serial__log"))
    if not sheets:
        raise JobRefused("The sheets are there no longer.")
    order = {pk: place for place, pk in enumerate(parameters["sheets"])}
    sheets.sort(key=lambda sheet: order[sheet.pk])

    def drawn() -> Iterator[Sheet]:
        for place, sheet in enumerate(sheets):
            progress(place, len(sheets), f"Log {sheet.serial.log.code}")
            yield queries.drawn(sheet)

    content = sheets_pdf(drawn(), f"Label sheets, {study.name}")
    path = file_of(parameters["file"])
    path.parent.mkdir(parents=True, exist_ok=True)
    _forget_old_files(path.parent)
    path.write_bytes(content)
    progress(len(sheets), len(sheets))
    return {"sheets": len(sheets)}


def file_of(name: str) -> Path:
    """Where the PDF of a job lies. `name` is a UUID; ValueError for anything else."""
    return Path(settings.MEDIA_ROOT) / "label_sheets" / f"{uuid.UUID(str(name))}.pdf"


def _forget_old_files(folder: Path) -> None:
    for old in folder.glob("*.pdf"):
        if time.time() - old.stat().st_mtime > KEPT_S:
            old.unlink(missing_ok=True)

"""Every write of the shared upload machine: check, store, mend, replace, set aside."""

import hashlib
from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd
from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.utils import timezone
from psycopg.types.json import Jsonb

from portal import access
from portal.models import HeldRow, Upload, User
from portal.uploads.bulk import NOT_NOTES, copy_columns
from portal.uploads.examine import RESENT, Outcome, examine_file, examine_rows, is_id
from portal.uploads.registry import Target, UploadKind, kind_named

SHOWN_ROWS = 200


class UploadRefused(Exception):
    """The file as a whole cannot be taken. `problems` says why, in the words of the file."""

    def __init__(self, message: str, problems: list[Any] | None = None) -> None:
        super().__init__(message)
        self.problems = problems or []


def check_upload(*, kind_name: str, target: Target, file_name: str, data: bytes, by: User) -> Upload:
    """Keep a file and say what storing it would do. Nothing of its rows is stored yet.

    The same file (by its content) checked again gives the same Upload; stored already, the stored one.

    :raises UploadRefused: the file cannot be read at all; nothing is kept.
    """
    kind = kind_named(kind_name)
    access.require(by, target.trial.pk, kind.roles)
    _require_scope(kind, target)
    kind = kind.at(target)
    digest = hashlib.sha256(data).hexdigest()
    same = Upload.objects.filter(kind=kind_name, trial=target.trial, study=target.study, sha256=digest)
    if stored := same.filter(state="stored").first():
        return stored
    outcome = examine_file(kind, target, data, file_name)
    if outcome.unreadable:
        raise UploadRefused(f"{file_name} cannot be read. Nothing was stored.", outcome.problems)
    with transaction.atomic():
        upload = same.filter(state="checked").first() or Upload(
            kind=kind_name, trial=target.trial, study=target.study, sha256=digest, by=by
        )
        upload.file_name, upload.size_bytes = file_name[:255], len(data)
        _note_outcome(upload, outcome)
        if not upload.content:
            upload.content.save(f"{digest[:16]}.bin", ContentFile(data), save=False)
        upload.save()
    return upload


def store_upload(*, upload_id: int, by: User) -> Upload:
    """Store the good rows of a checked file and hold the others, in one transaction.

    Checks again under a lock, since others may have stored rows meanwhile. A second call changes nothing.

    :raises UploadRefused: a price list with held rows; or the database refused a row. Nothing is then stored.
    """
    upload = Upload.objects.select_related("trial", "study").get(pk=upload_id)
    kind = kind_named(upload.kind)
    access.require(by, upload.trial_id, kind.roles)
    try:
        with transaction.atomic():
            target = _lock(upload)
            kind = kind.at(target)
            upload = Upload.objects.select_for_update(of=("self",)).get(pk=upload_id)
            if upload.state != "checked":
                return upload
            with upload.content.open("rb") as handle:
                outcome = examine_file(kind, target, handle.read(), upload.file_name)
            if kind.whole and outcome.held:
                raise UploadRefused(
                    f"{kind.file.title} are stored entire or not at all: mend the {len(outcome.held)} rows"
                    " in the file and bring it again. Nothing was stored.",
                    outcome.problems,
                )
            added = kind.insert(target, outcome.new, upload) if len(outcome.new) else 0
            _settle_resent(outcome.new, upload, by)
            _note_outcome(upload, outcome)
            upload.held = _hold_rows(upload, outcome)
            upload.added, upload.state, upload.stored_at = added, "stored", timezone.now()
            upload.save()
            return upload
    except IntegrityError as error:
        raise UploadRefused(
            f"The database refused a row: {_first_line(error)} Nothing was stored."
        ) from error


def discard_upload(*, upload_id: int, by: User) -> Upload:
    """Set a checked file aside unstored."""
    with transaction.atomic():
        upload = Upload.objects.select_for_update().get(pk=upload_id)
        access.require(by, upload.trial_id, kind_named(upload.kind).roles)
        if upload.state == "checked":
            upload.state = "discarded"
            upload.save()
        return upload


def mend_rows(*, upload_id: int, rows: Mapping[int, Mapping[str, str]], by: User) -> tuple[int, int]:
    """Check held rows again with new values; store those that are now sound, keep the others with new reasons.

    :param rows: {held row id: {column: text}}
    :returns: (number stored, number still waiting)
    """
    upload = Upload.objects.select_related("trial", "study").get(pk=upload_id)
    kind = kind_named(upload.kind)
    access.require(by, upload.trial_id, kind.roles)
    try:
        with transaction.atomic():
            target = _lock(upload)
            kind = kind.at(target)
            waiting = {
                h.row_number: h
                for h in upload.held_rows.select_for_update().filter(pk__in=list(rows), state="waiting")
            }
            values = {n: {**h.values, **rows[h.pk]} for n, h in waiting.items()}
            outcome = examine_rows(kind, target, values, upload.file_name)
            if outcome.unreadable:
                raise UploadRefused("These rows cannot be read.", outcome.problems)
            if len(outcome.new):
                kind.insert(target, outcome.new, upload)
            differing = set(outcome.differs["_row"]) if len(outcome.differs) else set()
            for number, held in waiting.items():
                held.values = values[number]
                if number in outcome.held:
                    held.problems = [p.to_dict() for p in outcome.held[number][1]]
                    held.differs = number in differing
                else:
                    _settle(held, "stored", by)
                held.save()
            return len(waiting) - len(outcome.held), len(outcome.held)
    except IntegrityError as error:
        raise UploadRefused(
            f"The database refused a row: {_first_line(error)} Nothing was stored."
        ) from error


def replace_stored(*, upload_id: int, held_ids: Iterable[int], by: User) -> int:
    """Put held rows in place of the values stored earlier for the same codes; the old values stay in the history.

    Rows that have other problems, or no stored row to replace, stay as they are. Returns how many were replaced.
    """
    upload = Upload.objects.select_related("trial", "study").get(pk=upload_id)
    kind = kind_named(upload.kind)
    access.require(by, upload.trial_id, kind.roles)
    if kind.replace is None:
        raise UploadRefused(f"Stored {kind.file.title.lower()} cannot be replaced row by row.")
    try:
        with transaction.atomic():
            target = _lock(upload)
            kind = kind.at(target)
            waiting = {
                h.row_number: h
                for h in upload.held_rows.select_for_update().filter(pk__in=list(held_ids), state="waiting")
            }
            outcome = examine_rows(kind, target, {n: h.values for n, h in waiting.items()}, upload.file_name)
            if len(outcome.differs) == 0:
                return 0
            kind.replace(target, outcome.differs, upload)
            for number in outcome.differs["_row"]:
                _settle(waiting[int(number)], "replaced", by)
                waiting[int(number)].save()
            return len(outcome.differs)
    except IntegrityError as error:
        raise UploadRefused(
            f"The database refused a row: {_first_line(error)} Nothing was stored."
        ) from error


def set_aside(*, upload_id: int, held_ids: Iterable[int], by: User) -> int:
    """Settle held rows as not to be stored. They stay on record."""
    with transaction.atomic():
        upload = Upload.objects.get(pk=upload_id)
        access.require(by, upload.trial_id, kind_named(upload.kind).roles)
        rows = list(upload.held_rows.select_for_update().filter(pk__in=list(held_ids), state="waiting"))
        for held in rows:
            _settle(held, "set_aside", by)
            held.save()
        return len(rows)


def _require_scope(kind: UploadKind, target: Target) -> None:
    if kind.scope == "study" and target.study is None:
        raise UploadRefused(f"{kind.file.title} belong to a study: choose one.")
    if kind.scope == "trial" and target.study is not None:
        raise UploadRefused(f"{kind.file.title} belong to the trial, not to a study.")


def _lock(upload: Upload) -> Target:
    """One upload at a time into one place: the row of the study, or of the trial, is the lock."""
    owner = upload.study if upload.study_id else upload.trial
    type(owner).objects.select_for_update(no_key=True).get(pk=owner.pk)
    return Target.of(upload)


def _note_outcome(upload: Upload, outcome: Outcome) -> None:
    upload.rows, upload.added = outcome.rows, len(outcome.new)
    upload.already_there, upload.held = outcome.already_there, len(outcome.held)
    upload.notes = outcome.notes[:SHOWN_ROWS]


def _hold_rows(upload: Upload, outcome: Outcome) -> int:
    """Keep the rows that cannot be stored; returns how many new ones wait."""
    again = _still_held(upload, outcome)
    numbers = [number for number in outcome.held if number not in again]
    differing = set(outcome.differs["_row"]) if len(outcome.differs) else set()
    return copy_columns(
        HeldRow,
        {
            "upload_id": upload.pk,
            "row_number": pd.Series(numbers, dtype=object),
            "values": pd.Series([Jsonb(outcome.held[n][0]) for n in numbers], dtype=object),
            "problems": pd.Series(
                [Jsonb([p.to_dict() for p in outcome.held[n][1]]) for n in numbers], dtype=object
            ),
            "differs": pd.Series([n in differing for n in numbers], dtype=object),
            "state": "waiting",
        },
        len(numbers),
    )


def _still_held(upload: Upload, outcome: Outcome) -> set[int]:
    """Rows of this file that wait already: a re-sent row updates the one it was made from; nothing waits twice.

    Returns the file's row numbers that need no held row of their own.
    """
    place = {"upload__trial": upload.trial, "upload__study": upload.study, "upload__kind": upload.kind}
    waiting = HeldRow.objects.select_for_update(of=("self",)).filter(state="waiting", **place)
    ids = {n: int(v[RESENT]) for n, (v, _) in outcome.held.items() if is_id(str(v.get(RESENT, "")))}
    origins = {h.pk: h for h in waiting.filter(pk__in=list(ids.values()))}
    known = (
        {_identity(values) for values in waiting.values_list("values", flat=True)} if outcome.held else set()
    )
    found: set[int] = set()
    for number, (values, problems) in outcome.held.items():
        origin = origins.get(ids.get(number, 0))
        if origin is not None:
            origin.values = {k: v for k, v in values.items() if k not in NOT_NOTES}
            origin.problems = [p.to_dict() for p in problems]
            origin.save()
            found.add(number)
        elif _identity(values) in known:
            found.add(number)
    return found


def _identity(values: Mapping[str, Any]) -> frozenset[tuple[str, str]]:
    """What makes two held rows the same: their filled cells, whatever the order of columns."""
    return frozenset((k, str(v)) for k, v in values.items() if str(v).strip() and k not in NOT_NOTES)


def _settle_resent(stored: pd.DataFrame, upload: Upload, by: User) -> None:
    """Rows that came back from a downloaded list of held rows settle the rows they were made from."""
    ids = [
        n[RESENT] for n in stored.get("_notes", []) if isinstance(n, dict) and is_id(str(n.get(RESENT, "")))
    ]
    rows = HeldRow.objects.select_for_update().filter(
        pk__in=ids,
        state="waiting",
        upload__trial=upload.trial,
        upload__study=upload.study,
        upload__kind=upload.kind,
    )
    for held in rows:
        _settle(held, "stored", by)
        held.save()


def _settle(held: HeldRow, state: str, by: User) -> None:
    held.state, held.settled_by, held.settled_at = state, by, timezone.now()


def _first_line(error: Exception) -> str:
    return str(error).splitlines()[0].rstrip(".") + "."

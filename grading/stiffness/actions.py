"""Writing taps: typed, brought as a file, heard in a recording."""

import uuid
from datetime import date
from typing import Any

import pandas as pd
from django.db import transaction

from grading.calc.stiffness import MOISTURE_RULES
from grading.graders import GRADERS
from grading.models import GradingPlan, StiffnessReading
from grading.stiffness import queries
from portal import access
from portal.models import Role, Upload, User
from portal.uploads.bulk import copy_columns, json_notes, python_values
from portal.uploads.frames import codes_to_ids
from portal.uploads.registry import Target
from sawing.models import Board, Study


class OtherTap(Exception):
    """A tap cannot be stored under the identity it was sent with; the message says why."""


def keep_tap(*, board: Board, client_id: uuid.UUID, by: User, **values: Any) -> StiffnessReading:
    """Store one tap on a board. The same `client_id` again changes nothing and gives back what is stored.

    :param values: fields of `StiffnessReading`.
    :raises OtherTap: the `client_id` stands for a tap on another board or with another reading.
    """
    access.require(by, board.study.trial_id, GRADERS)
    with transaction.atomic():
        found, _ = StiffnessReading.objects.get_or_create(
            client_id=client_id, defaults={"board": board, "by": by, **values}
        )
        same = found.board_id == board.pk and all(
            getattr(found, name) == values.get(name) for name in ("resonance_hz", "mass_kg", "mc_pct")
        )
        if not same:
            raise OtherTap("This page has stored another tap already: open it anew and type this one again.")
        return found


def set_tap_aside(*, study: Study, pk: int, by: User, back: bool = False) -> StiffnessReading:
    """A tap counts no longer, or counts again. History tells who did it."""
    access.require(by, study.trial_id, GRADERS)
    with transaction.atomic():
        found = StiffnessReading.objects.select_for_update().get(pk=pk, board__study=study)
        if found.set_aside == back:
            found.set_aside = not back
            found.save(update_fields=["set_aside"])
        return found


def choose_rules(*, study: Study, mc_rule: str, classes: str, by: User) -> GradingPlan:
    """Settle by which rule the study's stiffness is brought to 12 %, and its table of classes.

    :raises ValueError: an unknown rule.
    """
    access.require(by, study.trial_id, [Role.MANAGER])
    if mc_rule not in MOISTURE_RULES:
        raise ValueError(f"unknown rule {mc_rule!r}; one of {', '.join(MOISTURE_RULES)}")
    with transaction.atomic():
        plan, _ = GradingPlan.objects.select_for_update().get_or_create(study=study)
        if (plan.mc_rule, plan.classes) != (mc_rule, classes):
            plan.mc_rule, plan.classes = mc_rule, classes
            plan.save()
        return plan


def insert_taps(target: Target, rows: pd.DataFrame, upload: Upload | None) -> int:
    """Add the taps of a file. Caller holds the study's lock."""
    boards = codes_to_ids(target.study.boards.filter(code__in=rows["board"].unique().tolist()))
    return copy_columns(
        StiffnessReading,
        {
            "board_id": rows["board"].map(boards),
            "client_id": pd.Series([uuid.uuid4() for _ in range(len(rows))], rows.index, dtype=object),
            "upload_id": upload and upload.pk,
            "by_id": upload and upload.by_id,
            "read_by": "file",
            "read_on": rows["read_on"],
            **{name: rows[name] for name in queries.TAP_NUMBERS if name != "harmonic"},
            "harmonic": rows["harmonic"].fillna(1).astype(int),
            "note": rows["note"],
            "notes": json_notes(rows),
        },
        len(rows),
    )


def replace_taps(target: Target, rows: pd.DataFrame, upload: Upload) -> int:
    """Overwrite stored taps with the filled cells of these rows; a mass takes the place of a density, and back."""
    fields = [n for n in queries.TAP_NUMBERS if n != "harmonic"] + ["note"]
    lists = {name: python_values(rows[name], len(rows)) for name in fields}
    keys = zip(
        rows["board"], python_values(rows["read_on"], len(rows)), rows["harmonic"].fillna(1), strict=True
    )
    for at, (board, day, mode) in enumerate(keys):
        tap = StiffnessReading.objects.get(**queries.same_tap(target.study, board, _day(day), int(mode)))
        for name in fields:
            if lists[name][at] is not None:
                setattr(tap, name, lists[name][at])
        if lists["mass_kg"][at] is not None:
            tap.density_kg_m3 = None
        elif lists["density_kg_m3"][at] is not None:
            tap.mass_kg = None
        tap.save()
    return len(rows)


def _day(value: Any) -> date | None:
    return value if isinstance(value, date) else None

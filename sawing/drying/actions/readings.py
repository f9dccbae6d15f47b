"""Moisture readings: typed at the stack, weighed in the laboratory, or brought as a file."""

import datetime as dt
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from django.db import transaction

from portal import access
from portal.models import Upload, User
from portal.uploads.bulk import copy_columns
from portal.uploads.frames import codes_to_ids
from portal.uploads.registry import Target
from sawing.calc.moisture import (
    FSP_PCT,
    LEAST_MC_PCT,
    at_20_c_pct,
    oven_dry_mc_pct,
    read_meter,
    sample_concerns,
)
from sawing.drying import queries
from sawing.drying.asked import WRITERS, ReadingAsked, RowsRefusedError, SampleAsked
from sawing.models import Board, MoistureReading, Stack


def keep_readings(
    *,
    stack: Stack,
    rows: Sequence[ReadingAsked],
    read_on: dt.date,
    by: User,
    instrument: str = "",
    species_setting: str = "",
) -> int:
    """Store meter readings of boards of a stack, corrected to 20 °C; all of them or none. Returns how many are new.

    A row sent twice (the same `client_id`) is stored once.

    :raises RowsRefusedError: a board that is not in the stack, a reading nobody can read, a second reading of the same
        place on a board on one day.
    """
    made: dict[int, dict[str, Any]] = {}
    wrong: dict[int, str] = {}
    for at, row in enumerate(rows):
        try:
            meter = read_meter(row.reading, row.temperature_c)
        except ValueError as why:
            wrong[at] = str(why)
            continue
        raw = _number(row.reading)
        made[at] = {
            "method": "meter",
            "raw_pct": raw,
            "mc_pct": meter.mc_pct,
            "above_fsp": meter.above_fsp,
            "temperature_c": row.temperature_c,
            "instrument": instrument,
            "species_setting": species_setting,
            "note": meter.note,
        }
    return _keep(stack, rows, made, wrong, read_on, by)


def keep_samples(*, stack: Stack, rows: Sequence[SampleAsked], read_on: dt.date, by: User) -> int:
    """Store oven-dry samples of boards of a stack; all of them or none. Returns how many are new.

    :raises RowsRefusedError: as for readings; masses that cannot be.
    """
    made: dict[int, dict[str, Any]] = {}
    wrong: dict[int, str] = {}
    for at, row in enumerate(rows):
        concerns = sample_concerns(row.wet_mass_g, row.dry_mass_g)
        if concerns:
            wrong[at] = concerns[0]
            continue
        made[at] = {
            "method": "oven_dry",
            "mc_pct": round(float(oven_dry_mc_pct(row.wet_mass_g, row.dry_mass_g)), 3),
            "wet_mass_g": row.wet_mass_g,
            "dry_mass_g": row.dry_mass_g,
        }
    return _keep(stack, rows, made, wrong, read_on, by)


def _keep(
    stack: Stack,
    rows: Sequence[ReadingAsked] | Sequence[SampleAsked],
    made: dict[int, dict[str, Any]],
    wrong: dict[int, str],
    read_on: dt.date,
    by: User,
) -> int:
    access.require(by, stack.study.trial_id, WRITERS)
    with transaction.atomic():
        stack = Stack.objects.select_for_update().select_related("study").get(pk=stack.pk)
        sent = [row.client_id for row in rows if row.client_id]
        known = set(MoistureReading.objects.filter(client_id__in=sent).values_list("client_id", flat=True))
        boards = queries.boards_by_what_was_read(stack.study, [row.board for row in rows])
        ever = set(stack.placings.values_list("board_id", flat=True))
        stored = set(
            MoistureReading.objects.filter(
                board__in=[b.pk for b in boards.values()], read_on=read_on, set_aside=False
            ).values_list("board_id", "method", "sample")
        )
        new = []
        for at, row in enumerate(rows):
            board = boards.get(row.board)
            if row.client_id in known:
                continue
            if board is None or board.pk not in ever:
                wrong[at] = _stranger(stack, row.board, board)
            elif stack.built_on and read_on < stack.built_on:
                wrong[at] = (
                    f"read on {read_on}, before the stack was built on {stack.built_on}: look at the day"
                )
            elif at in made:
                key = (board.pk, made[at]["method"], row.sample)
                if key in stored:
                    wrong[at] = (
                        f"{board.code} was read on {read_on} already: name the place, or set that one aside"
                    )
                stored.add(key)
                new.append(
                    MoistureReading(
                        board=board, stack=stack, read_on=read_on, sample=row.sample, by=by,
                        client_id=row.client_id, **made[at],
                    )
                )  # fmt: skip
        if wrong:
            raise RowsRefusedError(dict(sorted(wrong.items())))
        MoistureReading.objects.bulk_create(new)
        return len(new)


def _stranger(stack: Stack, text: str, board: Board | None) -> str:
    if board is None:
        return f"{text}: the study has no board of this code"
    return f"{board.code} never lay in stack {stack.code}"


def _number(text: str) -> float | None:
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        return None


def set_aside_reading(*, reading: MoistureReading, by: User, aside: bool = True) -> None:
    """Leave a mistaken reading out of all figures, or let it count again; it stays on record."""
    access.require(by, reading.board.study.trial_id, WRITERS)
    with transaction.atomic():
        MoistureReading.objects.filter(pk=reading.pk).update(set_aside=aside)


# For the upload machine ---------------------------------------------------------------------------


def insert_moisture(target: Target, rows: pd.DataFrame, upload: Upload | None) -> int:
    """Add readings from a file; each goes to the stack its board lay in on that day. Caller holds the study's lock."""
    boards = codes_to_ids(target.study.boards.filter(code__in=rows["board"].unique().tolist()))
    placings = queries.placing_on(target.study, boards.values())
    stacks = [
        queries.stack_at(placings.get(boards[board], []), day)
        for board, day in zip(rows["board"], rows["read_on"], strict=True)
    ]
    return copy_columns(
        MoistureReading,
        {
            "upload_id": upload and upload.pk,
            "by_id": upload and upload.by_id,
            "board_id": rows["board"].map(boards),
            "stack_id": pd.Series(stacks, rows.index, dtype=object),
            "read_on": rows["read_on"],
            **_values(rows),
            "temperature_c": rows["temperature_c"],
            "wet_mass_g": rows["wet_mass_g"],
            "dry_mass_g": rows["dry_mass_g"],
            "note": "",
            **{name: rows[name].fillna("") for name in ("sample", "instrument", "species_setting")},
        },
        len(rows),
    )


def replace_moisture(target: Target, rows: pd.DataFrame, upload: Upload) -> int:
    """Put the readings of these rows in the place of those stored under the same keys."""
    ids = codes_to_ids(target.study.boards.filter(code__in=rows["board"].unique().tolist()))
    values = pd.DataFrame(_values(rows))
    for at, row in zip(values.to_dict("records"), rows.to_dict("records"), strict=True):
        fields = {name: None if pd.isna(value) else value for name, value in at.items()}
        for name in ("temperature_c", "wet_mass_g", "dry_mass_g", "instrument", "species_setting"):
            if not pd.isna(row[name]):
                fields[name] = row[name]
        MoistureReading.objects.filter(
            board=ids[row["board"]],
            read_on=row["read_on"],
            method=fields["method"],
            sample="" if pd.isna(row["sample"]) else row["sample"],
            set_aside=False,
        ).update(**fields)
    return len(rows)


def _values(rows: pd.DataFrame) -> dict[str, pd.Series]:
    """Method, raw and corrected moisture of the rows of a file; a meter from fibre saturation up keeps no number."""
    method = rows["method"].fillna("meter")
    meter, stated = method == "meter", rows["mc_pct"].astype(float)
    corrected = pd.Series(at_20_c_pct(stated, rows["temperature_c"].astype(float)), rows.index).round(2)
    above = meter & (corrected >= FSP_PCT)
    value = corrected.clip(lower=LEAST_MC_PCT).where(meter, stated).where(~above, np.nan)
    return {"method": method, "raw_pct": stated.where(meter), "mc_pct": value, "above_fsp": above}

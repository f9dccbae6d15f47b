"""The stacks of the demo: built before their readings come, taken down before the boards are graded."""

import csv
import datetime as dt
import uuid
from pathlib import Path
from typing import Any

import numpy as np
import pghistory
from django.utils import timezone

from portal.models import User
from sawing.drying.actions import (
    build_stack,
    keep_defects,
    keep_readings,
    keep_yard,
    place_boards,
    release_boards,
)
from sawing.drying.asked import DefectAsked, PlacingAsked, ReadingAsked
from sawing.drying.queries import boards_to_stack
from sawing.models import Stack, Study

LATE_SEED = 2
METER_SD_PCT, BOARD_SD = 0.5, 0.06


def build_stacks(plan: dict[str, Any], folder: Path, study: Study, mill: User) -> None:
    """Make the yard and the stacks that are not there yet, and lay their boards."""
    with pghistory.context(user=mill.pk, command="demo"):
        yard = study.trial.yards.filter(name=plan["yard"]["name"]).first()
        yard = yard or keep_yard(trial=study.trial, by=mill, **_yard(plan["yard"]))
        rows = _rows(folder / "stacks.csv")
        for pile in plan["stacks"]:
            if study.stacks.filter(code=pile["code"]).exists():
                continue
            fields = {name: value for name, value in pile.items() if name != "released_on"}
            stack = build_stack(study=study, by=mill, yard=yard, **fields)
            placings = [
                PlacingAsked(row["board"], int(row["layer"]), int(row["position"]))
                for row in rows
                if row["stack"] == pile["code"]
            ]
            place_boards(stack=stack, placings=placings, placed_on=pile["built_on"], by=mill)


def build_late_stack(plan: dict[str, Any], study: Study, mill: User) -> None:
    """The stack that still dries: built, filled and read on days counted back from today. Once."""
    late = plan["late_stack"]
    if study.stacks.filter(code=late["code"]).exists():
        return
    built = timezone.localdate() - dt.timedelta(days=late["built_days_ago"])
    with pghistory.context(user=mill.pk, command="demo"):
        stack = build_stack(
            study=study,
            by=mill,
            code=late["code"],
            yard=study.trial.yards.get(name=plan["yard"]["name"]),
            built_on=built,
            target_pct=late["target_pct"],
            fillet_thickness_mm=25.0,
            fillet_spacing_mm=500.0,
            note=late["note"],
        )
        free = boards_to_stack(study).filter(nominal_thickness_mm=late["nominal_mm"]).order_by("code")
        codes = list(free.values_list("code", flat=True)[: late["n_boards"]])
        placings = [
            PlacingAsked(code, at // late["across"] + 1, at % late["across"] + 1)
            for at, code in enumerate(codes)
        ]
        place_boards(stack=stack, placings=placings, placed_on=built, by=mill)
        _read_late_stack(late, stack, codes, built, mill)


def _read_late_stack(
    late: dict[str, Any], stack: Stack, codes: list[str], built: dt.date, mill: User
) -> None:
    """Meter readings of boards that dry by M' = -k (M - E) in steps of a day, E the air of each month."""
    rng = np.random.default_rng(LATE_SEED)
    read = codes[:: max(1, len(codes) // late["n_read"])][: late["n_read"]]
    now = late["start_pct"] * np.exp(rng.normal(0, BOARD_SD, len(read)))
    rates = late["rate_per_d"] * np.exp(rng.normal(0, BOARD_SD, len(read)))
    for day in range(max(late["visits_d"]) + 1):
        on = built + dt.timedelta(days=day)
        if day in late["visits_d"]:
            shows = now + rng.normal(0, METER_SD_PCT, len(read))
            rows = [
                ReadingAsked(code, f"{value:.1f}", client_id=uuid.uuid4())
                for code, value in zip(read, shows, strict=True)
            ]
            keep_readings(stack=stack, rows=rows, read_on=on, by=mill, instrument="pin meter 2")
        now = now - rates * (now - late["equilibrium_pct"][on.month - 1])


def take_down_stacks(plan: dict[str, Any], folder: Path, study: Study, mill: User) -> None:
    """Release the stacks that have their day, once, and keep what was seen on their boards."""
    with pghistory.context(user=mill.pk, command="demo"):
        due = {pile["code"]: pile["released_on"] for pile in plan["stacks"] if "released_on" in pile}
        taken_down = [
            release_boards(stack=stack, released_on=due[stack.code], by=mill)
            for stack in study.stacks.filter(code__in=due, state="drying")
        ]
        if taken_down:
            keep_defects(study=study, rows=_defects(folder / "drying_defects.csv"), by=mill)


def _yard(plan: dict[str, Any]) -> dict[str, Any]:
    months = zip(plan["temperature_c"], plan["humidity_pct"], strict=True)
    return {
        "name": plan["name"],
        "under_roof": plan["under_roof"],
        "climate_source": plan["climate_source"],
        "climate": [{"temperature_c": t, "humidity_pct": rh} for t, rh in months],
    }


def _defects(path: Path) -> list[DefectAsked]:
    return [
        DefectAsked(
            board=row["board"],
            kind=row["kind"],
            size_mm=float(row["size_mm"]) if row["size_mm"] else None,
            over_m=float(row["over_m"]) if row["over_m"] else None,
            seen_on=dt.date.fromisoformat(row["seen_on"]),
        )
        for row in _rows(path)
    ]


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))

"""The stacks of the demo: built before their readings come, taken down before the boards are graded."""

import csv
import datetime as dt
from pathlib import Path
from typing import Any

import pghistory

from portal.models import User
from sawing.drying.actions import build_stack, keep_defects, keep_yard, place_boards, release_boards
from sawing.drying.asked import DefectAsked, PlacingAsked
from sawing.models import Study


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

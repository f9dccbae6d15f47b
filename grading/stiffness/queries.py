"""Reading the taps of a study, and what follows from them."""

import datetime as dt
from typing import Any

import pandas as pd
from django.db.models import QuerySet

from grading.calc.stiffness_table import stiffness_table
from grading.models import GradingPlan, StiffnessReading
from portal.uploads.frames import frame
from portal.uploads.registry import Target
from sawing.models import Board, Study

TAP_NUMBERS = [
    "resonance_hz",
    "harmonic",
    "second_hz",
    "length_m",
    "mass_kg",
    "density_kg_m3",
    "mc_pct",
]
TAP_FIELDS = {"board": "board__code", "read_on": "read_on", **{n: n for n in TAP_NUMBERS}, "note": "note"}
BOARD_SIZES = {
    "board_length_m": ("board__dry_length_m", "board__length_m"),
    "board_width_mm": ("board__dry_width_mm", "board__width_mm"),
    "board_thickness_mm": ("board__dry_thickness_mm", "board__thickness_mm"),
}


def mc_rule(study: Study) -> str:
    """By which rule the study brings stiffness to 12 % moisture."""
    plan = GradingPlan.objects.filter(study=study).first()
    return plan.mc_rule if plan else "en384"


def classes_of(study: Study) -> str:
    """Code of the study's table of stiffness classes; "" for the first there is."""
    plan = GradingPlan.objects.filter(study=study).first()
    return plan.classes if plan else ""


def taps_of(study: Study) -> QuerySet[StiffnessReading]:
    """Every tap on the study's boards, those set aside too."""
    return StiffnessReading.objects.filter(board__study=study)


def tap_table(study: Study, board: Board | None = None) -> pd.DataFrame:
    """The taps that count, with what follows from them (see `stiffness_table`), and each board's tree and clone.

    `_row` is the primary key. `board`: of this one only.
    """
    sizes = {f"_{n}_{i}": field for n, fields in BOARD_SIZES.items() for i, field in enumerate(fields)}
    rows = frame(
        taps_of(study)
        .filter(set_aside=False, **({"board": board} if board else {}))
        .order_by("board__code", "pk"),
        {
            **TAP_FIELDS,
            "read_by": "read_by",
            "log": "board__log__code",
            "tree": "board__log__felling__tree__code",
            "clone": "board__log__felling__tree__clone__code",
            **sizes,
            "_row": "pk",
        },
    ).astype(dict.fromkeys([*TAP_NUMBERS, *sizes], float))
    for name in BOARD_SIZES:
        rows[name] = rows[f"_{name}_0"].fillna(rows[f"_{name}_1"])
    return stiffness_table(rows.drop(columns=list(sizes)), mc_rule(study))


def known_for_stiffness(target: Target) -> dict[str, pd.DataFrame]:
    return {"boards": frame(target.study.boards.all(), {"board": "code"})}


def stored_stiffness(target: Target, rows: pd.DataFrame) -> pd.DataFrame:
    """The taps stored of these boards, in the columns of the file; a first mode also without its number."""
    found = frame(
        taps_of(target.study).filter(set_aside=False, board__code__in=rows["board"].unique().tolist()),
        TAP_FIELDS,
    ).astype(dict.fromkeys(TAP_NUMBERS, float))
    unnamed = found[found["harmonic"] == 1].assign(harmonic=float("nan"))
    return pd.concat([found, unnamed], ignore_index=True)


def same_tap(study: Study, board: str, read_on: dt.date | None, harmonic: int) -> dict[str, Any]:
    """The filter that finds a tap by its key."""
    return {
        "board__study": study,
        "board__code": board,
        "read_on": read_on,
        "harmonic": harmonic,
        "set_aside": False,
    }


def taps_on(board: Board) -> list[dict[str, Any]]:
    """The taps on one board with what follows from them; those set aside are marked so."""
    computed = {row["_row"]: row for row in tap_table(board.study, board).to_dict("records")}
    taps = board.stiffness_readings.order_by("read_on", "pk").select_related("by")
    return [{"tap": tap, **computed.get(tap.pk, {})} for tap in taps]

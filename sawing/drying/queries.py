"""Reading yards, stacks, readings and defects, for those who may see the study."""

import datetime as dt
from collections.abc import Iterable
from typing import Any

import pandas as pd
from django.db.models import Count, Max, Min, Q, QuerySet
from django.shortcuts import get_object_or_404

from portal.models import User
from portal.uploads.frames import frame
from portal.uploads.registry import Target
from sawing.calc.equilibrium_moisture import YardClimate
from sawing.calc.label_code import LabelCodeError, decode
from sawing.calc.stack_drying import StackDrying, dry_stack
from sawing.models import Board, BoardCode, DryingDefect, MoistureReading, Stack, StackPlacing, Study, Yard
from sawing.queries import study_for


def stack_for(user: User, trial: str, study: str, code: str) -> Stack:
    """A stack of a study, or 404 for those who do not belong to its trial."""
    return get_object_or_404(
        study_for(user, trial, study).stacks.select_related("study__trial", "yard"), code=code
    )


def yard_for(user: User, trial: str, study: str, pk: int) -> Yard:
    """A yard of the study's trial, or 404."""
    return get_object_or_404(Yard, trial=study_for(user, trial, study).trial, pk=pk)


def stacks_of(study: Study) -> QuerySet[Stack]:
    """The stacks of a study with their boards of today and the day they were last read."""
    return study.stacks.select_related("yard").annotate(
        n_boards=Count("placings", filter=Q(placings__taken_on__isnull=True), distinct=True),
        n_ever=Count("placings", distinct=True),
        last_read=Max("moisture_readings__read_on", filter=Q(moisture_readings__set_aside=False)),
    )


def yards_of(study: Study) -> QuerySet[Yard]:
    return study.trial.yards.annotate(n_stacks=Count("stacks"))


def climate_of(yard: Yard | None) -> YardClimate | None:
    """The climate of a yard; None without a yard or where its months are not all known."""
    if yard is None or len(yard.climate) != 12:
        return None
    try:
        return YardClimate(
            tuple(float(month["temperature_c"]) for month in yard.climate),
            tuple(float(month["humidity_pct"]) for month in yard.climate),
        )
    except (KeyError, TypeError, ValueError):
        return None


def placings_of(stack: Stack) -> QuerySet[StackPlacing]:
    """Boards in a stack now, in the order of its layers."""
    return stack.placings.filter(taken_on__isnull=True).select_related("board__log__felling__tree__clone")


def taken_out_of(stack: Stack) -> QuerySet[StackPlacing]:
    """Placings that ended before their boards were dry, each with its reason."""
    ended = stack.placings.filter(taken_on__isnull=False).exclude(taken_why="")
    return ended.select_related("board").order_by("-taken_on", "board__code")


def first_day(stack: Stack) -> dt.date | None:
    """The day a stack was built, or the first day a board lay in it."""
    return stack.built_on or stack.placings.aggregate(first=Min("placed_on"))["first"]


READING_FIELDS = {
    "board": "board__code",
    "read_on": "read_on",
    "mc_pct": "mc_pct",
    "above_fsp": "above_fsp",
    "method": "method",
    "raw_pct": "raw_pct",
    "temperature_c": "temperature_c",
    "sample": "sample",
    "instrument": "instrument",
    "pk": "pk",
}


def reading_frame(readings: QuerySet[MoistureReading]) -> pd.DataFrame:
    """Readings that count, as `sawing.calc.stack_drying` reads them."""
    found = frame(readings.filter(set_aside=False).order_by("read_on", "pk"), READING_FIELDS)
    return found.astype({"mc_pct": float, "raw_pct": float, "temperature_c": float, "above_fsp": bool})


def drying_of(stack: Stack, today: dt.date) -> tuple[StackDrying | None, pd.DataFrame]:
    """What is computed of a stack at a day (its release, once released), and its readings; None without a first day."""
    readings = reading_frame(stack.moisture_readings.all())
    start = first_day(stack) or (min(readings["read_on"]) if len(readings) else None)
    if start is None:
        return None, readings
    day = stack.released_on or today
    return dry_stack(readings, climate_of(stack.yard), start, day, stack.target_pct), readings


def boards_read_last(stack: Stack, most: int = 40) -> list[str]:
    """Codes of the boards read at the last visit, in the order of the stack: those to read again."""
    last = stack.moisture_readings.filter(set_aside=False).aggregate(last=Max("read_on"))["last"]
    if last is None:
        return []
    read = stack.moisture_readings.filter(read_on=last, set_aside=False).values_list("board_id", flat=True)
    inside = stack.placings.filter(taken_on__isnull=True, board__in=set(read))
    return list(inside.values_list("board__code", flat=True)[:most])


def boards_by_what_was_read(study: Study, texts: Iterable[str]) -> dict[str, Board]:
    """{text: board} for board codes as typed or scanned, and for label codes known on a board; unknown ones are absent.

    A code may differ from the stored one in capitals and blanks, as long as one board fits.
    """
    wanted = {text: text.strip() for text in texts if text.strip()}
    exact = {b.code: b for b in study.boards.filter(code__in=set(wanted.values()))}
    found = {text: exact[code] for text, code in wanted.items() if code in exact}
    rest = {text: code for text, code in wanted.items() if text not in found}
    if rest:
        plain: dict[str, list[Board]] = {}
        for board in study.boards.all():
            plain.setdefault("".join(board.code.split()).casefold(), []).append(board)
        for text, code in rest.items():
            like = plain.get("".join(code.split()).casefold(), [])
            board = like[0] if len(like) == 1 else _board_of_label(study, code)
            if board is not None:
                found[text] = board
    return found


def _board_of_label(study: Study, text: str) -> Board | None:
    try:
        code = decode(text)
    except LabelCodeError:
        return None
    label = (
        BoardCode.objects.filter(
            board__study=study,
            withdrawn_at__isnull=True,
            sheet__serial__number=code.serial,
            sheet__end=code.end_word,
            row=code.row,
            col=code.col,
        )
        .select_related("board")
        .first()
    )
    return label.board if label else None


def boards_to_stack(study: Study) -> QuerySet[Board]:
    """Boards off the saw that lie in no stack."""
    return (
        study.boards.filter(state="sawn")
        .exclude(placings__taken_on__isnull=True, placings__isnull=False)
        .select_related("log__felling__tree__clone")
    )


def defects_of(study: Study) -> QuerySet[DryingDefect]:
    return DryingDefect.objects.filter(board__study=study).select_related(
        "board__log__felling__tree__clone", "by"
    )


def sized_boards(study: Study) -> QuerySet[Board]:
    """Boards with a dry thickness or width."""
    return study.boards.filter(
        Q(dry_thickness_mm__isnull=False) | Q(dry_width_mm__isnull=False)
    ).select_related("log__felling__tree__clone")


def drying_story(board: Board) -> dict[str, Any]:
    """What is known of a board's drying: the stacks it lay in, its readings, what drying did to it."""
    return {
        "placings": list(board.placings.select_related("stack__study__trial").order_by("placed_on", "pk")),
        "readings": list(board.moisture_readings.filter(set_aside=False).order_by("read_on", "pk")),
        "defects": list(board.drying_defects.filter(set_aside=False)),
    }


def last_moisture(study: Study) -> dict[int, float]:
    """{board id: its latest moisture content in %} of boards ever read, set-aside readings left out."""
    found = MoistureReading.objects.filter(board__study=study, set_aside=False, mc_pct__isnull=False)
    return dict(found.order_by("read_on", "pk").values_list("board_id", "mc_pct"))


def calibration_pairs(study: Study) -> pd.DataFrame:
    """Meter readings beside the oven-dry sample of the same board and day: board, clone, reading and oven dry in %.

    Several meter readings of a board and day are averaged. The reading is the meter's, before any correction.
    """
    readings = frame(
        MoistureReading.objects.filter(board__study=study, set_aside=False),
        {**READING_FIELDS, "clone": "board__log__felling__tree__clone__code"},
    )
    readings = readings.astype({"mc_pct": float, "raw_pct": float})
    by = ["board", "clone", "read_on"]
    meter = readings[(readings["method"] == "meter") & ~readings["above_fsp"].astype(bool)]
    oven = readings[readings["method"] == "oven_dry"]
    return (
        meter.groupby(by, as_index=False)["raw_pct"]
        .mean()
        .merge(oven.groupby(by, as_index=False)["mc_pct"].mean(), on=by)
        .dropna()
    )


# For the upload machine ---------------------------------------------------------------------------


def known_for_moisture(target: Target) -> dict[str, pd.DataFrame]:
    """The boards of the study."""
    return {"boards": frame(target.study.boards.all(), {"board": "code"})}


def stored_moisture(target: Target, rows: pd.DataFrame) -> pd.DataFrame:
    """The readings stored of these boards, in the columns of the file; one a key, a meter with and without its name."""
    stored = frame(
        MoistureReading.objects.filter(
            board__study=target.study, board__code__in=rows["board"].unique().tolist(), set_aside=False
        ).order_by("pk"),
        {
            "board": "board__code",
            "read_on": "read_on",
            "method": "method",
            "sample": "sample",
            "raw_pct": "raw_pct",
            "mc_pct": "mc_pct",
            "temperature_c": "temperature_c",
            "wet_mass_g": "wet_mass_g",
            "dry_mass_g": "dry_mass_g",
            "instrument": "instrument",
            "species_setting": "species_setting",
        },
    ).astype({"raw_pct": float, "mc_pct": float})
    meter = stored["method"] == "meter"
    stored["mc_pct"] = stored["raw_pct"].where(meter & stored["raw_pct"].notna(), stored["mc_pct"])
    for name in ("sample", "instrument", "species_setting"):
        stored[name] = stored[name].where(stored[name] != "", None)
    unnamed = stored[meter].assign(method=None)
    both = pd.concat([stored, unnamed], ignore_index=True).drop(columns="raw_pct")
    return both.drop_duplicates(["board", "read_on", "method", "sample"], keep="last")


def placing_on(study: Study, boards: Iterable[int]) -> dict[int, list[Any]]:
    """{board id: its placings as (stack id, placed on, taken on)}, latest first."""
    found: dict[int, list[Any]] = {}
    rows = StackPlacing.objects.filter(stack__study=study, board__in=list(boards)).order_by(
        "-placed_on", "-pk"
    )
    for board, *placing in rows.values_list("board_id", "stack_id", "placed_on", "taken_on"):
        found.setdefault(board, []).append(placing)
    return found


def stack_at(placings: list[Any], day: dt.date) -> int | None:
    """The stack a board lay in on a day, else the one it went into first after it; None without any."""
    inside = [s for s, placed, taken in placings if placed <= day and (taken is None or day <= taken)]
    later = [s for s, placed, _ in placings if placed > day]
    return inside[0] if inside else later[-1] if later else None

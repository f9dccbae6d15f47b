"""Reading flitches, what was cut from them, kept results and tables of scenarios, for those who may see the study."""

import hashlib
import json
from collections import defaultdict
from typing import Any

import pandas as pd
from django.db.models import Count, Max, OuterRef, QuerySet, Subquery
from django.shortcuts import get_object_or_404

from portal.models import User
from portal.uploads.frames import frame
from portal.uploads.registry import Target
from sawing.calc.dock_flitch import Flitch
from sawing.calc.log_to_flitch import LogShape
from sawing.docking.outlines import (
    EDGES,
    Outlines,
    counted_mm,
    from_stations,
    predicted_of_log,
    shape_of,
)
from sawing.models import Board, DockResult, LabelSheet, PlanComparison, ScenarioTable, Study
from sawing.models import Flitch as FlitchRow
from sawing.queries import study_for

KNOWN_LOGS = {"log": "code", "length_m": "length_m"}


def flitches_of(study: Study) -> QuerySet[FlitchRow]:
    """The flitches of a study with their number of boards, nominal thickness of these, and best kept volume."""
    latest = DockResult.objects.filter(flitch=OuterRef("pk")).order_by("-created_at", "-pk")
    return study.flitches.select_related("log").annotate(
        n_boards=Count("boards"),
        nominal_mm=Max("boards__nominal_thickness_mm"),
        kept_m3=Subquery(latest.values("volume_m3")[:1]),
    )


def flitch_for(user: User, trial: str, study: str, pk: int) -> FlitchRow:
    """A flitch of a study, or 404 for those who do not belong to its trial."""
    return get_object_or_404(flitches_of(study_for(user, trial, study)), pk=pk)


def results_of(flitch: FlitchRow) -> QuerySet[DockResult]:
    """What was kept of a flitch, latest first."""
    return flitch.dock_results.select_related("by")


def table_for(user: User, trial: str, study: str, pk: int) -> ScenarioTable:
    """A table of scenarios of a study, or 404."""
    tables = study_for(user, trial, study).scenario_tables.select_related("job", "by", "study__trial")
    return get_object_or_404(tables, pk=pk)


def traces_by_labels(study: Study) -> bool:
    """Whether the logs of the study carry label sheets, so that boards are known by their ends."""
    return LabelSheet.objects.filter(serial__log__study=study).exists()


def outlines_of(study: Study, rows: list[FlitchRow]) -> dict[int, Outlines]:
    """The outlines of flitches (rows of flitches_of) of one study: {id: outlines}.

    The prediction for a flitch looks at all flitches of its log, since they share the log between them.
    """
    wanted = {row.pk for row in rows}
    by_log: dict[int, list[FlitchRow]] = defaultdict(list)
    for row in flitches_of(study).filter(log__in={row.log_id for row in rows}):
        by_log[row.log_id].append(row)
    found: dict[int, Outlines] = {}
    for siblings in by_log.values():
        counted = {row.pk: counted_mm(row, study, row.nominal_mm) for row in siblings}
        shape = shape_of(siblings[0].log, study.bark_factor)
        predicted = predicted_of_log(study, shape, siblings, counted) if shape else {}
        for row in siblings:
            if row.pk in wanted:
                found[row.pk] = Outlines(_stored(row, counted[row.pk]), predicted.get(row.pk))
    return found


def _stored(row: FlitchRow, counted: float | None) -> Flitch | None:
    if not row.outline or not counted:
        return None
    return from_stations(row.code, row.log.code, counted, row.outline)


def boards_by_flitch(study: Study) -> dict[int, list[Board]]:
    """The boards of a study by the flitch they were edged from, in the order of their pieces."""
    found: dict[int, list[Board]] = defaultdict(list)
    for board in study.boards.filter(flitch__isnull=False).order_by("flitch", "piece", "code"):
        found[board.flitch_id or 0].append(board)
    return found


COMPARED_FIELDS = {
    "boards": "pk flitch piece code cell length_m width_mm thickness_mm nominal_width_mm nominal_thickness_mm",
    "flitches": "pk log code thickness_mm outline outline_from",
    "logs": "pk code bark length_m sed1_mm sed2_mm led1_mm led2_mm sweep_mm",
}
"""What plans and cuts rest on, table by table."""


def comparison_of(study: Study) -> PlanComparison | None:
    """What is kept of the plans of a study beside its cuts."""
    return PlanComparison.objects.filter(study=study).select_related("job", "by").first()


def comparison_key(study: Study, rules: dict[str, Any], code_version: str) -> tuple[str, int]:
    """What tells whether a comparison still holds (a hash of all it rests on), and how many flitches have boards."""
    tables = {
        "boards": study.boards.filter(flitch__isnull=False),
        "flitches": study.flitches.all(),
        "logs": study.logs.all(),
    }
    rows = {
        name: list(found.order_by("pk").values_list(*COMPARED_FIELDS[name].split()))
        for name, found in tables.items()
    }
    plan = [study.headsaw_kerf_mm, study.bark_factor, study.sweep_position, study.thicknesses_mm]
    key = json.dumps([code_version, rules, plan, rows], sort_keys=True)
    return hashlib.sha256(key.encode()).hexdigest(), len({board[1] for board in rows["boards"]})


def shapes_of(study: Study) -> tuple[list[LogShape], list[str]]:
    """The logs of a study as they are sawn, and the codes of those that cannot be (over bark, no bark factor)."""
    shapes, without = [], []
    for log in study.logs.order_by("code"):
        shape = shape_of(log, study.bark_factor)
        if shape is None:
            without.append(log.code)
        else:
            shapes.append(shape)
    return shapes, without


def known_for_flitches(target: Target) -> dict[str, pd.DataFrame]:
    """The logs of the study with their length."""
    return {"logs": frame(target.study.logs.all(), KNOWN_LOGS)}


def stored_flitches(target: Target, rows: pd.DataFrame) -> pd.DataFrame:
    """The stations stored for the flitches of these rows, in the columns of the file."""
    pairs = set(zip(rows["log"], rows["flitch"], strict=True))
    stations: list[dict[str, Any]] = []
    found = target.study.flitches.filter(outline__isnull=False, log__code__in={log for log, _ in pairs})
    for row in found.select_related("log"):
        if (row.log.code, row.code) in pairs:
            head = {"flitch": row.code, "log": row.log.code, "thickness_mm": row.thickness_mm}
            stations += [{**head, **station} for station in row.outline]
    return pd.DataFrame(stations, columns=["flitch", "log", "thickness_mm", *EDGES])

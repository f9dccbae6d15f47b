"""Every write of docking: outlines brought or traced, results kept, scenarios asked for."""

import hashlib
import json
from typing import Any

import pandas as pd
from django.db import transaction
from django.utils import timezone

from portal import access
from portal.jobs.actions import start_job
from portal.models import Role, Upload, User
from portal.uploads.registry import Target
from sawing.calc.dock_flitch import Flitch, flitches_of
from sawing.calc.dock_results import Docked
from sawing.docking.outlines import stations_of
from sawing.models import DockResult, Log, OutlineFrom, PlanComparison, ScenarioTable, Study
from sawing.models import Flitch as FlitchRow

WRITERS = (Role.MILL, Role.MANAGER)
CODE_VERSION = "dock 1"
"""Changes when the same input may give another result."""
JOB_KIND = "dock_scenarios"
COMPARE_KIND = "dock_comparison"


def insert_flitches(target: Target, rows: pd.DataFrame, upload: Upload | None) -> int:
    """Store the outlines in checked rows, over older ones of the same flitches. Caller holds the study's lock.

    Returns the number of stations.
    """
    found, problems = flitches_of(rows, "")
    assert not problems
    for flitch in found:
        log = target.study.logs.get(code=flitch.log)
        _store_outline(log, flitch, OutlineFrom.MEASURED, upload)
    return len(rows)


def save_tracing(*, study: Study, log: Log, flitch: Flitch, by: User) -> FlitchRow:
    """Store the outline of a flitch as traced over a picture; the older one stays in the history. Mill or managers.

    The flitch is made where the log has none of that code.
    """
    access.require(by, study.trial_id, WRITERS)
    with transaction.atomic():
        return _store_outline(log, flitch, OutlineFrom.TRACED, None)


def _store_outline(log: Log, flitch: Flitch, source: OutlineFrom, upload: Upload | None) -> FlitchRow:
    row = FlitchRow.objects.select_for_update().filter(log=log, code=flitch.flitch).first()
    row = row or FlitchRow(study=log.study, log=log, code=flitch.flitch)
    row.thickness_mm = flitch.thickness_mm
    row.outline, row.outline_from = stations_of(flitch), source
    if upload is not None:
        row.upload = upload
    row.save()
    return row


def keep_result(
    *, row: FlitchRow, outline: Flitch, source: str, rules: dict[str, Any], docked: Docked, by: User
) -> tuple[DockResult, bool]:
    """Keep a plan with the outline and the rules it rests on. The same again changes nothing. Mill or managers.

    Returns the result and whether it is new.
    """
    access.require(by, row.study.trial_id, WRITERS)
    stations = stations_of(outline)
    key = json.dumps([CODE_VERSION, outline.thickness_mm, stations, rules], sort_keys=True)
    with transaction.atomic():
        return DockResult.objects.get_or_create(
            flitch=row,
            input_hash=hashlib.sha256(key.encode()).hexdigest(),
            defaults={
                "outline_from": "predicted" if source == "predicted" else row.outline_from,
                "outline": stations,
                "rules": rules,
                "result": docked.to_dict(),
                "volume_m3": docked.volume_m3,
                "code_version": CODE_VERSION,
                "by": by,
            },
        )


def start_scenarios(
    *, study: Study, name: str, ways: list[dict[str, Any]], wide_mm: float, link: Any, by: User
) -> ScenarioTable:
    """Ask for a table of scenarios, worked out by a job. Mill or managers.

    :param ways: parameters of each scenario, as scenario_from reads them.
    :param link: link(table) gives the address of its page.
    """
    access.require(by, study.trial_id, WRITERS)
    with transaction.atomic():
        table = ScenarioTable.objects.create(
            study=study, name=name, parameters={"ways": ways, "wide_mm": wide_mm}, by=by
        )
        table.job = start_job(
            kind=JOB_KIND,
            title=f"Scenarios of {study.name}: {name}"[:200],
            by=by,
            trial=study.trial,
            parameters={"table": table.pk},
            link=link(table),
        )
        table.save()
    return table


def store_scenarios(*, table: ScenarioTable, result: dict[str, Any], input_hash: str, by: User) -> None:
    """Store what came of a table of scenarios. Whoever asked for it must still be allowed to."""
    access.require(by, table.study.trial_id, WRITERS)
    with transaction.atomic():
        table = ScenarioTable.objects.select_for_update().get(pk=table.pk)
        table.result, table.input_hash, table.code_version = result, input_hash, CODE_VERSION
        table.save()


def start_comparison(*, study: Study, link: str, by: User) -> PlanComparison:
    """Ask for the plans of a study beside its cuts, worked out by a job. What is kept stays until the job is done.

    Asked again while the job runs, nothing is added. Mill or managers.
    """
    access.require(by, study.trial_id, WRITERS)
    with transaction.atomic():
        kept, _ = PlanComparison.objects.get_or_create(study=study, defaults={"by": by})
        kept = PlanComparison.objects.select_for_update(of=("self",)).select_related("job").get(pk=kept.pk)
        if kept.job is not None and not kept.job.ended:
            return kept
        kept.job = start_job(
            kind=COMPARE_KIND,
            title=f"Planned and cut in {study.name}"[:200],
            by=by,
            trial=study.trial,
            parameters={"comparison": kept.pk},
            link=link,
        )
        kept.by = by
        kept.save()
        return kept


def keep_comparison(*, study: Study, result: dict[str, Any], input_hash: str, by: User) -> PlanComparison:
    """Keep what came of comparing plans and cuts, in the place of what was kept before.

    It holds nothing but what follows from the study, so whoever may see the study may have it kept.
    """
    access.require(by, study.trial_id, access.INSIDE)
    with transaction.atomic():
        kept, _ = PlanComparison.objects.update_or_create(
            study=study,
            defaults={"result": result, "input_hash": input_hash, "by": by, "computed_at": timezone.now()},
        )
        return kept

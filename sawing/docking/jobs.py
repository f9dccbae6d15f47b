"""The jobs that work out a table of scenarios, and the plans of a study beside its cuts."""

import hashlib
import json
from typing import Any

from portal.jobs.registry import JobRefused, Progress
from sawing.calc.dock_scenarios import Scenario, compare
from sawing.docking import queries
from sawing.docking.actions import CODE_VERSION, keep_comparison, store_scenarios
from sawing.docking.comparing import compared_study
from sawing.docking.ways import first_rules, rules_from, scenario_from
from sawing.models import PlanComparison, ScenarioTable


def run_scenarios(parameters: dict[str, Any], progress: Progress) -> dict[str, Any] | None:
    """Work out a table and store it. Begun twice, it only does the same again."""
    table = ScenarioTable.objects.select_related("study", "by").get(pk=parameters["table"])
    shapes, without = queries.shapes_of(table.study)
    if not shapes:
        raise JobRefused(
            "The study has no logs whose shape is known under bark: bring logs, or a bark factor."
        )
    try:
        scenarios: list[Scenario] = [scenario_from(way) for way in table.parameters["ways"]]
        found = compare(shapes, scenarios, wide_mm=table.parameters["wide_mm"], progress=progress)
    except ValueError as error:
        raise JobRefused(str(error)) from None
    key = json.dumps([CODE_VERSION, [repr(shape) for shape in shapes], table.parameters], sort_keys=True)
    result = {"rows": [row.to_dict() for row in found], "left_out": without}
    store_scenarios(
        table=table, result=result, input_hash=hashlib.sha256(key.encode()).hexdigest(), by=table.by
    )
    return {"scenarios": len(found), "logs": len(shapes)}


def run_comparison(parameters: dict[str, Any], progress: Progress) -> dict[str, Any] | None:
    """Compare plans and cuts of a study and keep it. Begun twice, it only does the same again."""
    kept = PlanComparison.objects.select_related("study__trial", "by").get(pk=parameters["comparison"])
    study = kept.study
    given = first_rules(study, queries.traces_by_labels(study))
    key, _ = queries.comparison_key(study, given, CODE_VERSION)  # before reading: a later change shows as one
    try:
        result = compared_study(study, rules_from(given), progress)
    except ValueError as error:
        raise JobRefused(f"The study's plan: {error}.") from None
    keep_comparison(study=study, result=result, input_hash=key, by=kept.by)
    return {"flitches": len(result["rows"])}

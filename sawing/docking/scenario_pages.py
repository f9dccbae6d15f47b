"""Tables of scenarios: asking for one, watching it, reading it."""

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from portal import access
from portal.tables import Column, Table
from sawing.docking import actions, queries
from sawing.docking.forms import ScenariosForm
from sawing.docking.links import table_url
from sawing.docking.views import page
from sawing.docking.ways import usual_ways
from sawing.models import ScenarioTable
from sawing.queries import study_for


@require_http_methods(["GET", "POST"])
def scenarios(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The tables of a study, and the form that asks for another."""
    found = study_for(request.user, trial, study)
    may_write = access.may(request.user, found.trial_id, actions.WRITERS)
    if request.method == "POST" and not may_write:
        raise PermissionDenied("Scenarios are asked for by mill staff and by the trial's managers.")
    ways = usual_ways(found, queries.traces_by_labels(found))
    form = ScenariosForm(request.POST or None, ways=ways)
    n_logs = found.logs.count()
    if request.method == "POST" and form.is_valid() and n_logs:
        table = actions.start_scenarios(
            study=found,
            name=form.cleaned_data["name"],
            ways=form.chosen(),
            wide_mm=form.cleaned_data["wide_mm"],
            link=table_url,
            by=request.user,
        )
        return redirect(table_url(table))
    context = page(
        found,
        form=form,
        may_write=may_write,
        n_logs=n_logs,
        tables=[{"table": t, "url": table_url(t)} for t in found.scenario_tables.select_related("job", "by")],
    )
    return render(request, "sawing/docking/scenarios.html", context, status=422 if form.errors else 200)


@require_GET
def scenario_table(request: HttpRequest, trial: str, study: str, pk: int) -> HttpResponse:
    """One table: how far its job is, or what came of it."""
    found = queries.table_for(request.user, trial, study, pk)
    context = page(found.study, scenarios=found)
    if found.result:
        table = _result(request, found)
        if table.asked_for_download:
            return table.download()
        rows = found.result["rows"]
        context |= {"table": table, "first": rows[0], "left_out": ", ".join(found.result["left_out"])}
        context["wide_mm"] = found.parameters["wide_mm"]
    context["may_stop"] = access.may(request.user, found.study.trial_id, actions.WRITERS)
    return render(request, "sawing/docking/scenario_table.html", context)


def _result(request: HttpRequest, found: ScenarioTable) -> Table:
    rows: list[dict[str, Any]] = (found.result or {})["rows"]
    wide_mm = found.parameters["wide_mm"]
    first = rows[0]["recovery"]
    listed = [
        {
            **row,
            "number": at,
            "against_first": row["recovery"] - first
            if first is not None and row["recovery"] is not None
            else None,
        }
        for at, row in enumerate(rows, start=1)
    ]
    priced = any(way["rules"].get("prices") for way in found.parameters["ways"])
    value = [Column("value_per_m3_log", "Value per m³ log", kind="number", digits=2)] if priced else []
    return Table(
        request,
        rows=listed,
        columns=[
            Column("number", "No.", kind="integer"),
            Column("name", "Way of sawing", key=True),
            Column("recovery", "Recovery", kind="percent", key=True),
            Column("against_first", "Against no. 1", kind="percent", key=True),
            Column(
                "wide_share",
                "Wide",
                kind="percent",
                help=f"Share of the boards' volume from {wide_mm:g} mm on.",
            ),
            *value,
            Column(
                "gain_over_no_dock", "Docking gains", kind="percent", help="Over the best without a dock."
            ),
            Column(
                "gain_over_middle",
                "Over the middle",
                kind="percent",
                help="Over docking each at half length.",
            ),
            Column("share_of_bound", "Of the bound", kind="percent"),
            Column("docked_flitches", "Docked", kind="integer"),
            Column("boards", "Boards", kind="integer"),
        ],
        what="way of sawing",
        whats="ways of sawing",
        order="number",
        file_name=f"{found.study.code}_scenarios_{found.pk}",
    )

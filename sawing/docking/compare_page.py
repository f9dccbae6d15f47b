"""The best plan of every flitch beside what was cut from it, and where the difference went."""

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from portal import access
from portal.calc import shown
from portal.tables import Column, Table
from sawing.calc.dock_compare import Difference
from sawing.docking import actions, queries
from sawing.docking.comparing import compared_study
from sawing.docking.links import dock_url, flitch_url
from sawing.docking.views import page
from sawing.docking.ways import first_rules, rules_from
from sawing.links import log_url
from sawing.models import PlanComparison, Study
from sawing.queries import study_for

AT_ONCE = 200
"""Flitches compared while the page waits, about a second with the reading; more of them are left to a job."""


@require_http_methods(["GET", "POST"])
def compare(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """For each flitch with boards: the best plan under the study's rules, what was cut, where the difference went.

    A post has it computed anew by a job.
    """
    found = study_for(request.user, trial, study)
    may_write = access.may(request.user, found.trial_id, actions.WRITERS)
    if request.method == "POST":
        if not may_write:
            raise PermissionDenied(
                "Plans and cuts are compared anew by mill staff and by the trial's managers."
            )
        actions.start_comparison(study=found, link=dock_url(found, "dock_compare"), by=request.user)
        return redirect(request.path)
    by_labels = queries.traces_by_labels(found)
    given = first_rules(found, by_labels)
    key, n_flitches = queries.comparison_key(found, given, actions.CODE_VERSION)
    kept = queries.comparison_of(found)
    context = page(found, may_write=may_write, n_flitches=n_flitches, by_labels=by_labels)
    try:
        context["rules"] = rules = rules_from(given)
        if n_flitches and n_flitches <= AT_ONCE and (kept is None or kept.input_hash != key):
            result = compared_study(found, rules)
            kept = actions.keep_comparison(study=found, result=result, input_hash=key, by=request.user)
    except ValueError as error:
        return render(
            request, "sawing/docking/compare.html", {**context, "wrong": f"The study's plan: {error}."}
        )
    if kept is not None and kept.result is not None and n_flitches:
        table = _table(request, found, kept.result["rows"])
        if table.asked_for_download:
            return table.download()
        context |= _shown(kept, table)
    changed = kept is not None and kept.result is not None and kept.input_hash != key
    running = kept is not None and kept.job is not None and not kept.job.ended
    return render(
        request,
        "sawing/docking/compare.html",
        {**context, "kept": kept, "changed": changed, "running": running, "many": n_flitches > AT_ONCE},
    )


def _shown(kept: PlanComparison, table: Table) -> dict[str, Any]:
    result = kept.result or {}
    left_out = result["left_out"]
    return {
        "table": table,
        "total": Difference(**result["total"]),
        "left_out": shown.counted(left_out, "flitch", "flitches") if left_out else "",
        "guessed": result["guessed"],
    }


def _table(request: HttpRequest, study: Study, rows: list[dict[str, Any]]) -> Table:
    return Table(
        request,
        rows=rows,
        columns=[
            Column(
                "log", "Log", kind="code", key=True, url=lambda r: log_url(study, r["log"]), filter="contains"
            ),
            Column("flitch", "Flitch", kind="code", key=True, url=lambda r: flitch_url(study, r["pk"])),
            Column("outline", "Outline", filter="choice"),
            Column("planned_m3", "Best plan", kind="cubic_metres", digits=5),
            Column("cut_m3", "Cut", kind="cubic_metres", digits=5),
            Column("total_m3", "Difference", kind="cubic_metres", digits=5, key=True),
            Column("lengths_m3", "in lengths", kind="cubic_metres", digits=5),
            Column("widths_m3", "in widths", kind="cubic_metres", digits=5),
            Column("thickness_m3", "in thickness", kind="cubic_metres", digits=5),
            Column("docks", "Docks planned", kind="integer"),
            Column("cut_docks", "Docks made", kind="integer"),
        ],
        what="flitch",
        whats="flitches",
        order="log",
        file_name=f"{study.code}_planned_and_cut",
    )

"""The page of a study: balance, recovery, out-turn, value, by clone with intervals."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from grading.links import boards_url
from portal.tables import Column, Table
from portal.uploads.queries import manager_of
from reports import queries, show
from reports.forms import FiguresForm
from sawing.models import Study
from sawing.queries import state_counts, study_for


@require_GET
def study(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    found = study_for(request.user, trial, study)
    form = FiguresForm(request.GET or None, study=found)
    choice = form.choice()
    if form.is_bound and form.errors:
        messages.warning(request, "That formula or size basis is not known; the study's own is shown.")
    result = queries.study_recovery(found, **choice)
    clones = {c.code: c for c in found.trial.clones.all()}
    titles = show.rule_set_titles()
    table = clone_table(request, found, result, clones, titles)
    if table.asked_for_download:
        return table.download()
    context: dict[str, Any] = {
        "study": found,
        "trial": found.trial,
        "form": form,
        "result": result,
        "table": table,
        "states": show.states(state_counts(found)),
        "waiting": queries.rows_waiting(found),
        "may_manage": manager_of(request.user, found.trial_id),
        "boards_url": boards_url(found),
        **show.study_pictures(found, result, clones, titles, formula=choice["formula"]),
    }
    return render(request, "reports/study.html", context)


def clone_table(
    request: HttpRequest, study: Study, result: Any, clones: dict[str, Any], titles: dict[str, str]
) -> Table:
    """Clones with their figures and intervals, every figure a link to its boards."""
    rows = [show.clone_row(study, code, f) for code, f in result.by_clone.items()]
    columns = [
        Column("clone", "Clone", kind="code", key=True, url=lambda r: r["clone_url"]),
        Column("trees", "Trees", kind="integer", key=True),
        Column("logs", "Logs", kind="integer"),
        Column("boards", "Boards", kind="integer", url=lambda r: r["boards_url"]),
        Column("log_volume_m3", "Logs", kind="cubic_metres", digits=3, url=lambda r: r["logs_url"]),
        Column("green_volume_m3", "Boards, volume", kind="cubic_metres", digits=3, url=lambda r: r["boards_url"]),
        Column("green_recovery", "Green recovery", kind="percent", key=True, url=lambda r: r["boards_url"]),
        Column("green_interval", "95 % interval", show=show.interval_cell, sort=False),
    ]
    for name in result.total.graded:
        title = titles.get(name, name)
        columns += [
            Column(f"graded_{name}", f"Graded: {title}", kind="percent", url=lambda r: r["boards_url"]),
            Column(f"graded_interval_{name}", "95 % interval", show=show.interval_cell, sort=False),
            Column(f"value_{name}", f"Value per m³ log: {title}", kind="money", digits=0, unit=show.currency(result)),
        ]
    columns += [
        Column("best_value", "Value per m³ log: best use", kind="money", digits=0, unit=show.currency(result)),
        Column("best_interval", "95 % interval", show=show.interval_cell, sort=False),
    ]
    return Table(request, rows=rows, columns=columns, what="clone", order="clone", file_name=f"{study.code}_clones")

"""The page of a study: balance, recovery, out-turn, value, by clone with intervals."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from grading.links import boards_url
from grading.queries import current_rule_sets
from portal.tables import Column, Table
from portal.uploads.queries import may_bring
from reports import queries, show, study_pictures
from reports.calc.recovery import RecoveryResult
from reports.forms import FiguresForm
from sawing.log_pictures import balance_picture
from sawing.models import Study
from sawing.queries import state_counts, study_balance, study_for


@require_GET
def study(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    found = study_for(request.user, trial, study)
    form = FiguresForm(request.GET.dict(), study=found)
    choice = form.choice()
    if form.errors:
        messages.warning(request, "That formula or size basis is not known; the study's own is shown.")
    result = queries.study_recovery(found, **choice)
    clones = {c.code: c for c in found.trial.clones.all()}
    table = clone_table(request, found, result)
    if table.asked_for_download:
        return table.download()
    context: dict[str, Any] = {
        "study": found,
        "trial": found.trial,
        "form": form,
        "result": result,
        "table": table,
        "states": show.states(state_counts(found)),
        "waiting": show.waiting_words(queries.rows_waiting(found)),
        "problems": show.concerns(found, result.problems),
        "warnings": show.concerns(found, result.warnings),
        "may_bring": may_bring(request.user, found.trial_id, "logs"),
        "boards_url": boards_url(found),
    }
    if result.total.logs:
        balance, boards = study_balance(found, choice["formula"], result.by_log)
        context |= {
            "balance": balance_picture("the round wood", balance, boards, show.balance_urls(found)),
            "kerf_note": balance.kerf_note,
            "recovery": study_pictures.recovery(result, clones),
            "out_turns": study_pictures.out_turns(found, result, clones, list(current_rule_sets())),
        }
    return render(request, "reports/study.html", context)


def clone_table(request: HttpRequest, study: Study, result: RecoveryResult) -> Table:
    """Clones with their figures, each with its interval and a link to its boards."""
    money, titles = show.currency(result), show.table_titles()

    def figure(name: str, label: str, kind: str = "percent", **more: Any) -> Column:
        return Column(
            name, label, kind=kind, show=show.with_interval(name, kind), url=show.link("boards_url"), **more
        )

    columns = [
        Column("clone", "Clone", kind="code", key=True, url=show.link("clone_url")),
        Column("trees", "Trees", kind="integer", key=True),
        Column("logs", "Logs", kind="integer", url=show.link("logs_url")),
        Column("boards", "Boards", kind="integer", url=show.link("boards_url")),
        Column("log_volume_m3", "Log volume", kind="cubic_metres", digits=3, url=show.link("logs_url")),
        Column("green_volume_m3", "Board volume", kind="cubic_metres", digits=3, url=show.link("boards_url")),
        figure("green_recovery", "Green recovery", key=True),
    ]
    columns += [figure(f"graded_{n}", f"Graded, {titles.get(n, n)}") for n in result.total.graded]
    if money or result.total.best_use.value is not None:
        unit = f"{money}/m³"
        columns += [
            figure(f"value_{n}", f"Value, {titles.get(n, n)}", "money", unit=unit)
            for n in result.total.graded
        ]
        columns.append(figure("best_value", "Value, best use", "money", unit=unit))
    rows = [show.clone_row(study, code, f) for code, f in result.by_clone.items()]
    if "download" in request.GET:
        columns = show.with_bounds(columns)
    return Table(
        request, rows=rows, columns=columns, what="clone", order="clone", file_name=f"{study.code}_clones"
    )

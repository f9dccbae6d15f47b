"""The page of a study: balance, recovery, out-turn, value, by clone with intervals."""

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from grading.links import boards_url
from grading.queries import rule_sets_in_use
from portal.tables import Column, Table
from portal.uploads.queries import may_bring
from reports import queries, show, study_pictures
from reports.calc.recovery import RecoveryResult
from reports.forms import FiguresForm
from sawing.log_pictures import balance_picture
from sawing.models import Study
from sawing.planning.show import progress_of, study_links
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
    rule_sets = list(rule_sets_in_use(found))
    titles = show.table_titles(rule_sets)
    tables = [recovery_table(request, found, result, titles), value_table(request, found, result, titles)]
    for table in tables:
        if table is not None and table.asked_for_download:
            return table.download()
    context: dict[str, Any] = {
        "study": found,
        "pages": study_links(found, may_bring(request.user, found.trial_id, "boards")),
        "progress": progress_of(found),
        "trial": found.trial,
        "form": form,
        "result": result,
        "table": tables[0],
        "value_table": tables[1],
        "states": show.states(state_counts(found)),
        "waiting": show.waiting_words(queries.rows_waiting(found)),
        "problems": show.concerns(found, result.problems),
        "left_out": show.left_out_words(result.problems),
        "warnings": show.concerns(found, result.warnings),
        "warnings_title": f"{len(result.warnings)} logs and boards that are unusual",
        "may_bring": may_bring(request.user, found.trial_id, "logs"),
        "boards_url": boards_url(found),
    }
    if result.total.logs:
        balance, boards = study_balance(found, choice["formula"], result.by_log)
        context |= {
            "balance": balance_picture("the round wood", balance, boards, show.balance_urls(found)),
            "kerf_note": balance.kerf_note,
            "recovery": study_pictures.recovery(result, clones),
            "out_turns": study_pictures.out_turns(found, result, clones, rule_sets),
        }
    return render(request, "reports/study.html", context)


def recovery_table(
    request: HttpRequest, study: Study, result: RecoveryResult, titles: Mapping[str, str]
) -> Table:
    """Clones with their recoveries, each with its interval and a link to its boards."""
    columns = [
        Column("clone", "Clone", kind="code", key=True, url=show.link("clone_url")),
        Column("trees", "Trees", kind="integer", key=True),
        Column("logs", "Logs", kind="integer", url=show.link("logs_url")),
        Column("boards", "Boards", kind="integer", url=show.link("boards_url")),
        Column("log_volume_m3", "Log volume", kind="cubic_metres", digits=3, url=show.link("logs_url")),
        Column("green_volume_m3", "Board volume", kind="cubic_metres", digits=3, url=show.link("boards_url")),
        _estimate("green_recovery", "Green recovery", key=True),
    ]
    columns += [
        _estimate(
            f"graded_{n}", f"{'Graded' if g.accepted_recovery is None else 'Accepted'}, {titles.get(n, n)}"
        )
        for n, g in result.total.graded.items()
    ]
    return _clones(request, study, result, columns, "")


def value_table(
    request: HttpRequest, study: Study, result: RecoveryResult, titles: Mapping[str, str]
) -> Table | None:
    """Clones with their value per m3 of log, each with its interval; None without prices."""
    if result.total.best_use.value is None:
        return None
    unit = f"{show.currency(result)}/m³"
    columns = [
        Column("clone", "Clone", kind="code", key=True, url=show.link("clone_url")),
        Column("trees", "Trees", kind="integer", key=True),
        *(
            _estimate(f"value_{n}", titles.get(n, n).capitalize(), "money", unit=unit)
            for n in result.total.graded
        ),
        _estimate("best_value", "Best use", "money", unit=unit, key=True),
    ]
    return _clones(request, study, result, columns, "value_")


def _estimate(name: str, label: str, kind: str = "percent", **more: Any) -> Column:
    return Column(
        name, label, kind=kind, show=show.with_interval(name, kind), url=show.link("boards_url"), **more
    )


def _clones(
    request: HttpRequest, study: Study, result: RecoveryResult, columns: list[Column], prefix: str
) -> Table:
    rows = [show.clone_row(study, code, f) for code, f in result.by_clone.items()]
    if f"{prefix}download" in request.GET:
        columns = show.with_bounds(columns)
    name = f"{study.code}_{prefix or 'recovery_'}clones"
    return Table(
        request, rows=rows, columns=columns, what="clone", order="clone", prefix=prefix, file_name=name
    )

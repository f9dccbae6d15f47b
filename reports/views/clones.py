"""Clones: the list with their figures, one clone's story, and the prices that value rests on."""

from typing import Any

from django.db.models import F
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET

from grading.links import boards_url
from portal.tables import Column, Table
from portal.uploads.queries import manager_of
from reports import queries, show
from reports.models import PriceList
from sawing.calc.board_volume import SIZE_BASIS_TITLES
from trials.models import CloneKind
from trials.queries import clones_of, trial_for, trials_of
from trials.views import tree_columns


@require_GET
def clones(request: HttpRequest) -> HttpResponse:
    """The trials whose clones a person may see; straight to the clones when there is only one."""
    found = list(trials_of(request.user))
    if len(found) == 1:
        return redirect("reports:trial_clones", found[0].code)
    return render(request, "reports/clones.html", {"trials": found})


@require_GET
def trial_clones(request: HttpRequest, trial: str) -> HttpResponse:
    """Every clone of a trial, with the figures of its studies where it was sawn."""
    found = trial_for(request.user, trial)
    results = {study: queries.study_recovery(study) for study in found.studies.order_by("created_at")}
    figures = {code: (study, f) for study, r in results.items() for code, f in r.by_clone.items()}
    rows = [show.trial_clone_row(c, figures.get(c.code)) for c in clones_of(found)]
    table = Table(
        request,
        rows=rows,
        columns=[
            Column("code", "Clone", kind="code", key=True, url=lambda r: r["url"], filter="contains"),
            Column("name", "Name"),
            Column("kind", "Kind", filter="choice"),
            Column("seed_parent", "Seed parent"),
            Column("pollen_parent", "Pollen parent"),
            Column("n_trees", "Trees planted", kind="integer"),
            Column("n_sites", "Sites", kind="integer"),
            Column("sawn_trees", "Trees sawn", kind="integer", key=True),
            Column(
                "green_recovery",
                "Green recovery",
                kind="percent",
                key=True,
                show=show.with_interval("green_recovery", "percent"),
                url=show.link("boards_url"),
            ),
        ],
        what="clone",
        order="code",
        file_name=f"{found.code}_clones",
    )
    if table.asked_for_download:
        return table.download()
    bases = [
        (study, r.formula, SIZE_BASIS_TITLES[r.size_basis]) for study, r in results.items() if r.by_clone
    ]
    return render(request, "reports/trial_clones.html", {"trial": found, "table": table, "bases": bases})


@require_GET
def clone(request: HttpRequest, trial: str, code: str) -> HttpResponse:
    """One clone: where it stands, what was sawn of it, how sure the figures are."""
    found = get_object_or_404(clones_of(trial_for(request.user, trial)), code=code)
    titles = show.rule_set_titles()
    studies: list[dict[str, Any]] = []
    for study in found.trial.studies.all():
        result = queries.study_recovery(study)
        if found.code in result.by_clone:
            studies.append(
                {
                    "study": study,
                    "result": result,
                    "figures": result.by_clone[found.code],
                    "cards": show.clone_cards(study, found.code, result, titles),
                    "trees": show.tree_rows(study, found.code, result),
                    "boards_url": boards_url(study, clone=found.code),
                    "waiting": show.waiting_words(queries.rows_waiting(study)),
                    "size_basis": SIZE_BASIS_TITLES[result.size_basis],
                }
            )
    table = Table(
        request,
        rows=found.trees.select_related("trial", "site__trial", "plot__block", "clone__trial"),
        columns=[c for c in tree_columns() if c.name != "clone__code"],
        what="tree",
        order="code",
        page_size=25,
        file_name=f"{found.code}_trees",
    )
    if table.asked_for_download:
        return table.download()
    context = {
        "clone": found,
        "trial": found.trial,
        "kind": CloneKind(found.kind).label,
        "studies": studies,
        "table": table,
    }
    return render(request, "reports/clone.html", context)


@require_GET
def prices(request: HttpRequest, trial: str) -> HttpResponse:
    """The trial's price list in force, and its earlier versions."""
    found = trial_for(request.user, trial)
    lists = PriceList.objects.filter(trial=found).select_related("upload__by")
    version = request.GET.get("version", "")
    chosen = (lists.filter(version=version).first() if version.isdecimal() else None) or lists.filter(
        current=True
    ).first()
    rows = chosen.prices.select_related("grade__rule_set") if chosen else []
    context = {
        "trial": found,
        "lists": lists,
        "chosen": chosen,
        "rows": rows
        and rows.order_by("grade__rule_set__code", "grade__rank", F("min_width_mm").asc(nulls_first=True)),
        "may_manage": manager_of(request.user, found.pk),
    }
    return render(request, "reports/prices.html", context)

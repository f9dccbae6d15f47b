"""Trials, sites and trees."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET

from portal.tables import Column, Table
from trials import queries
from trials.links import clone_url, site_url, tree_url
from trials.models import TreeStatus


def tree_columns() -> list[Column]:
    """The columns in which trees are listed everywhere."""
    return [
        Column("code", "Tree", kind="code", key=True, url=tree_url, filter="contains"),
        Column(
            "clone__code", "Clone", kind="code", key=True, url=lambda t: clone_url(t.clone), filter="choice"
        ),
        Column("site__code", "Site", kind="code", url=lambda t: site_url(t.site), filter="choice"),
        Column("plot__block__code", "Block", kind="code"),
        Column("plot__code", "Plot", kind="code"),
        Column("row", "Row", kind="integer"),
        Column("col", "Col", kind="integer"),
        Column("planted_on", "Planted", kind="date"),
        Column("status", "Status", filter="choice", show=lambda v, t: TreeStatus(v).label),
    ]


@require_GET
def trees(request: HttpRequest) -> HttpResponse:
    """The trials a person belongs to; straight to the trial when there is only one."""
    found = list(queries.trials_of(request.user))
    if len(found) == 1:
        return redirect("reports:trial", found[0].code)
    return render(request, "trials/trees.html", {"trials": found})


@require_GET
def trial_trees(request: HttpRequest, trial: str) -> HttpResponse:
    """Every planted position of a trial."""
    found = queries.trial_for(request.user, trial)
    table = Table(
        request,
        rows=queries.trees_of(found),
        columns=tree_columns(),
        what="tree",
        order="code",
        file_name=f"{found.code}_trees",
    )
    if table.asked_for_download:
        return table.download()
    return render(request, "trials/trial_trees.html", {"trial": found, "table": table})


@require_GET
def site(request: HttpRequest, trial: str, site: str) -> HttpResponse:
    """One site: where it is, what stands on it."""
    found = get_object_or_404(queries.sites_of(queries.trial_for(request.user, trial)), code=site)
    table = Table(
        request,
        rows=queries.trees_of(found.trial).filter(site=found),
        columns=[c for c in tree_columns() if c.name != "site__code"],
        what="tree",
        order="code",
        file_name=f"{found.code}_trees",
    )
    if table.asked_for_download:
        return table.download()
    return render(request, "trials/site.html", {"site": found, "trial": found.trial, "table": table})


@require_GET
def tree(request: HttpRequest, trial: str, code: str) -> HttpResponse:
    """One tree: its place, its clone, and what became of it."""
    found = get_object_or_404(queries.trees_of(queries.trial_for(request.user, trial)), code=code)
    felling = getattr(found, "felling", None)
    logs = felling.logs.order_by("bottom_m") if felling else []
    context = {"tree": found, "trial": found.trial, "felling": felling, "logs": logs}
    return render(request, "trials/tree.html", context)

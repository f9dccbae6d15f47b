"""Trials, sites and trees."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from portal.tables import Column, Table
from portal.uploads.queries import manager_of
from trials import actions, queries
from trials.desk.measured import measurements_of
from trials.forms import SiteForm, TrialForm
from trials.links import clone_url, site_url, tree_url
from trials.models import TreeStatus, Trial
from trials.views.doors import managed


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
    """The trials a person belongs to; straight to the only one, for those who cannot start another."""
    found = list(queries.trials_of(request.user))
    if len(found) == 1 and not request.user.is_superuser:
        return redirect("reports:trial", found[0].code)
    return render(request, "trials/trees.html", {"trials": found})


@require_http_methods(["GET", "POST"])
def new_trial(request: HttpRequest) -> HttpResponse:
    """Stewards start a trial and are its first managers."""
    if not request.user.is_superuser:
        raise PermissionDenied("Trials are started by stewards.")
    form = TrialForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            trial = actions.create_trial(by=request.user, **form.cleaned_data)
        except ValidationError as refused:
            form.add_error(None, refused)
        else:
            messages.success(request, "The trial is started. Bring in its people, then its clones.")
            return redirect("reports:trial", trial.code)
    return render(request, "trials/describe_trial.html", {"form": form}, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def describe_trial(request: HttpRequest, trial: str) -> HttpResponse:
    """Managers change name, description and breast height."""
    found = managed(request, trial)
    form = TrialForm(request.POST or None, instance=Trial.objects.get(pk=found.pk))
    if request.method == "POST" and form.is_valid():
        actions.change_trial(trial=found, by=request.user, **form.cleaned_data)
        messages.success(request, "The description is changed; the earlier one stays in the history.")
        return redirect("reports:trial", found.code)
    context = {"form": form, "trial": found}
    return render(request, "trials/describe_trial.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def describe_site(request: HttpRequest, trial: str, site: str) -> HttpResponse:
    """Managers note where a site is, how it was planted and laid out."""
    found = managed(request, trial)
    place = get_object_or_404(found.sites, code=site)
    form = SiteForm(request.POST or None, instance=found.sites.get(pk=place.pk))
    if request.method == "POST" and form.is_valid():
        actions.describe_site(trial=found, code=place.code, by=request.user, **form.cleaned_data)
        messages.success(request, "The description is changed; the earlier one stays in the history.")
        return redirect(site_url(place))
    context = {"form": form, "trial": found, "site": place}
    return render(request, "trials/describe_site.html", context, status=422 if form.errors else 200)


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
    context = {
        "site": found,
        "trial": found.trial,
        "table": table,
        "assessments": list(found.assessments.all()),
        "may_manage": manager_of(request.user, found.trial_id),
    }
    return render(request, "trials/site.html", context)


@require_GET
def tree(request: HttpRequest, trial: str, code: str) -> HttpResponse:
    """One tree: its place, its clone, and what became of it."""
    found = get_object_or_404(queries.trees_of(queries.trial_for(request.user, trial)), code=code)
    felling = getattr(found, "felling", None)
    logs = felling.logs.order_by("bottom_m") if felling else []
    traits, visits = measurements_of(found)
    context = {
        "tree": found,
        "trial": found.trial,
        "felling": felling,
        "logs": logs,
        "traits": traits,
        "visits": visits,
        "photos": list(
            found.photos.filter(set_aside=False)
            .defer("content", "small")
            .select_related("assessment", "tree", "by")
        ),
    }
    return render(request, "trials/tree.html", context)

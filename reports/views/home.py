"""The page a person lands on, and the page of a trial."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from portal.uploads.queries import kinds_for, manager_of, uploads_of
from reports.home import sections_for
from trials.queries import sites_of, trial_for


@require_GET
def home(request: HttpRequest) -> HttpResponse:
    """What awaits the person, by role."""
    return render(request, "reports/home.html", {"sections": sections_for(request.user)})


@require_GET
def trial(request: HttpRequest, trial: str) -> HttpResponse:
    """A trial: its sites, its studies, its latest files."""
    found = trial_for(request.user, trial)
    context = {
        "trial": found,
        "sites": sites_of(found),
        "n_clones": found.clones.count(),
        "n_trees": found.trees.count(),
        "studies": found.studies.all(),
        "uploads": uploads_of(request.user).filter(trial=found)[:5],
        "may_bring": bool(kinds_for(request.user, found.pk)),
        "may_manage": manager_of(request.user, found.pk),
    }
    return render(request, "reports/trial.html", context)

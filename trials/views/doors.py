"""Who comes in: every page of the room asks here."""

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from portal.uploads.queries import manager_of
from trials import queries
from trials.models import Assessment, Site, Trial


def managed(request: HttpRequest, code: str) -> Trial:
    """A trial for those who manage it; 404 for those outside, 403 for its other people."""
    found = queries.trial_for(request.user, code)
    if not manager_of(request.user, found.pk):
        raise PermissionDenied("This is the business of the trial's managers.")
    return found


def site_for(request: HttpRequest, trial: str, site: str) -> Site:
    """A site for those inside its trial; 404 for everybody else."""
    found = queries.trial_for(request.user, trial)
    return get_object_or_404(found.sites.select_related("trial"), code=site)


def assessment_for(request: HttpRequest, trial: str, pk: int) -> Assessment:
    """An assessment for those inside its trial; 404 for everybody else."""
    found = queries.trial_for(request.user, trial)
    return get_object_or_404(Assessment.objects.select_related("site__trial"), pk=pk, site__trial=found)


def managed_assessment(request: HttpRequest, trial: str, pk: int) -> Assessment:
    """The same for those who manage the trial; 403 for its other people."""
    managed(request, trial)
    return assessment_for(request, trial, pk)

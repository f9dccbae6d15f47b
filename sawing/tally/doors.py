"""Who gets to the tally of a study."""

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404

from portal import access
from portal.models import Membership
from sawing.models import Study
from sawing.queries import study_for
from sawing.tally.actions import MAY_TALLY

TALLIED_BY = "The tally is kept by the trial's mill staff and managers."


def tally_study(request: HttpRequest, trial: str, study: str) -> Study:
    """A study for those who tally. 404 for those outside its trial, 403 for those of it who do not."""
    found = study_for(request.user, trial, study)
    if not access.may(request.user, found.trial_id, MAY_TALLY):
        raise PermissionDenied(TALLIED_BY)
    return found


def study_to_send_to(request: HttpRequest, trial: str, study: str) -> Study:
    """A study for what a scanner sends: also from people who belonged to its trial once, whose entries are held.

    Who never did is told nothing, 404.
    """
    found = get_object_or_404(Study.objects.select_related("trial"), trial__code=trial, code=study)
    known = (
        request.user.is_superuser or Membership.objects.filter(user=request.user, trial=found.trial).exists()
    )
    if not known:
        raise Http404
    return found

"""Who comes in: every page of labels asks here."""

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from portal import access
from sawing.labels.actions import WRITERS
from sawing.models import Study
from sawing.queries import study_for


def may_write(request: HttpRequest, study: Study) -> bool:
    """Whether the person makes, prints and links labels of a study."""
    return access.may(request.user, study.trial_id, WRITERS)


def written_study(request: HttpRequest, trial: str, study: str) -> Study:
    """A study for those who make its labels; 404 for those outside, 403 for its other people."""
    found = study_for(request.user, trial, study)
    if not may_write(request, found):
        raise PermissionDenied("Labels are made, printed and linked by mill staff and the trial's managers.")
    return found

"""Who gets to the bench of a study."""

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from grading.graders import GRADERS
from portal import access
from sawing.models import Study
from sawing.queries import study_for

GRADED_BY = "Boards are graded by the trial's graders and managers."


def bench_study(request: HttpRequest, trial: str, study: str) -> Study:
    """A study for those who grade. 404 for those outside its trial, 403 for those of it who do not."""
    found = study_for(request.user, trial, study)
    if not access.may(request.user, found.trial_id, GRADERS):
        raise PermissionDenied(GRADED_BY)
    return found

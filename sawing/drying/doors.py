"""Who comes in: every page of drying asks here."""

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from portal import access
from sawing.drying.asked import WRITERS
from sawing.drying.queries import stack_for
from sawing.models import Stack, Study
from sawing.queries import study_for


def may_write(request: HttpRequest, study: Study) -> bool:
    """Whether the person keeps the stacks of a study."""
    return access.may(request.user, study.trial_id, WRITERS)


def required(request: HttpRequest, study: Study) -> None:
    """403 for those inside who do not keep the stacks."""
    if not may_write(request, study):
        raise PermissionDenied("Stacks are kept by mill staff and the trial's managers.")


def written_study(request: HttpRequest, trial: str, study: str) -> Study:
    """A study for those who keep its stacks; 404 for those outside, 403 for its other people."""
    found = study_for(request.user, trial, study)
    required(request, found)
    return found


def written_stack(request: HttpRequest, trial: str, study: str, code: str) -> Stack:
    """The same for a stack."""
    found = stack_for(request.user, trial, study, code)
    required(request, found.study)
    return found

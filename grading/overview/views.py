"""The page of a study's grading."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from grading.graders import GRADERS
from grading.overview.queries import parts_of, standing
from portal.access import may
from sawing.queries import study_for


@require_GET
def grading(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """How far the grading of a study is."""
    found = study_for(request.user, trial, study)
    context = {
        "study": found,
        "trial": found.trial,
        "standing": standing(found),
        "parts": parts_of(found),
        "may_grade": may(request.user, found.trial_id, GRADERS),
    }
    return render(request, "grading/grading.html", context)

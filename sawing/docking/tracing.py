"""The page on which a flitch is traced over a picture, or over a plain grid."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from portal import access
from sawing.docking import actions, queries
from sawing.docking.forms import TraceForm
from sawing.docking.links import flitch_url
from sawing.docking.ready import prepare_in_background
from sawing.docking.views import page
from sawing.models import Study
from sawing.queries import study_for


@require_http_methods(["GET", "POST"])
def trace(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """Trace a flitch; what is stored are its stations, never the picture, which stays in the browser."""
    found = study_for(request.user, trial, study)
    if not access.may(request.user, found.trial_id, actions.WRITERS):
        raise PermissionDenied("Flitches are traced by mill staff and by the trial's managers.")
    prepare_in_background()
    form = TraceForm(request.POST or None, study=found, initial=_begun(request, found))
    if request.method == "POST" and form.is_valid() and form.traced is not None:
        log = get_object_or_404(found.logs, code=form.cleaned_data["log"])
        row = actions.save_tracing(study=found, log=log, flitch=form.traced, by=request.user)
        messages.success(request, f"The outline of flitch {row.code} is stored as traced.")
        return redirect(flitch_url(found, row.pk))
    context = page(found, form=form, has_logs=found.logs.exists())
    return render(request, "sawing/docking/trace.html", context, status=422 if form.errors else 200)


def _begun(request: HttpRequest, study: Study) -> dict[str, Any]:
    """What the form begins with: the flitch that was asked for, with the outline it has."""
    asked = request.GET.get("flitch", "")
    row = queries.flitches_of(study).filter(pk=asked).first() if asked.isdecimal() else None
    if row is None:
        return {"thickness_mm": min(study.thicknesses_mm, default=None)}
    lines = [f"{s['x_mm']:g}, {s['left_mm']:g}, {s['right_mm']:g}" for s in row.outline or []]
    return {
        "log": row.log.code,
        "flitch": row.code,
        "thickness_mm": row.thickness_mm,
        "stations": "\n".join(lines),
    }

"""What crews said differently, sent late, or sent in a form that could not be stored: managers decide."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import BadRequest, PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from portal.uploads.queries import manager_of
from trials import queries
from trials.desk import progress
from trials.desk.held import as_typed, changes_from
from trials.desk.measured import trait_list
from trials.entries import actions
from trials.models import Assessment, Entry, EntryKind, HeldEntry, Trial
from trials.views.doors import assessment_for

SETTLED = "It is settled; everything that was entered stays on record."
NO_BUTTON = "do: expected a button of the page"


@require_http_methods(["GET", "POST"])
def assessment_waiting(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """Disputed, late and held entries of an assessment, side by side."""
    found = assessment_for(request, trial, pk)
    waiting = progress.waiting_in(found)
    if request.method == "POST":
        return _decided(request, found.site.trial, waiting.held, found) or redirect(
            "trials:assessment_waiting", trial, found.pk
        )
    context = {"assessment": found, "disputes": waiting.disputes, "late": waiting.late, "n": waiting.n}
    return _page(request, found.site.trial, waiting.held, context | {"traits": trait_list(found)})


@require_http_methods(["GET", "POST"])
def unplaced(request: HttpRequest, trial: str) -> HttpResponse:
    """Held entries of this trial's people that name no assessment there is."""
    found = queries.trial_for(request.user, trial)
    held = list(progress.held_without_assessment(found))
    if request.method == "POST":
        return _decided(request, found, held) or redirect("trials:unplaced", trial)
    context = {
        "n": len(held),
        "traits": list(found.traits.all()),
        "places": list(progress.assessments_of(found)),
    }
    return _page(request, found, held, context)


def _page(request: HttpRequest, trial: Trial, held: list[HeldEntry], context: dict[str, Any]) -> HttpResponse:
    context |= {
        "trial": trial,
        "held": [as_typed(h) for h in held],
        "kinds": EntryKind.choices,
        "may_manage": manager_of(request.user, trial.pk),
    }
    return render(request, "trials/waiting.html", context)


def _decided(
    request: HttpRequest, trial: Trial, held: list[HeldEntry], assessment: Assessment | None = None
) -> None:
    """Do what the button says: "choose-7", "take-7", "aside-7" of entries, "mend-3", "drop-3" of held ones."""
    if not manager_of(request.user, trial.pk):
        raise PermissionDenied("Entries are settled by the trial's managers.")
    do, _, number = request.POST.get("do", "").partition("-")
    if not number.isdecimal() or len(number) > 18:
        raise BadRequest(NO_BUTTON)
    try:
        if do in ("mend", "drop"):
            _settle_held(request, do, int(number), held, assessment)
        else:
            _settle_entry(request, do, int(number), assessment)
    except ValidationError as refused:
        messages.error(request, " ".join(refused.messages))


def _settle_entry(request: HttpRequest, do: str, pk: int, assessment: Assessment | None) -> None:
    calls = {"choose": actions.settle_dispute, "take": actions.take_late, "aside": actions.set_aside}
    if do not in calls or assessment is None:
        raise BadRequest(NO_BUTTON)
    entry = get_object_or_404(Entry, pk=pk, assessment=assessment)
    calls[do](entry_id=entry.pk, by=request.user)
    messages.success(request, SETTLED)


def _settle_held(
    request: HttpRequest, do: str, pk: int, held: list[HeldEntry], assessment: Assessment | None
) -> None:
    chosen = next((h for h in held if h.pk == pk), None)
    if chosen is None:
        raise ValidationError("This entry was settled before.")
    if do == "drop":
        actions.set_held_aside(held_id=pk, by=request.user)
        messages.success(request, SETTLED)
        return
    changes = changes_from(request.POST, chosen, assessment)
    if actions.mend_held_entry(held_id=pk, changes=changes, by=request.user).state == "waiting":
        messages.warning(
            request, "It still cannot be stored; the reasons stand beside it, and it goes on waiting."
        )
    else:
        messages.success(request, "It is stored, in the name of who entered it.")

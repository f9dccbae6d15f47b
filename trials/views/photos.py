"""Photos of trees, as crews took them."""

from django.contrib import messages
from django.core.exceptions import BadRequest
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from portal.uploads.queries import manager_of
from trials import queries
from trials.entries import actions
from trials.models import Photo
from trials.views.doors import assessment_for, managed

AT_ONCE = 24
KEPT_S = 30 * 24 * 3600  # a photo never changes


@require_GET
def photo(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """One photo as JPEG, for those inside its trial; `small` gives it at 320 px."""
    found = queries.trial_for(request.user, trial)
    field = "small" if "small" in request.GET else "content"
    row = get_object_or_404(
        queries.photos_for(request.user, found).only("pk", field, "tree__code").select_related("tree"), pk=pk
    )
    response = HttpResponse(bytes(getattr(row, field)), content_type="image/jpeg")
    response["Cache-Control"] = f"private, max-age={KEPT_S}, immutable"
    response["Content-Disposition"] = f'inline; filename="photo-{row.pk}.jpg"'
    return response


@require_POST
def photo_state(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """Managers set a photo aside, and bring it back."""
    found = managed(request, trial)
    row = get_object_or_404(
        Photo.objects.defer("content", "small").select_related("assessment__site"),
        pk=pk,
        assessment__site__trial=found,
    )
    do = request.POST.get("do", "")
    if do not in ("aside", "back"):
        raise BadRequest("do: expected aside or back")
    actions.set_photo_aside(photo=row, aside=do == "aside", by=request.user)
    said = "The photo is set aside: only managers see it." if do == "aside" else "The photo is shown again."
    messages.success(request, said)
    return redirect("trials:assessment_photos", trial, row.assessment_id)


@require_GET
def assessment_photos(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """The photos of an assessment, tree by tree in the order of rows and columns; for managers those set aside too."""
    found = assessment_for(request, trial, pk)
    shown = queries.photos_for(request.user, found.site.trial).filter(assessment=found)
    photos = shown.defer("content", "small").select_related("tree", "by")
    page = Paginator(photos.order_by("tree__row", "tree__col", "pk"), AT_ONCE).get_page(
        request.GET.get("page")
    )
    context = {
        "assessment": found,
        "trial": found.site.trial,
        "page": page,
        "n": page.paginator.count,
        "may_set_aside": manager_of(request.user, found.site.trial_id),
    }
    return render(request, "trials/assessment_photos.html", context)

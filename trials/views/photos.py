"""Photos of trees, as crews took them."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from trials import queries
from trials.models import Photo
from trials.views.doors import assessment_for

AT_ONCE = 24
KEPT_S = 30 * 24 * 3600  # a photo never changes


@require_GET
def photo(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """One photo as JPEG, for those inside its trial; `small` gives it at 320 px."""
    found = queries.trial_for(request.user, trial)
    field = "small" if "small" in request.GET else "content"
    row = get_object_or_404(
        Photo.objects.only("pk", field, "tree__code").select_related("tree"),
        pk=pk,
        assessment__site__trial=found,
    )
    response = HttpResponse(bytes(getattr(row, field)), content_type="image/jpeg")
    response["Cache-Control"] = f"private, max-age={KEPT_S}, immutable"
    response["Content-Disposition"] = f'inline; filename="photo-{row.pk}.jpg"'
    return response


@require_GET
def assessment_photos(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """The photos of an assessment, tree by tree in the order of rows and columns."""
    found = assessment_for(request, trial, pk)
    photos = found.photos.defer("content", "small").select_related("tree", "by")
    page = Paginator(photos.order_by("tree__row", "tree__col", "pk"), AT_ONCE).get_page(
        request.GET.get("page")
    )
    context = {"assessment": found, "trial": found.site.trial, "page": page, "n": page.paginator.count}
    return render(request, "trials/assessment_photos.html", context)

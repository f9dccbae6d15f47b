"""Pages for requests that could not be taken."""

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.defaults import bad_request as plain_bad_request


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """400, or 413 with the limit when what was sent is too large."""
    if isinstance(exception, RequestDataTooBig):
        context = {"limit_mb": settings.UPLOAD_LIMIT_BYTES >> 20}
        return render(request, "413.html", context, status=413)
    return plain_bad_request(request, exception)

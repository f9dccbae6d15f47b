"""What no request may carry."""

from collections.abc import Callable

from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse


def refuse_nul(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """400 for an address or query with a NUL character in it: no code has one, and PostgreSQL keeps no such text."""

    def respond(request: HttpRequest) -> HttpResponse:
        if "\x00" in request.path_info or "%00" in request.META.get("QUERY_STRING", ""):
            raise BadRequest("a NUL character in the address")
        return get_response(request)

    return respond

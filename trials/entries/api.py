"""What a phone asks and sends, as JSON. Views only translate; every answer is JSON, signed out or not."""

import functools
import json
from collections.abc import Callable
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.http.request import UnreadablePostError
from django.middleware.csrf import CsrfViewMiddleware, get_token
from django.shortcuts import get_object_or_404
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt

from portal import access
from trials.calc.entry_reading import plain_json, read_id
from trials.entries import queries
from trials.entries.actions import AT_ONCE, receive_entries
from trials.entries.ground import MAY_ENTER
from trials.entries.pack import pack

View = Callable[..., HttpResponse]


class _TokenCheck(CsrfViewMiddleware):
    """The usual check against forged forms, with an answer that a phone can read."""

    def _reject(self, request: HttpRequest, reason: str) -> JsonResponse:  # type: ignore[override]
        return JsonResponse({"error": "the token is not valid: ask for the session again"}, status=403)


def json_view(method: str) -> Callable[[View], View]:
    """An address that answers in JSON, whatever happens: 400, 401, 403, 404, 405 and 413 too."""

    def decorate(view: View) -> View:
        @never_cache
        @csrf_exempt  # checked below, so that the refusal is JSON
        @login_not_required
        @functools.wraps(view)
        def answer(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if request.method != method:
                return JsonResponse({"error": f"only {method}"}, status=405, headers={"Allow": method})
            if not request.user.is_authenticated:
                return JsonResponse({"error": "signed out"}, status=401)
            check = _TokenCheck(lambda _: HttpResponse())
            check.process_request(request)
            if refused := check.process_view(request, view, (), {}):
                return refused
            try:
                return view(request, *args, **kwargs)
            except PermissionDenied as error:
                return JsonResponse({"error": str(error) or "not allowed"}, status=403)
            except Http404:
                return JsonResponse({"error": "not found"}, status=404)
            except RequestDataTooBig:
                return JsonResponse({"error": "too much at once: send fewer entries"}, status=413)
            except UnreadablePostError:
                return JsonResponse({"error": "the request broke off"}, status=400)

        return answer

    return decorate


@json_view("GET")
def session(request: HttpRequest) -> HttpResponse:
    """Who is signed in, and the token that sending needs."""
    return JsonResponse(
        {
            "user": request.user.get_full_name(),
            "username": request.user.username,
            "csrf": get_token(request),
        }
    )


@json_view("GET")
def assessments(request: HttpRequest) -> HttpResponse:
    """The open assessments a person may enter into."""
    found = list(queries.with_counts(queries.assessments_for(request.user)))
    done = queries.done_counts([a.pk for a in found])
    listed = [
        {
            "id": a.pk,
            "name": a.name,
            "site": a.site.code,
            "trial": a.site.trial.name,
            "measured_from": a.measured_from.isoformat(),
            "traits": a.n_traits,
            "trees": a.n_trees,
            "done": done[a.pk],
        }
        for a in found
    ]
    return JsonResponse({"assessments": listed})


@json_view("GET")
def assessment(request: HttpRequest, pk: int) -> HttpResponse:
    """The pack of one assessment. 404 for those outside its trial, 403 for those of it who do not measure."""
    found = get_object_or_404(queries.assessments_of(request.user), pk=pk)
    access.require(request.user, found.site.trial_id, MAY_ENTER)
    return JsonResponse(pack(found))


@json_view("POST")
def entries(request: HttpRequest) -> HttpResponse:
    """Entries from a phone, at most AT_ONCE, and what became of each."""
    sent = _body(request)
    device = read_id(sent.get("device")) if isinstance(sent, dict) else None
    listed = sent.get("entries") if isinstance(sent, dict) else None
    if device is None or not isinstance(listed, list) or len(listed) > AT_ONCE:
        wanted = f'expected {{"device": UUID, "entries": [at most {AT_ONCE}]}}'
        return JsonResponse({"error": wanted}, status=400)
    answers = receive_entries(device=device, entries=listed, by=request.user)
    return JsonResponse({"answers": [a.to_dict() for a in answers]})


def _body(request: HttpRequest) -> Any:
    """The JSON that was sent; None when it is none, or nested beyond reason."""
    try:
        return plain_json(json.loads(request.body))
    except (ValueError, RecursionError):
        return None

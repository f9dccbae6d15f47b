"""What a phone asks and sends, as JSON. Views only translate; every answer is JSON, signed out or not."""

import functools
import json
from collections.abc import Callable
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.http.multipartparser import MultiPartParserError
from django.http.request import UnreadablePostError
from django.middleware.csrf import CsrfViewMiddleware, get_token
from django.shortcuts import get_object_or_404
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt

from portal import access
from trials.calc.entry_reading import plain_json, read_id
from trials.entries import queries
from trials.entries.actions import AT_ONCE, receive_entries, receive_photo
from trials.entries.ground import MAY_ENTER
from trials.entries.pack import pack
from trials.entries.pictures import MOST_SENT_BYTES

FORM_BYTES = 64 * 1024  # what says about the photo, beside it

View = Callable[..., HttpResponse]


class _TokenCheck(CsrfViewMiddleware):
    """The usual check against forged forms, with an answer that a phone can read."""

    def _reject(self, request: HttpRequest, reason: str) -> JsonResponse:  # type: ignore[override]
        return JsonResponse({"error": "the token is not valid: ask for the session again"}, status=403)


def json_view(method: str, most_bytes: int | None = None) -> Callable[[View], View]:
    """An address that answers in JSON, whatever happens: 400, 401, 403, 404, 405 and 413 too.

    `most_bytes`: a request that announces more is refused before it is read.
    """

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
            if most_bytes is not None and _announced(request) > most_bytes:
                return JsonResponse({"error": f"at most {most_bytes} bytes at once"}, status=413)
            check = _TokenCheck(lambda _: HttpResponse())
            check.process_request(request)
            try:
                if refused := check.process_view(request, view, (), {}):
                    return refused
                return view(request, *args, **kwargs)
            except PermissionDenied as error:
                return JsonResponse({"error": str(error) or "not allowed"}, status=403)
            except Http404:
                return JsonResponse({"error": "not found"}, status=404)
            except RequestDataTooBig:
                return JsonResponse({"error": "too much at once: send fewer entries"}, status=413)
            except UnreadablePostError:
                return JsonResponse({"error": "the request broke off"}, status=400)
            except (MultiPartParserError, SuspiciousOperation):
                return JsonResponse({"error": "the form cannot be read"}, status=400)

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


@json_view("POST", most_bytes=MOST_SENT_BYTES + FORM_BYTES)
def photos(request: HttpRequest) -> HttpResponse:
    """One photo from a phone: `about` says which (JSON), `photo` is the file; and what became of it."""
    sent = request.FILES.get("photo")
    try:
        about = plain_json(json.loads(request.POST.get("about", "")))
    except (ValueError, RecursionError):
        about = None
    if not isinstance(about, dict) or sent is None:
        wanted = (
            'expected a form with about: {"id": UUID, "device": UUID, "assessment", "tree"} and photo: a file'
        )
        return JsonResponse({"error": wanted}, status=400)
    answer = receive_photo(about=about, data=sent.read(MOST_SENT_BYTES + 1), by=request.user)
    return JsonResponse({"answers": [answer.to_dict()]})


def _announced(request: HttpRequest) -> int:
    """The size a request says it has; 0 where it says none."""
    said = str(request.META.get("CONTENT_LENGTH") or "0")
    return int(said) if said.isdecimal() and len(said) < 18 else 0


def _body(request: HttpRequest) -> Any:
    """The JSON that was sent; None when it is none, or nested beyond reason."""
    try:
        return plain_json(json.loads(request.body))
    except (ValueError, RecursionError):
        return None

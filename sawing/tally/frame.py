"""The page at the saw that works on a poor network: its frame and its service worker.

Both are the same for everybody and hold nothing of any study, so that they may be kept on the tablet: the page reads
its study from its own address. What belongs to a study comes through the API alone. Opened for the first time, the
page is for those who tally only; from then on the worker opens the kept frame in its place.
"""

import functools
import hashlib
import json
from pathlib import Path

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.http import require_GET

from sawing.tally.doors import tally_study

FOLDER = Path(__file__).parent.parent / "static" / "sawing" / "tally"
SHARED = (
    "portal/tokens.css",
    "portal/theme.js",
    "portal/log_end.svg",
    "trials/field/field.css",
    "trials/field/dom.js",
    "trials/field/queue.js",
    "trials/field/store.js",
)
FRAME, WORKER = "sawing/tally/page.html", "sawing/tally/worker.js"


@require_GET
def page(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The page at the saw, for those who tally in this study."""
    tally_study(request, trial, study)
    return _fresh(HttpResponse(_frame()))


@require_GET
@login_not_required
def frame(request: HttpRequest) -> HttpResponse:
    """The same frame for the worker to keep."""
    return _fresh(HttpResponse(_frame()))


@require_GET
@login_not_required
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker; its text changes, and the tablet fetches the page anew, when any file of it does."""
    addresses = [reverse("sawing:tally_frame"), *(static(name) for name in file_names())]
    context = {"version": version(), "frame": addresses[0], "addresses": json.dumps(addresses)}
    response = HttpResponse(render_to_string(WORKER, context), content_type="text/javascript; charset=utf-8")
    response["Service-Worker-Allowed"] = reverse("sawing:studies")
    return _fresh(response)


def file_names() -> list[str]:
    """The static files of the page, its own and those it shares."""
    own = sorted(f"sawing/tally/{path.name}" for path in FOLDER.iterdir() if path.is_file())
    return [*SHARED, *own]


def version() -> str:
    """A hash of everything the tablet keeps: once in a serving process, anew each time while developing."""
    return _version() if settings.DEBUG else _version_once()


def _version() -> str:
    content = hashlib.sha256(_frame().encode())
    worker_text = Path(__file__).parent.parent / "templates" / WORKER
    for path in (worker_text, *(Path(_found(name)) for name in file_names())):
        content.update(path.name.encode() + b"\0" + path.read_bytes())
    return content.hexdigest()[:16]


@functools.cache
def _version_once() -> str:
    return _version()


def _frame() -> str:
    return render_to_string(FRAME)


def _found(name: str) -> str:
    path = finders.find(name)
    if not isinstance(path, str):
        raise FileNotFoundError(f"static file {name} of the page at the saw")
    return path


def _fresh(response: HttpResponse) -> HttpResponse:
    """The tablet's copy is the worker's business; the browser's own cache must not stand between."""
    response["Cache-Control"] = "no-cache"
    return response

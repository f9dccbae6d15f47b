"""The page that works in the stand without a network: its frame, its service worker, its manifest.

All three are the same for everybody and hold nothing of any trial, so that they may be kept on the phone and
open signed out. What belongs to a person comes through /field/api/ alone.
"""

import functools
import hashlib
import json
from pathlib import Path

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.http import require_GET

FOLDER = Path(__file__).parent / "static" / "trials" / "field"
SHARED = ("portal/tokens.css", "portal/theme.js", "portal/theme_switch.js", "portal/log_end.svg")
ICONS = (("icon-192.png", "192x192"), ("icon-512.png", "512x512"))


@require_GET
@login_not_required
def page(request: HttpRequest) -> HttpResponse:
    """The frame of the page; everything in it is done by its modules."""
    return _fresh(HttpResponse(_frame()))


@require_GET
@login_not_required
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker; its text changes, and the phone fetches the page anew, when any file of it does."""
    files = [static(name) for name in file_names()]
    addresses = [reverse("trials:field"), reverse("trials:field_manifest"), *files]
    context = {"version": version(), "page": addresses[0], "addresses": json.dumps(addresses)}
    text = render_to_string("trials/field_worker.js", context)
    response = HttpResponse(text, content_type="text/javascript; charset=utf-8")
    response["Service-Worker-Allowed"] = reverse("trials:field")
    return _fresh(response)


@require_GET
@login_not_required
def manifest(request: HttpRequest) -> HttpResponse:
    """What a phone needs to put the page among its own programs."""
    home = reverse("trials:field")
    content = {
        "id": home,
        "name": "In the stand",
        "short_name": "In the stand",
        "description": "Measurements tree by tree, with no network.",
        "start_url": home,
        "scope": home,
        "display": "standalone",
        "orientation": "portrait",
        "lang": "en-GB",
        "background_color": "#FBFAF6",
        "theme_color": "#FBFAF6",
        "icons": [
            {"src": static(f"trials/field/{name}"), "sizes": sizes, "type": "image/png", "purpose": "any"}
            for name, sizes in ICONS
        ],
    }
    return _fresh(JsonResponse(content, content_type="application/manifest+json"))


def file_names() -> list[str]:
    """The static files of the page, its own and those it shares with the portal."""
    own = sorted(f"trials/field/{path.name}" for path in FOLDER.iterdir() if path.is_file())
    return [*SHARED, *own]


def version() -> str:
    """A hash of everything the phone keeps: another text, another version.

    Computed once in a serving process, and anew each time while developing.
    """
    return _version() if settings.DEBUG else _version_once()


def _version() -> str:
    content = hashlib.sha256(_frame().encode())
    worker = Path(__file__).parent / "templates" / "trials" / "field_worker.js"
    for path in (worker, *(Path(_found(name)) for name in file_names())):
        content.update(path.name.encode() + b"\0" + path.read_bytes())
    return content.hexdigest()[:16]


@functools.cache
def _version_once() -> str:
    return _version()


def _frame() -> str:
    return render_to_string("trials/field.html")


def _found(name: str) -> str:
    path = finders.find(name)
    if not isinstance(path, str):
        raise FileNotFoundError(f"static file {name} of the page in the stand")
    return path


def _fresh(response: HttpResponse) -> HttpResponse:
    """The phone's copy is the worker's business; the browser's own cache must not stand between."""
    response["Cache-Control"] = "no-cache"
    return response

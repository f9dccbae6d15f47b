"""What every page knows."""

from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from portal import access

ROOMS = (
    ("Trees", "trials:trees"),
    ("Sawing", "sawing:studies"),
    ("Boards", "grading:boards"),
    ("Clones", "reports:clones"),
    ("Files", "portal:files"),
)


def navigation(request: HttpRequest) -> dict[str, Any]:
    """The rooms in the order in which material walks through them, the present one marked."""
    rooms = [{"label": label, "url": reverse(name)} for label, name in ROOMS]
    user = getattr(request, "user", None)  # none when a request is refused before anybody looked who sent it
    if user is not None and user.is_authenticated and not access.works_inside(user):
        rooms = [room for room in rooms if room["url"] == reverse("grading:boards")]
    return {"navigation": [{**room, "here": request.path.startswith(room["url"])} for room in rooms]}

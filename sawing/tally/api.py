"""What a scanner's page asks and sends, as JSON. Views only translate; every answer is JSON, signed out or not."""

import json
from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse

from sawing.calc.tally_reading import read_id
from sawing.tally.actions import AT_ONCE, receive_tally
from sawing.tally.doors import study_to_send_to, tally_study
from sawing.tally.pack import pack
from trials.calc.entry_reading import plain_json
from trials.entries.api import json_view


@json_view("GET")
def tally_pack(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The pack of a study. 404 for those outside its trial, 403 for those of it who do not tally."""
    return JsonResponse(pack(tally_study(request, trial, study)))


@json_view("POST")
def tally_entries(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """Entries from a scanner, at most AT_ONCE, and what became of each."""
    found = study_to_send_to(request, trial, study)
    sent = _body(request)
    device = read_id(sent.get("device")) if isinstance(sent, dict) else None
    listed = sent.get("entries") if isinstance(sent, dict) else None
    if device is None or not isinstance(listed, list) or len(listed) > AT_ONCE:
        wanted = f'expected {{"device": UUID, "entries": [at most {AT_ONCE}]}}'
        return JsonResponse({"error": wanted}, status=400)
    answers = receive_tally(study=found, device=device, entries=listed, by=request.user)
    return JsonResponse({"answers": [a.to_dict() for a in answers]})


def _body(request: HttpRequest) -> Any:
    """The JSON that was sent; None when it is none, or nested beyond reason."""
    try:
        return plain_json(json.loads(request.body))
    except (ValueError, RecursionError):
        return None

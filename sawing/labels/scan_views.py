"""The scan page: codes by wedge scanner, by hand or from a photo, and the board they were read on."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from portal.calc.shown import counted
from portal.codes.photos import PhotoRefusedError
from sawing.labels import actions, queries
from sawing.labels.doors import may_write
from sawing.labels.forms import LinkForm
from sawing.labels.pictures import place_picture
from sawing.labels.reading import labels_in_photo
from sawing.models import Board, BoardCode, ReadBy, Study
from sawing.queries import study_for

MOST_CODES = 60


@require_http_methods(["GET", "POST"])
def scan_labels(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """What codes say: log, end, cell, place in the log, board. Codes stand in the address; a photo is read and
    leads there, and is not kept. Mill staff and managers link codes to boards."""
    found = study_for(request.user, trial, study)
    if request.method == "POST":
        if "photo" in request.FILES or request.POST.get("do") == "photo":
            return _photo(request, found)
        return _written(request, found)
    texts = _texts(request)
    read = queries.read_texts(found, texts)
    ends = queries.together(read)
    boards = _boards(found, ends)
    context = {
        "study": found,
        "trial": found.trial,
        "read": read,
        "kept": [one.text for one in read],
        "read_by": request.GET.get("read_by", ReadBy.SCANNER),
        "ends": [{"end": end, "pictures": place_picture(end)} for end in ends],
        "may_write": may_write(request, found),
        "link": LinkForm(boards=boards) if boards else None,
        "linkable": [one.text for one in read if one.sheet and not one.link],
        "several_logs": len({end.sheet.serial.log_id for end in ends}) > 1,
        "any_sheet": bool(read) or queries.all_sheets(found).exists(),
    }
    return render(request, "sawing/labels/scan.html", context)


def _texts(request: HttpRequest) -> list[str]:
    """Codes seen so far, then those just scanned or typed; the newest stay when there are too many."""
    texts = [text[:100] for text in request.GET.getlist("seen")]
    texts += [text[:100] for text in queries.texts_in(request.GET.get("code", "")[:2000])]
    return list(dict.fromkeys(texts))[-MOST_CODES:]


def _boards(study: Study, ends: list[queries.EndRead]) -> list[Board]:
    """The boards that codes can be linked to: those of their log, where it is one."""
    logs = {end.sheet.serial.log_id for end in ends}
    if len(logs) != 1:
        return []
    codes = Count("codes", filter=Q(codes__withdrawn_at__isnull=True))
    return list(study.boards.filter(log_id=logs.pop()).annotate(n_codes=codes).order_by("code"))


def _photo(request: HttpRequest, study: Study) -> HttpResponse:
    sent = request.FILES.get("photo")
    seen = request.POST.getlist("seen")[:MOST_CODES]
    if sent is None:
        messages.warning(request, "Choose a photo first.")
        return redirect(scan_url(study, seen))
    try:
        found = labels_in_photo(sent.read())
    except PhotoRefusedError as refused:
        messages.warning(request, str(refused))
        return redirect(scan_url(study, seen))
    if found:
        messages.success(request, f"{counted(len(found), 'code')} read in the photo.")
    else:
        messages.warning(request, "No code could be read: go nearer, keep still, avoid glare and shade.")
    texts = list(dict.fromkeys([*seen, *(code.text for code, _ in found)]))[-MOST_CODES:]
    return redirect(scan_url(study, texts, ReadBy.PHOTO if found else ""))


def _written(request: HttpRequest, study: Study) -> HttpResponse:
    if not may_write(request, study):
        raise PermissionDenied("Codes are linked by mill staff and the trial's managers.")
    seen = request.POST.getlist("seen")[:MOST_CODES]
    do = request.POST.get("do", "")
    if do.startswith("off-") and do[4:].isdigit():
        link = get_object_or_404(
            BoardCode.objects.select_related("board__study"), pk=do[4:], board__study=study
        )
        actions.take_off(code=link, by=request.user)
        messages.success(request, f"The code is taken off board {link.board.code}.")
        return redirect(scan_url(study, seen))
    board = study.boards.select_related("study").filter(code=request.POST.get("board", "")).first()
    if board is None:
        messages.warning(request, "Choose the board first.")
        return redirect(scan_url(study, seen))
    codes = [one.code for one in queries.read_texts(study, seen) if one.sheet and one.code]
    try:
        read_by = request.POST.get("read_by", "")
        linked = actions.link_codes(
            board=board,
            by=request.user,
            codes=codes,
            read_by=read_by if read_by in ReadBy.values else ReadBy.SCANNER,
        )
    except actions.LabelsRefusedError as refused:
        messages.warning(request, str(refused))
        return redirect(scan_url(study, seen))
    messages.success(request, f"{counted(linked.new, 'code')} linked to board {board.code}.")
    return redirect(scan_url(study, seen))


def scan_url(study: Study, texts: list[str], read_by: str = "") -> str:
    """The address of the scan page with these codes on it."""
    asked: list[tuple[str, Any]] = [("seen", text) for text in texts]
    if read_by:
        asked.append(("read_by", read_by))
    query = f"?{urlencode(asked)}" if asked else ""
    return f"{reverse('sawing:scan_labels', args=[study.trial.code, study.code])}{query}"

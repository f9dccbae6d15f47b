"""The balance of the logs as they are sawn, and what waits for a person's decision."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import BadRequest, PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from portal import access
from portal.tables import Column, Table
from portal.uploads.queries import manager_of
from sawing.links import log_url
from sawing.log_pictures import balance_picture
from sawing.models import Study
from sawing.queries import study_for
from sawing.tally import actions, queries
from sawing.tally.held import as_typed, changes_from

SETTLED = "It is settled; everything that was said stays on record."
NO_BUTTON = "do: expected a button of the page"


@require_GET
def balance(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """Volume in, boards, kerf and rest of every log as they stand now, and what is odd about its boards."""
    found = study_for(request.user, trial, study)
    tallied = queries.tallied(found)
    table = Table(
        request,
        rows=tallied.rows,
        columns=_columns(found),
        what="log",
        order="log",
        file_name=f"{found.code}_balance",
    )
    if table.asked_for_download:
        return table.download()
    sawn = len(tallied.balance.parts)
    names = f"{sawn} sawn {'log' if sawn == 1 else 'logs'}"
    odd = [
        {"log": code, "url": log_url(found, code), "board": board, "text": warning.text}
        for code, listed in tallied.odd.items()
        for board, warning in listed
    ]
    context = {
        "study": found,
        "trial": found.trial,
        "table": table,
        "sawn": sawn,
        "boards": tallied.boards,
        "balance": balance_picture(names, tallied.balance, tallied.boards) if sawn else None,
        "kerf_note": tallied.balance.kerf_note,
        "odd": odd,
        "odd_title": f"{len(odd)} boards or logs",
        "notes": queries.notes_of(found),
        "waiting": queries.waiting_counts(found),
        "may_tally": access.may(request.user, found.trial_id, actions.MAY_TALLY),
    }
    return render(request, "sawing/tally/balance.html", context)


def _columns(study: Study) -> list[Column]:
    return [
        Column(
            "log", "Log", kind="code", key=True, url=lambda r: log_url(study, r["log"]), filter="contains"
        ),
        Column("clone", "Clone", kind="code", filter="choice"),
        Column("volume_m3", "Volume in", kind="cubic_metres", digits=4),
        Column("boards", "Boards", kind="integer", key=True),
        Column("board_volume_m3", "In boards", kind="cubic_metres", digits=4),
        Column("kerf_m3", "Kerf, estimated", kind="cubic_metres", digits=4),
        Column("rest_m3", "Rest", kind="cubic_metres", digits=4),
        Column("recovery", "Green recovery", kind="percent", key=True),
        Column("odd_words", "Worth a look", kind="text", filter="contains"),
    ]


@require_http_methods(["GET", "POST"])
def waiting(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """Boards of which scanners say different things, and entries that could not be stored."""
    found = study_for(request.user, trial, study)
    if request.method == "POST":
        _decided(request, found)
        return redirect("sawing:tally_waiting", trial, study)
    disputes, held = queries.disputes_of(found), [as_typed(h) for h in queries.held_of(found)]
    context = {
        "study": found,
        "trial": found.trial,
        "disputes": disputes,
        "held": held,
        "n": len(disputes) + len(held),
        "may_manage": manager_of(request.user, found.trial_id),
    }
    return render(request, "sawing/tally/waiting.html", context)


def _decided(request: HttpRequest, study: Study) -> None:
    """Do what the button says: "choose-7" and "aside-7" of an entry, "file-7" of its board; "mend-3", "overrule-3",
    "drop-3" of a held one."""
    if not manager_of(request.user, study.trial_id):
        raise PermissionDenied("The tally is settled by the trial's managers.")
    do, _, number = request.POST.get("do", "").partition("-")
    if not number.isdecimal() or len(number) > 18:
        raise BadRequest(NO_BUTTON)
    try:
        if do in ("mend", "overrule", "drop"):
            _settle_held(request, study, do, int(number))
        else:
            _settle_entry(request, study, do, int(number))
    except ValidationError as refused:
        messages.error(request, " ".join(refused.messages))


def _settle_entry(request: HttpRequest, study: Study, do: str, pk: int) -> None:
    by: Any = request.user
    entry = get_object_or_404(study.tally_entries, pk=pk)
    if do == "choose":
        actions.settle_tally(study=study, entry_id=entry.pk, by=by)
    elif do == "file":
        actions.keep_board(study=study, board_code=entry.board_code, by=by)
    elif do == "aside":
        actions.set_tally_aside(study=study, entry_id=entry.pk, by=by)
    else:
        raise BadRequest(NO_BUTTON)
    messages.success(request, SETTLED)


def _settle_held(request: HttpRequest, study: Study, do: str, pk: int) -> None:
    by: Any = request.user
    held = get_object_or_404(study.held_tallies, pk=pk)
    if do == "drop":
        actions.set_held_tally_aside(study=study, held_id=pk, by=by)
        messages.success(request, SETTLED)
        return
    changes = changes_from(request.POST, held)
    mended = actions.mend_held_tally(study=study, held_id=pk, changes=changes, by=by, forced=do == "overrule")
    if mended.state == "waiting":
        messages.warning(
            request, "It still cannot be stored; the reasons stand beside it, and it goes on waiting."
        )
    else:
        messages.success(request, "It is stored, in the name of who tallied it.")

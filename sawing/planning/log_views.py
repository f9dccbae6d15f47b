"""Logs typed on a tablet beside the stem, and corrections of logs."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import F
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from portal.uploads.queries import may_bring
from sawing.links import felling_url, log_url
from sawing.models import Felling, Log, Study
from sawing.planning import actions, queries
from sawing.planning.felling_views import page
from sawing.planning.forms import LogForm
from sawing.queries import LOG_NUMBERS, logs_of, study_for


@require_http_methods(["GET", "POST"])
def new_log(request: HttpRequest, trial: str, study: str, tree: str) -> HttpResponse:
    """The next log of a stem: code and lower end are suggested from the logs below it."""
    stem = queries.felling_for(request.user, trial, study, tree)
    _required(request, stem.study)
    form = LogForm(request.POST or None, initial=next_log(stem))
    doubts: list[str] = []
    if request.method == "POST" and form.is_valid():
        try:
            log = actions.enter_log(
                study=stem.study, values=form.values(tree), by=request.user, sure="sure" in request.POST
            )
        except actions.LogRefusedError as refused:
            form.refuse(refused.problems)
        except actions.AskedError as asked:
            doubts = asked.doubts
        else:
            messages.success(request, f"Log {log.code} is stored.")
            if request.POST.get("then") == "next":
                return redirect("sawing:new_log", trial, study, tree)
            return redirect(felling_url(stem.study, tree))
    logs = stem.logs.annotate(top_m=F("bottom_m") + F("length_m")).order_by("bottom_m", "code")
    context = page(request, stem.study, form=form, felling=stem, tree=stem.tree, logs=logs, doubts=doubts)
    return render(
        request, "sawing/planning/log_form.html", context, status=422 if form.errors or doubts else 200
    )


@require_http_methods(["GET", "POST"])
def change_log(request: HttpRequest, trial: str, study: str, code: str) -> HttpResponse:
    """Correct what was measured of a log; its code and its tree stay."""
    found = study_for(request.user, trial, study)
    _required(request, found)
    log = get_object_or_404(logs_of(found).select_related("study__trial"), code=code)
    form = LogForm(request.POST or None, stored=log, initial=written(log))
    doubts: list[str] = []
    if request.method == "POST" and form.is_valid():
        try:
            actions.change_log(
                log=log,
                values=form.values(log.felling.tree.code),
                by=request.user,
                sure="sure" in request.POST,
            )
        except actions.LogRefusedError as refused:
            form.refuse(refused.problems)
        except actions.AskedError as asked:
            doubts = asked.doubts
        else:
            messages.success(request, f"Log {code} is corrected; the earlier measures stay in the history.")
            return redirect(log_url(found, code))
    context = page(request, found, form=form, log=log, tree=log.felling.tree, doubts=doubts)
    return render(
        request, "sawing/planning/log_form.html", context, status=422 if form.errors or doubts else 200
    )


def next_log(stem: Felling) -> dict[str, Any]:
    """What a new log's form begins with: the next free code, and the top of the log below or the stump."""
    logs = list(stem.logs.order_by("bottom_m"))
    taken = set(stem.study.logs.filter(code__startswith=f"{stem.tree.code}-").values_list("code", flat=True))
    number = next(
        n for n in range(len(logs) + 1, len(logs) + len(taken) + 2) if f"{stem.tree.code}-{n}" not in taken
    )
    first = {"log": f"{stem.tree.code}-{number}", "bark": logs[-1].bark if logs else "under"}
    bottom = logs[-1].bottom_m + logs[-1].length_m if logs else stem.stump_m
    return first if bottom is None else {**first, "bottom_m": f"{bottom:.3f}".rstrip("0").rstrip(".")}


def written(log: Log) -> dict[str, Any]:
    """The stored measures as they are typed."""
    numbers = {name: getattr(log, name) for name in LOG_NUMBERS}
    texts = {name: f"{value:.10g}" for name, value in numbers.items() if value is not None}
    return {**texts, "sections_mm": log.sections_mm or "", "bark": log.bark}


def _required(request: HttpRequest, study: Study) -> None:
    if not may_bring(request.user, study.trial_id, "logs"):
        raise PermissionDenied("Logs are entered by the mill and the trial's managers.")

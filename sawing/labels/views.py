"""Pages of label sheets: the logs with their sheets, printing them, putting them on."""

import uuid
from typing import Any

from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.html import format_html
from django.utils.http import content_disposition_header
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from portal.calc.shown import counted
from portal.models import Job, JobState
from portal.tables import Column, Table
from sawing.calc.label_code import LabelCode
from sawing.labels import actions, queries
from sawing.labels.doors import may_write, written_study
from sawing.labels.forms import MakeForm, PutOnForm
from sawing.labels.pictures import sheet_picture
from sawing.labels.print_job import KIND, file_of
from sawing.labels.sheet_pdf import sheets_pdf
from sawing.links import log_url
from sawing.models import LabelSheet, Log, Study
from sawing.queries import study_for

MOST_PRINTED = 24  # sheets at once: some seconds; more are a job
REASONS_SHOWN = 5


@require_http_methods(["GET", "POST"])
def labels(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The logs of a study with their sheets; mill staff and managers make sheets here."""
    posted = request.method == "POST"
    found = written_study(request, trial, study) if posted else study_for(request.user, trial, study)
    form = MakeForm(request.POST if posted else None, initial=MakeForm.first(found))
    if posted and form.is_valid() and _made(request, found, form):
        return redirect("sawing:labels", trial, study)
    writes = may_write(request, found)
    table = Table(
        request,
        rows=queries.log_rows(found),
        # Ticks are for the page; a downloaded table has none.
        columns=_columns(found, writes and "download" not in request.GET, set(request.POST.getlist("log"))),
        what="log",
        order="log",
        file_name=f"{found.code}_labels",
    )
    if table.asked_for_download:
        return table.download()
    context = {
        "study": found,
        "trial": found.trial,
        "form": form,
        "table": table,
        "may_write": writes,
        "most": MOST_PRINTED,
        "n_sheets": queries.sheets_of(found).count(),
        "n_unlinked": queries.boards_without_codes(found) if writes else 0,
    }
    return render(request, "sawing/labels/labels.html", context, status=422 if form.errors else 200)


def _made(request: HttpRequest, study: Study, form: MakeForm) -> bool:
    """Make what a valid form asks for and say what came of it; False with the reason on the form."""
    given = form.cleaned_data
    logs = _asked_logs(study, given["which"], request.POST.getlist("log"))
    if not logs:
        form.add_error("which", "No log is among these: tick logs in the list, or choose all.")
        return False
    try:
        made = actions.make_sheets(
            study=study, by=request.user, logs=logs, board=given["board"], anew=given["anew"]
        )
    except actions.LabelsRefusedError as refused:
        form.add_error(None, str(refused))
        return False
    if made.refused and not made.sheets and not made.had:
        form.add_error(None, f"No sheet is made: {made.refused[0][1]}.")
        return False
    if made.sheets:
        fewest = min(sheet.fewest_codes for sheet in made.sheets)
        words = counted(len(made.sheets) // 2, "log")
        messages.success(
            request,
            f"Sheets for {words} are made; every board keeps at least {fewest} whole codes. Print them next.",
        )
    if made.had:
        messages.info(request, f"{counted(len(made.had), 'log')} had sheets already and keep them.")
    for log, reason in made.refused[:REASONS_SHOWN]:
        messages.warning(request, f"Log {log.code}: {reason}.")
    if len(made.refused) > REASONS_SHOWN:
        messages.warning(request, f"{len(made.refused) - REASONS_SHOWN} more logs are refused likewise.")
    return True


def _asked_logs(study: Study, which: str, ticked: list[str]) -> list[Log]:
    logs = study.logs.order_by("code")
    if which == "chosen":
        logs = logs.filter(code__in=ticked)
    elif which == "without":
        logs = logs.exclude(pk__in=queries.current_serials().filter(log__study=study).values("log_id"))
    return list(logs)


@require_POST
def print_labels(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The PDF of both ends of the ticked logs, or of all."""
    found = written_study(request, trial, study)
    ticked = request.POST.getlist("log")
    sheets = list(
        queries.sheets_of(found, ticked if request.POST.get("which") == "chosen" or ticked else None)
    )
    if not sheets:
        messages.warning(request, "No sheet is made for these logs yet.")
        return redirect("sawing:labels", trial, study)
    if len(sheets) > MOST_PRINTED:
        job = actions.start_printing(study=found, by=request.user, sheets=sheets)
        return redirect("portal:job", job.pk)
    return _pdf(request, found, sheets, f"{found.code}_labels")


@require_http_methods(["GET", "POST"])
def label_sheet(request: HttpRequest, trial: str, study: str, pk: int) -> HttpResponse:
    """One sheet: what it guarantees, how it was put on, its place on the end; the form that says so."""
    posted = request.method == "POST"
    found = written_study(request, trial, study) if posted else study_for(request.user, trial, study)
    sheet = queries.sheet_for(found, pk)
    if posted and request.POST.get("do") == "print":
        return _pdf(request, found, [sheet], f"{sheet.serial.log.code}_{sheet.end}")
    initial = {"turned_deg": sheet.turned_deg, "note": sheet.note}
    form = PutOnForm(request.POST if posted else None, initial=initial)
    if posted and form.is_valid():
        try:
            actions.put_on(sheet=sheet, by=request.user, **form.cleaned_data)
        except actions.LabelsRefusedError as refused:
            form.add_error("pith", str(refused))
        else:
            messages.success(request, f"The {sheet.end} end of log {sheet.serial.log.code} is labelled.")
            return redirect("sawing:label_sheet", trial, study, pk)
    wide, narrow = sheet_picture(sheet)
    context = {
        "study": found,
        "trial": found.trial,
        "sheet": sheet,
        "log": sheet.serial.log,
        "form": form,
        "may_write": may_write(request, found),
        "log_url": log_url(found, sheet.serial.log.code),
        "wide": wide,
        "narrow": narrow,
        "n_codes": len(queries.drawn(sheet).cells),
        "pith": None if sheet.pith_row is None else _pith(sheet),
    }
    return render(request, "sawing/labels/sheet.html", context, status=422 if form.errors else 200)


def _pith(sheet: LabelSheet) -> str:
    seated = queries.on_log(sheet)
    return LabelCode(sheet.serial.number, int(sheet.end == "top"), seated.pith_row, seated.pith_col).cell


@require_GET
def label_file(request: HttpRequest, trial: str, study: str, name: uuid.UUID) -> HttpResponseBase:
    """The PDF that a job made; its job while it is being made."""
    found = study_for(request.user, trial, study)
    asked = {"study": found.pk, "file": str(name)}
    job = get_object_or_404(Job, kind=KIND, trial_id=found.trial_id, parameters__contains=asked)
    if job.state != JobState.DONE:
        return redirect("portal:job", job.pk)
    path = file_of(str(name))
    if not path.exists():
        raise Http404("The file was kept for a week: print the sheets again.")
    return FileResponse(path.open("rb"), as_attachment=True, filename=f"{found.code}_labels.pdf")


@require_POST
def link_named_boards(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """Link boards whose own code is a label's code."""
    found = written_study(request, trial, study)
    linked = actions.link_boards_named_by_labels(study=found, by=request.user)
    messages.success(request, f"{counted(linked, 'board')} linked to the code that names them.")
    return redirect("sawing:labels", trial, study)


def _pdf(request: HttpRequest, study: Study, sheets: list[LabelSheet], name: str) -> HttpResponse:
    content = sheets_pdf([queries.drawn(sheet) for sheet in sheets], f"Label sheets, {study.name}")
    actions.mark_printed(study=study, by=request.user, sheets=sheets)
    response = HttpResponse(content, content_type="application/pdf")
    saved_as = "".join(c for c in name if c.isalnum() or c in "-_ ")
    response["Content-Disposition"] = content_disposition_header(True, f"{saved_as}.pdf") or "attachment"
    return response


def _columns(study: Study, writes: bool, ticked: set[str]) -> list[Column]:
    def tick(value: Any, row: Any) -> Any:
        return format_html(
            '<input type="checkbox" name="log" value="{}" form="make" aria-label="Log {}"{}>',
            row["log"], row["log"], mark_safe(" checked") if row["log"] in ticked else "",
        )  # fmt: skip

    def sheet_url(end: str) -> Any:
        def url(row: Any) -> str | None:
            sheet = row[end]
            return sheet and reverse("sawing:label_sheet", args=[study.trial.code, study.code, sheet.pk])

        return url

    def sheet_words(value: Any, row: Any) -> str:
        if value is None:
            return ""
        return "put on" if value.put_on_at else "printed" if value.printed_at else "made"

    ticks = [Column("tick", "Tick", key=True, sort=False, show=tick)] if writes else []
    return [
        *ticks,
        Column(
            "log", "Log", kind="code", key=True, url=lambda r: log_url(study, r["log"]), filter="contains"
        ),
        Column("clone", "Clone", kind="code", filter="choice"),
        Column("butt_mm", "Butt end", kind="number", digits=0, unit="mm"),
        Column("top_mm", "Top end", kind="number", digits=0, unit="mm"),
        Column("serial", "Number", kind="code", key=True),
        Column("state", "Sheets", filter="choice"),
        Column("butt", "Butt sheet", sort=False, url=sheet_url("butt"), show=sheet_words, key=True),
        Column("top", "Top sheet", sort=False, url=sheet_url("top"), show=sheet_words, key=True),
        Column("boards_mm", "For boards of", unit="mm"),
        Column("fewest", "Fewest codes", kind="integer"),
        Column("codes", "Codes on boards", kind="integer"),
    ]

"""Studies, their plan, their logs."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from portal.tables import Column, Table
from portal.uploads.queries import manager_of, may_bring
from sawing import actions, queries
from sawing.calc.board_volume import board_volumes
from sawing.calc.log_formulae import formulae
from sawing.calc.log_volume import log_volumes
from sawing.forms import StudyForm
from sawing.links import board_url, log_url, study_url
from sawing.log_pictures import balance_picture, ends
from sawing.models import Study
from trials.queries import trial_for, trials_of


@require_GET
def studies(request: HttpRequest) -> HttpResponse:
    """The studies a person belongs to; straight to the study when there is only one."""
    found = list(queries.studies_of(request.user))
    managed = [t for t in trials_of(request.user) if manager_of(request.user, t.pk)]
    if len(found) == 1 and not managed:
        return redirect(study_url(found[0]))
    return render(request, "sawing/studies.html", {"studies": found, "managed": managed})


@require_http_methods(["GET", "POST"])
def new_study(request: HttpRequest, trial: str) -> HttpResponse:
    found = trial_for(request.user, trial)
    if not manager_of(request.user, found.pk):
        raise PermissionDenied("Studies are started by the trial's managers.")
    form = StudyForm(request.POST or None, instance=Study(trial=found))
    if request.method == "POST" and form.is_valid():
        if found.studies.filter(code=form.cleaned_data["code"]).exists():
            form.add_error("code", "The trial has a study of this code already: choose another.")
        else:
            study = actions.create_study(trial=found, by=request.user, **form.plan())
            messages.success(request, "The study is started. Bring its logs next.")
            return redirect(study_url(study))
    context = {"form": form, "trial": found, "study": None}
    return render(request, "sawing/plan.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def plan(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The plan of a study; managers change it."""
    found = queries.study_for(request.user, trial, study)
    if request.method == "POST" and not manager_of(request.user, found.trial_id):
        raise PermissionDenied("The plan is changed by the trial's managers.")
    form = StudyForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        actions.change_study(study=found, by=request.user, **form.plan())
        messages.success(request, "The plan is changed; the earlier one stays in the history.")
        return redirect(study_url(found))
    context = {
        "form": form,
        "trial": found.trial,
        "study": queries.study_for(request.user, trial, study),
        "may_write": manager_of(request.user, found.trial_id),
    }
    return render(request, "sawing/plan.html", context, status=422 if form.errors else 200)


@require_GET
def logs(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The logs of a study with their volume and the boards that came out."""
    found = queries.study_for(request.user, trial, study)
    frame = queries.log_rows(found)
    table = Table(
        request,
        rows=frame,
        columns=[
            Column(
                "log", "Log", kind="code", key=True, url=lambda r: log_url(found, r["log"]), filter="contains"
            ),
            Column("clone", "Clone", kind="code", filter="choice"),
            Column("tree", "Tree", kind="code", filter="choice"),
            Column("bottom_m", "Bottom", kind="number", digits=2, unit="m"),
            Column("length_m", "Length", kind="number", digits=2, unit="m"),
            Column("sed_mm", "Small end", kind="number", digits=0, unit="mm"),
            Column("led_mm", "Large end", kind="number", digits=0, unit="mm"),
            Column("taper_mm_per_m", "Taper", kind="number", digits=1, unit="mm/m"),
            Column("sweep_mm", "Sweep", kind="number", digits=0, unit="mm"),
            Column("volume_m3", "Volume", kind="cubic_metres", digits=4),
            Column("boards", "Boards", kind="integer", key=True),
            Column("board_volume_m3", "In boards", kind="cubic_metres", digits=4),
            Column("recovery", "Green recovery", kind="percent", key=True),
        ],
        what="log",
        order="log",
        file_name=f"{found.code}_logs",
    )
    if table.asked_for_download:
        return table.download()
    formula = log_volumes(frame.head(0), found.log_volume_formula, found.bark_factor).formula
    context = {
        "study": found,
        "trial": found.trial,
        "table": table,
        "formula": formula,
        "may_bring": may_bring(request.user, found.trial_id, "logs"),
    }
    return render(request, "sawing/logs.html", context)


@require_GET
def log(request: HttpRequest, trial: str, study: str, code: str) -> HttpResponse:
    """One log: its measures, its volume by every formula, its boards, where its wood went."""
    found = queries.study_for(request.user, trial, study)
    log = get_object_or_404(queries.logs_of(found), code=code)
    frame = queries.log_frame(found)
    one = frame[frame["log"] == code]
    boards = queries.board_frame(found)
    boards = boards[boards["log"] == code].assign(volume_m3=lambda b: board_volumes(b).volume_m3)
    chosen = log_volumes(one, found.log_volume_formula, found.bark_factor)
    table = Table(
        request,
        rows=boards,
        columns=board_columns(found),
        what="board",
        order="board",
        file_name=f"{code}_boards",
    )
    if table.asked_for_download:
        return table.download()
    balance = queries.balance_of(found, one, boards)
    context = {
        "study": found,
        "trial": found.trial,
        "log": log,
        "table": table,
        "formula": chosen.formula,
        "volumes": _by_formula(one, found.bark_factor),
        "kerf_note": balance.kerf_note,
        # Without a volume there is nothing to part; the table of formulae says what is missing.
        "balance": balance_picture(code, balance, len(boards)) if chosen.volume_m3.notna().all() else None,
        "end": ends(found, one.iloc[0].to_dict(), boards) if len(boards) else None,
    }
    return render(request, "sawing/log.html", context)


def board_columns(study: Study) -> list[Column]:
    """The columns in which boards of one log are listed."""
    return [
        Column("board", "Board", kind="code", key=True, url=lambda r: board_url(study, r["board"])),
        Column("flitch", "Flitch", kind="code"),
        Column("piece", "Piece", kind="code"),
        Column("cell", "Cell", kind="code"),
        Column("thickness_mm", "Thickness", kind="number", digits=1, unit="mm"),
        Column("width_mm", "Width", kind="number", digits=0, unit="mm", key=True),
        Column("length_m", "Length", kind="number", digits=2, unit="m", key=True),
        Column("volume_m3", "Volume", kind="cubic_metres", digits=5),
    ]


def _by_formula(log: Any, bark_factor: float | None) -> list[dict[str, Any]]:
    rows = []
    for info in formulae():
        found = log_volumes(log, info.name, bark_factor)
        reason = "; ".join(f"{p.column}: expected {p.expected}" for p in found.problems)
        rows.append(
            {"info": info, "volume": None if found.problems else found.volume_m3.iloc[0], "reason": reason}
        )
    return rows

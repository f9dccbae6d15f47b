"""The plan of a study, who does what, and how far each stage is."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from portal.tables import Column, Table
from portal.uploads.queries import manager_of
from sawing.actions import change_study, create_study
from sawing.forms import StudyForm
from sawing.links import board_url, felling_url, log_url, study_url
from sawing.models import Stage, Study
from sawing.planning import actions, queries
from sawing.planning.forms import DutyForm
from sawing.queries import study_for
from trials.queries import trial_for

CAUTIONS = {"felled": "C1", "logged": "C1", "labelled": "C2", "sawn": "C2", "stacked": "C3", "dried": "C3"}


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
            study = create_study(trial=found, by=request.user, **form.plan())
            messages.success(request, "The study is started. Bring its logs next.")
            return redirect(study_url(study))
    context = {"form": form, "trial": found, "study": None}
    return render(request, "sawing/planning/plan.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def plan(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The plan of a study; managers change it."""
    found = study_for(request.user, trial, study)
    if request.method == "POST" and not manager_of(request.user, found.trial_id):
        raise PermissionDenied("The plan is changed by the trial's managers.")
    form = StudyForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        change_study(study=found, by=request.user, **form.plan())
        messages.success(request, "The plan is changed; the earlier one stays in the history.")
        return redirect(study_url(found))
    stored = study_for(request.user, trial, study)
    context = {
        "form": form,
        "trial": found.trial,
        "study": stored,
        "facts": facts_of(stored),
        "duties": duties_by_stage(stored),
        "may_write": manager_of(request.user, found.trial_id),
    }
    return render(request, "sawing/planning/plan.html", context, status=422 if form.errors else 200)


def facts_of(study: Study) -> list[tuple[str, list[tuple[str, Any]]]]:
    """The plan in groups of (label, value), for those who only read it."""
    form = StudyForm(instance=study)
    groups = []
    for title, fields in form.groups():
        facts = []
        for bound in fields:
            value = getattr(study, bound.name, None) if bound.name not in ("thicknesses", "widths") else None
            if bound.name in ("thicknesses", "widths"):
                value = ", ".join(f"{v:g}" for v in getattr(study, f"{bound.name}_mm"))
            elif bound.name == "sweep_position":
                value = study.get_sweep_position_display()
            if isinstance(value, float):
                value = f"{value:g}"
            unit = getattr(bound.field, "unit", "")
            facts.append((f"{bound.label}, {unit}" if unit else bound.label, value))
        groups.append((title, facts))
    return groups


def duties_by_stage(study: Study) -> list[dict[str, Any]]:
    """Every stage with those who answer for it and the caution of its work."""
    found = queries.duties_of(study)
    return [
        {"stage": stage.label, "caution": CAUTIONS.get(stage.value, ""), "duties": duties}
        for stage in Stage
        for duties in [[d for d in found if d.stage == stage.value]]
    ]


@require_http_methods(["GET", "POST"])
def duties(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """Who does what; managers add and end duties."""
    found = study_for(request.user, trial, study)
    may_write = manager_of(request.user, found.trial_id)
    if request.method == "POST" and not may_write:
        raise PermissionDenied("Who does what is set by the trial's managers.")
    form = DutyForm(request.POST or None, people=queries.people_of(found))
    if request.method == "POST" and form.is_valid():
        duty = actions.add_duty(study=found, by=request.user, **form.cleaned_data)
        messages.success(request, f"{duty.person or duty.name} answers for “{duty.get_stage_display()}”.")
        return redirect("sawing:duties", trial, study)
    context = {
        "study": found,
        "trial": found.trial,
        "form": form,
        "duties": duties_by_stage(found),
        "may_write": may_write,
    }
    return render(request, "sawing/planning/duties.html", context, status=422 if form.errors else 200)


@require_POST
def end_duty(request: HttpRequest, trial: str, study: str, pk: int) -> HttpResponse:
    found = study_for(request.user, trial, study)
    duty = get_object_or_404(found.duties.select_related("study", "person"), pk=pk)
    actions.end_duty(duty=duty, by=request.user)
    messages.success(
        request, f"{duty.person or duty.name} no longer answers for “{duty.get_stage_display()}”."
    )
    return redirect("sawing:duties", trial, study)


@require_GET
def stage(request: HttpRequest, trial: str, study: str, stage: str, which: str) -> HttpResponse:
    """The trees, logs or boards with which a stage is done, or those it still misses."""
    found = study_for(request.user, trial, study)
    if stage not in Stage.values or which not in ("done", "missing"):
        raise Http404("No such stage.")
    piece = queries.PIECES.get(stage, "board")
    table = Table(
        request,
        rows=queries.stage_rows(found, stage, which == "done"),
        columns=_columns(found, piece),
        what=piece,
        order="tree__code" if piece == "tree" else "code",
        file_name=f"{found.code}_{stage}_{which}",
    )
    if table.asked_for_download:
        return table.download()
    context = {
        "study": found,
        "trial": found.trial,
        "stage": Stage(stage),
        "which": which,
        "title": f"{Stage(stage).label}: what is missing",
        "piece": piece,
        "caution": CAUTIONS.get(stage, ""),
        "table": table,
    }
    return render(request, "sawing/planning/stage.html", context)


def _columns(study: Study, piece: str) -> list[Column]:
    if piece == "tree":
        return [
            Column(
                "tree__code", "Tree", kind="code", key=True, url=lambda f: felling_url(study, f.tree.code)
            ),
            Column("tree__clone__code", "Clone", kind="code", key=True, filter="choice"),
            Column("tree__site__code", "Site", kind="code", filter="choice"),
            Column("felled_on", "Felled", kind="date"),
            Column("n_logs", "Logs", kind="integer", key=True),
        ]
    if piece == "log":
        return [
            Column("code", "Log", kind="code", key=True, url=lambda row: log_url(study, row.code)),
            Column("felling__tree__clone__code", "Clone", kind="code", key=True, filter="choice"),
            Column("felling__tree__code", "Tree", kind="code"),
            Column("length_m", "Length", kind="number", digits=2, unit="m"),
            Column("n_boards", "Boards", kind="integer", key=True),
        ]
    return [
        Column("code", "Board", kind="code", key=True, url=lambda b: board_url(study, b.code)),
        Column("log__felling__tree__clone__code", "Clone", kind="code", key=True, filter="choice"),
        Column("log__code", "Log", kind="code", url=lambda b: log_url(study, b.log.code)),
        Column("state", "State", key=True, show=lambda _, b: b.get_state_display()),
        Column("width_mm", "Width", kind="number", digits=0, unit="mm"),
        Column("length_m", "Length", kind="number", digits=2, unit="m"),
    ]

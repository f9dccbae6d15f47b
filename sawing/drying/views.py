"""Drying of a study at a glance; yards, new stacks, and meters beside the oven."""

from typing import Any

import pandas as pd
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from portal.tables import Column, Table
from sawing.calc.moisture import CALIBRATION_PAIRS, fit_calibration
from sawing.drying import actions, queries
from sawing.drying.doors import may_write, required, written_stack, written_study
from sawing.drying.forms import MONTHS, StackForm, YardForm
from sawing.drying.links import stack_url, yard_url
from sawing.links import board_url
from sawing.models import Stack, StackPlacing, Study, Yard
from sawing.queries import state_counts, study_for


def page(request: HttpRequest, study: Study, **more: Any) -> dict[str, Any]:
    """What every page of drying needs."""
    return {"study": study, "trial": study.trial, "may_write": may_write(request, study), **more}


@require_GET
def drying(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The stacks of a study, its yards, and how many boards lie where."""
    found = study_for(request.user, trial, study)
    table = Table(
        request,
        rows=queries.stacks_of(found),
        columns=[
            Column("code", "Stack", kind="code", key=True, url=stack_url),
            Column("state", "State", key=True, show=lambda _, s: s.get_state_display()),
            Column("yard__name", "Yard"),
            Column("place", "Place"),
            Column("n_boards", "Boards in it", kind="integer", key=True),
            Column("n_ever", "Boards ever", kind="integer"),
            Column("target_pct", "Target", kind="number", digits=0, unit="%"),
            Column("built_on", "Built", kind="date"),
            Column("last_read", "Last read", kind="date", sort=False),
            Column("released_on", "Released", kind="date"),
        ],
        what="stack",
        order="code",
    )
    if table.asked_for_download:
        return table.download()
    states = state_counts(found)
    context = page(
        request,
        found,
        table=table,
        yards=[(y, yard_url(found, y), queries.climate_of(y)) for y in queries.yards_of(found)],
        sawn=states.get("sawn", 0),
        in_stack=StackPlacing.objects.filter(stack__study=found, taken_on__isnull=True).count(),
        dry=states.get("dry", 0),
        n_boards=sum(states.values()),
    )
    return render(request, "sawing/drying/drying.html", context)


@require_http_methods(["GET", "POST"])
def new_yard(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    found = written_study(request, trial, study)
    return _yard(request, found, Yard(trial=found.trial))


@require_http_methods(["GET", "POST"])
def yard(request: HttpRequest, trial: str, study: str, pk: int) -> HttpResponse:
    """A yard with its equilibrium month by month; those who keep stacks change it."""
    found = study_for(request.user, trial, study)
    if request.method == "POST":
        required(request, found)
    return _yard(request, found, queries.yard_for(request.user, trial, study, pk))


def _yard(request: HttpRequest, study: Study, yard: Yard) -> HttpResponse:
    form = YardForm(request.POST or None, instance=yard)
    if request.method == "POST" and form.is_valid():
        kept = actions.keep_yard(
            trial=study.trial, by=request.user, yard=yard if yard.pk else None, **form.values()
        )
        messages.success(request, "The yard is kept.")
        return redirect(yard_url(study, kept))
    stored = Yard.objects.get(pk=yard.pk) if yard.pk else None
    context = page(request, study, yard=stored, form=form, months=months(stored))
    return render(request, "sawing/drying/yard.html", context, status=422 if form.errors else 200)


def months(yard: Yard | None) -> list[dict[str, Any]]:
    """The months of a yard's climate with their equilibrium; empty where the climate is not known."""
    climate = queries.climate_of(yard)
    if climate is None:
        return []
    rows = zip(MONTHS, climate.temperature_c, climate.rh_pct, climate.emc_pct, climate.fitted, strict=True)
    return [{"name": n, "t": t, "rh": rh, "emc": emc, "fitted": fitted} for n, t, rh, emc, fitted in rows]


@require_http_methods(["GET", "POST"])
def new_stack(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    found = written_study(request, trial, study)
    first = {"built_on": timezone.localdate(), "target_pct": 16, "yard": found.trial.yards.first()}
    form = StackForm(request.POST or None, instance=Stack(study=found), study=found, initial=first)
    if request.method == "POST" and form.is_valid():
        built = actions.build_stack(study=found, by=request.user, **form.cleaned_data)
        messages.success(request, "The stack is begun. Choose its boards next.")
        return redirect("sawing:stack_boards", trial, study, built.code)
    context = page(request, found, form=form, n_yards=found.trial.yards.count())
    return render(request, "sawing/drying/stack_form.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def change_stack(request: HttpRequest, trial: str, study: str, code: str) -> HttpResponse:
    found = written_stack(request, trial, study, code)
    form = StackForm(request.POST or None, instance=found, study=found.study)
    if request.method == "POST" and form.is_valid():
        actions.change_stack(stack=found, by=request.user, **form.cleaned_data)
        messages.success(request, "The stack is changed; the earlier values stay in the history.")
        return redirect(stack_url(found))
    context = page(request, found.study, stack=found, form=form, n_yards=1)
    return render(request, "sawing/drying/stack_form.html", context, status=422 if form.errors else 200)


@require_GET
def calibration(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The study's meters beside oven-dry samples of the same boards and days, for all boards and by clone."""
    found = study_for(request.user, trial, study)
    pairs = queries.calibration_pairs(found)
    table = Table(
        request,
        rows=pairs,
        columns=[
            Column("board", "Board", kind="code", key=True, url=lambda r: board_url(found, r["board"])),
            Column("clone", "Clone", kind="code", filter="choice"),
            Column("read_on", "Day", kind="date", key=True),
            Column("raw_pct", "Meter", kind="number", digits=1, unit="%", key=True),
            Column("mc_pct", "Oven dry", kind="number", digits=1, unit="%", key=True),
        ],
        what="pair",
        order="board",
    )
    if table.asked_for_download:
        return table.download()
    groups = [("all boards", pairs), *pairs.groupby("clone")]
    context = page(
        request,
        found,
        table=table,
        lines=[_line(str(name), group) for name, group in groups if len(group)],
        wanted=CALIBRATION_PAIRS,
    )
    return render(request, "sawing/drying/calibration.html", context)


def _line(name: str, pairs: pd.DataFrame) -> dict[str, Any]:
    try:
        return {"name": name, "n": len(pairs), "fit": fit_calibration(pairs["raw_pct"], pairs["mc_pct"])}
    except ValueError as why:
        return {"name": name, "n": len(pairs), "why": str(why)}

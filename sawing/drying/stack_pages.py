"""Pages of one stack: how it dries, its boards, its release."""

import datetime as dt
from typing import Any

import pandas as pd
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_GET, require_http_methods

from portal.calc import shown
from portal.calc.svg import NARROW, WIDE
from portal.tables import Column, Table
from sawing.calc.picture_drying import ReadingDot, drying_picture
from sawing.calc.stack_drying import StackDrying, release_warnings
from sawing.drying import actions, queries
from sawing.drying.asked import RowsRefusedError
from sawing.drying.doors import written_stack
from sawing.drying.forms import PlaceForm, ReleaseForm
from sawing.drying.links import stack_url
from sawing.drying.views import months, page
from sawing.links import board_url
from sawing.models import Stack
from sawing.queries import boards_of

MOST_TICKS = 300


@require_GET
def stack(request: HttpRequest, trial: str, study: str, code: str) -> HttpResponse:
    """How a stack dries: curve, moisture today, the day of its target, readings and boards."""
    found = queries.stack_for(request.user, trial, study, code)
    drying, readings = queries.drying_of(found, timezone.localdate())
    tables = [_boards(request, found), _readings(request, found, readings, drying)]
    for table in tables:
        if table.asked_for_download:
            return table.download()
    context = page(
        request,
        found.study,
        stack=found,
        drying=drying,
        boards=tables[0],
        readings=tables[1],
        picture=_picture(found, drying, readings),
        months=months(found.yard),
        taken_out=list(queries.taken_out_of(found)),
        equilibrium=float(drying.line.at((drying.today - drying.start).days))
        if drying and drying.line
        else None,
    )
    return render(request, "sawing/drying/stack.html", context)


def _picture(stack: Stack, drying: StackDrying | None, readings: pd.DataFrame) -> tuple[str, str] | None:
    if drying is None or readings.empty:
        return None
    dots = [
        ReadingDot(
            row["read_on"], None if pd.isna(row["mc_pct"]) else row["mc_pct"], row["method"] == "oven_dry"
        )
        for row in readings.to_dict("records")
    ]
    boards = shown.counted(readings["board"].nunique(), "board")
    note = f"{shown.counted(len(readings), 'reading')} of {boards}; mean and its 95 % range of dates"

    def draw(width: int) -> str:
        return drying_picture(
            dots,
            drying.line,
            drying.start,
            name=f"drying-{stack.code}",
            title=f"How dry is stack {stack.code}?",
            note=note if drying.curve else f"{shown.counted(len(readings), 'reading')} of {boards}",
            curve=drying.curve,
            dates=drying.dates,
            target_pct=stack.target_pct,
            today=drying.today,
            width=width,
        )

    return draw(WIDE), draw(NARROW)


def _boards(request: HttpRequest, stack: Stack) -> Table:
    return Table(
        request,
        rows=queries.placings_of(stack),
        columns=[
            Column(
                "board__code",
                "Board",
                kind="code",
                key=True,
                url=lambda p: board_url(stack.study, p.board.code),
                filter="contains",
            ),
            Column("layer", "Layer", kind="integer", key=True),
            Column("position", "Place", kind="integer"),
            Column("board__log__felling__tree__clone__code", "Clone", kind="code", filter="choice"),
            Column("board__thickness_mm", "Thickness", kind="number", digits=1, unit="mm"),
            Column("board__width_mm", "Width", kind="number", digits=0, unit="mm"),
            Column("placed_on", "Placed", kind="date"),
        ],
        what="board",
        prefix="boards_",
        file_name=f"stack_{stack.code}",
        page_size=25,
    )


def _readings(
    request: HttpRequest, stack: Stack, readings: pd.DataFrame, drying: StackDrying | None
) -> Table:
    used = drying.used if drying is not None else pd.Series(False, readings.index)
    token = get_token(request)
    study = stack.study

    def value(_: Any, row: Any) -> str | None:
        return "> FSP" if row["above_fsp"] else shown.number(row["mc_pct"], 1)

    def aside(pk: Any, _: Any) -> str:
        url = reverse("sawing:reading_aside", args=[study.trial.code, study.code, pk])
        return format_html(
            '<form method="post" action="{}"><input type="hidden" name="csrfmiddlewaretoken" value="{}">'
            '<button class="link">Set aside</button></form>',
            url,
            token,
        )

    may_write = page(request, study)["may_write"]
    changing = [Column("pk", "Mistaken?", sort=False, show=aside)] if may_write and len(readings) else []
    return Table(
        request,
        rows=readings.assign(used=["yes" if u else "no" for u in used]),
        columns=[
            Column("read_on", "Day", kind="date", key=True),
            Column(
                "board",
                "Board",
                kind="code",
                key=True,
                url=lambda r: board_url(study, r["board"]),
                filter="contains",
            ),
            Column("mc_pct", "Moisture", kind="number", digits=1, unit="%", key=True, show=value),
            Column(
                "method",
                "How",
                filter="choice",
                show=lambda v, _: "oven dry" if v == "oven_dry" else "meter",
            ),
            Column("raw_pct", "Meter showed", kind="number", digits=1, unit="%"),
            Column("temperature_c", "Wood", kind="number", digits=0, unit="°C"),
            Column("sample", "Where on it"),
            Column("instrument", "Meter"),
            Column("used", "In the curve", help="Readings that the curve was fitted to."),
            *changing,
        ],
        what="reading",
        order="-read_on",
        prefix="readings_",
        file_name=f"moisture_{stack.code}",
        page_size=25,
    )


@require_http_methods(["GET", "POST"])
def stack_boards(request: HttpRequest, trial: str, study: str, code: str) -> HttpResponse:
    """Choose boards for a stack: by filter and ticks, or by scanned codes."""
    found = written_stack(request, trial, study, code)
    first = {"placed_on": found.built_on or timezone.localdate()}
    ticked = [code for code in request.POST.getlist("board") if "\x00" not in code]  # no stored text has one
    form = PlaceForm(request.POST or None, ticked=ticked, initial=first)
    if request.method == "POST" and form.is_valid():
        try:
            n = actions.place_boards(
                stack=found,
                placings=form.asked(),
                placed_on=form.cleaned_data["placed_on"],
                by=request.user,
                move=form.cleaned_data["move"],
            )
        except RowsRefusedError as refused:
            for why in refused.rows.values():
                form.add_error(None, f"{why[0].upper()}{why[1:]}.")
        else:
            messages.success(request, f"{shown.counted(n, 'board')} put into stack {found.code}.")
            return redirect(stack_url(found))
    free = queries.boards_to_stack(found.study)
    asked = {name: request.GET.get(name, "") for name in ("clone", "log", "thickness")}
    listed = free
    if asked["clone"]:
        listed = listed.filter(log__felling__tree__clone__code=asked["clone"])
    if asked["log"]:
        listed = listed.filter(log__code__icontains=asked["log"])
    if shown.as_number(asked["thickness"]) is not None:
        listed = listed.filter(thickness_mm=float(asked["thickness"]))
    context = page(
        request,
        found.study,
        stack=found,
        form=form,
        asked=asked,
        n_free=free.count(),
        n_boards=boards_of(found.study).count(),
        listed=listed.order_by("log__code", "code")[:MOST_TICKS],
        most=MOST_TICKS,
        clones=sorted({b for b in free.values_list("log__felling__tree__clone__code", flat=True) if b}),
        thicknesses=sorted({f"{t:g}" for t in free.values_list("thickness_mm", flat=True)}, key=float),
        ticked=set(form.ticked),
    )
    return render(request, "sawing/drying/stack_boards.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def release(request: HttpRequest, trial: str, study: str, code: str) -> HttpResponse:
    """Release a stack, or some of its boards; what speaks against it is said, and has to be confirmed."""
    found = written_stack(request, trial, study, code)
    form = ReleaseForm(request.POST or None, initial={"released_on": timezone.localdate()})
    inside = queries.placings_of(found).count()
    on = timezone.localdate()
    if request.method == "POST" and form.is_valid():
        on = form.cleaned_data["released_on"]
    warnings = _warnings(found, inside, on)
    if request.method == "POST" and form.is_valid():
        if warnings and not form.cleaned_data["confirm"]:
            form.add_error("confirm", "Read what speaks against it, and tick this to release all the same.")
        else:
            try:
                n = actions.release_boards(
                    stack=found, released_on=on, by=request.user, codes=form.cleaned_data["codes"] or None
                )
            except RowsRefusedError as refused:
                for why in refused.rows.values():
                    form.add_error(None, f"{why[0].upper()}{why[1:]}.")
            else:
                messages.success(request, f"{shown.counted(n, 'board')} released from stack {found.code}.")
                return redirect(stack_url(found))
    context = page(request, found.study, stack=found, form=form, warnings=warnings, inside=inside)
    return render(request, "sawing/drying/release.html", context, status=422 if form.errors else 200)


def _warnings(stack: Stack, inside: int, on: dt.date) -> list[str]:
    drying, readings = queries.drying_of(stack, on)
    if drying is None:
        return ["No board of this stack was ever read."]
    return release_warnings(drying, readings, inside, on)

"""Stiffness of a study's boards: the list, a tap by hand, a tap from a recording."""

import uuid
from functools import partial
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core import signing
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from grading.calc.picture_stiffness import spectrum_picture, stiffness_bars
from grading.calc.stiffness import MOISTURE_RULES
from grading.calc.stiffness_classes import ClassTable, counts, group_stiffness, read_class_tables
from grading.calc.stiffness_table import latest_of_each
from grading.graders import GRADERS
from grading.stiffness import actions, queries
from grading.stiffness.forms import RulesForm, SoundForm, TapForm
from grading.stiffness.sound import Heard, hear, sealed, unsealed
from portal import access
from portal.calc.svg import NARROW, WIDE
from portal.models import Role
from portal.tables import Column, Table
from sawing.links import board_url
from sawing.models import Board, Study
from sawing.queries import study_for

DRAFT = ("mass_kg", "mc_pct", "read_on", "note")


def class_tables() -> list[ClassTable]:
    """The tables of classes that come with the portal."""
    return read_class_tables(Path(settings.BASE_DIR) / "fixtures" / "stiffness_classes")


def chosen_table(study: Study) -> ClassTable:
    """The study's table of classes; the trial's own bands where none was chosen."""
    tables = {t.code: t for t in class_tables()}
    return tables.get(queries.classes_of(study)) or tables["trial_bands"]


@require_GET
def stiffness(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The taps of a study with what follows from them, by clone, against classes."""
    found = study_for(request.user, trial, study)
    taps = queries.tap_table(found)
    classes = chosen_table(found)
    latest = latest_of_each(taps)
    rule = MOISTURE_RULES[queries.mc_rule(found)]
    reached = [classes.reached(m, d) for m, d in zip(taps["moe12_gpa"], taps["density12_kg_m3"], strict=True)]
    table = Table(
        request,
        rows=taps.assign(reached=reached, odd=[" ".join(c) for c in taps["concerns"]]),
        columns=_columns(found, rule.title),
        what="tap",
        order="board",
        file_name=f"{found.code}_stiffness",
    )
    if table.asked_for_download:
        return table.download()
    draw = partial(
        stiffness_bars,
        latest["moe12_gpa"].to_numpy(dtype=float),
        [(c.code, c.min_moe_gpa) for c in classes.classes if c.min_moe_gpa > 0],
        title="Dynamic MOE at 12 % moisture, board by board",
        note=f"{latest['moe12_gpa'].notna().sum()} boards; {rule.title}; lines: {classes.title}",
    )
    may_write = access.may(request.user, found.trial_id, GRADERS)
    context = {
        "study": found,
        "trial": found.trial,
        "table": table,
        "wide": draw(name="moe-wide", width=WIDE),
        "narrow": draw(name="moe-narrow", width=NARROW),
        "groups": group_stiffness(latest, "clone"),
        "counts": counts(latest, classes),
        "classes": classes,
        "rule": rule,
        "odd": int((taps["concerns"].map(len) > 0).sum()),
        "may_write": may_write,
        "rules_form": _rules_form(request, found, classes),
        "aside": queries.taps_of(found).filter(set_aside=True).select_related("board"),
    }
    return render(request, "grading/stiffness/stiffness.html", context)


@require_http_methods(["GET", "POST"])
def new_tap(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """A tap by hand; after it the next one."""
    found = _writable(request, trial, study)
    form = TapForm(request.POST or None, study=found)
    last = None
    if request.method == "POST" and form.is_valid():
        values = dict(form.cleaned_data)
        board, client_id = values.pop("board"), values.pop("client_id")
        board.study = found
        try:
            actions.keep_tap(board=board, client_id=client_id, by=request.user, **values)
            return redirect(f"{request.path}?after={board.pk}")
        except actions.OtherTap as why:
            form.add_error(None, str(why))
    after = request.GET.get("after", "")
    if after.isdigit():
        rows = queries.tap_table(found)
        pk = found.boards.filter(pk=after).values_list("code", flat=True).first()
        last = rows[rows["board"] == pk].tail(1).to_dict("records")
    context = {"study": found, "trial": found.trial, "form": form, "last": last[0] if last else None}
    return render(request, "grading/stiffness/new_tap.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def sound(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """A recording of a tap: its spectrum first, then the peak that a person says it was."""
    found = _writable(request, trial, study)
    if request.method == "POST" and "sealed" in request.POST:
        return _keep_sound(request, found)
    form = SoundForm(request.POST or None, request.FILES or None, study=found)
    heard: Heard | None = None
    if request.method == "POST" and form.is_valid():
        file, board = form.cleaned_data["sound"], form.cleaned_data["board"]
        try:
            heard = hear(file.read(), board.dry_length_m or board.length_m, file.name or "")
        except ValueError as why:
            form.add_error("sound", f"{str(why)[:1].upper()}{str(why)[1:]}.")
    context: dict[str, Any] = {"study": found, "trial": found.trial, "form": form, "heard": heard}
    if heard:
        context |= _asked_for_peak(form.cleaned_data, heard)
    return render(request, "grading/stiffness/sound.html", context, status=422 if form.errors else 200)


@require_POST
def tap_aside(request: HttpRequest, trial: str, study: str, pk: int) -> HttpResponse:
    """A tap counts no longer, or again."""
    found = _writable(request, trial, study)
    if not queries.taps_of(found).filter(pk=pk).exists():
        raise Http404
    actions.set_tap_aside(study=found, pk=pk, by=request.user, back="back" in request.POST)
    return redirect("grading:stiffness", trial, study)


@require_POST
def rules(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """What the study has settled: the rule to 12 %, and the classes."""
    found = study_for(request.user, trial, study)
    form = RulesForm(request.POST, tables=class_tables())
    if not access.may(request.user, found.trial_id, [Role.MANAGER]):
        raise PermissionDenied("The rules of a study are settled by the trial's managers.")
    if form.is_valid():
        actions.choose_rules(study=found, by=request.user, **form.cleaned_data)
        messages.success(request, "Settled for the whole study.")
    else:
        messages.error(request, "Choose a rule and a table of classes from the lists.")
    return redirect("grading:stiffness", trial, study)


def _writable(request: HttpRequest, trial: str, study: str) -> Study:
    found = study_for(request.user, trial, study)
    if not access.may(request.user, found.trial_id, GRADERS):
        raise PermissionDenied("Taps are entered by the trial's graders and managers.")
    return found


def _rules_form(request: HttpRequest, study: Study, classes: ClassTable) -> RulesForm | None:
    if not access.may(request.user, study.trial_id, [Role.MANAGER]):
        return None
    initial = {"mc_rule": queries.mc_rule(study), "classes": classes.code}
    return RulesForm(tables=class_tables(), initial=initial)


def _asked_for_peak(values: dict[str, Any], heard: Heard) -> dict[str, Any]:
    board: Board = values["board"]
    length = board.dry_length_m or board.length_m
    draw = partial(
        spectrum_picture,
        heard.peak.spectrum_hz,
        heard.peak.spectrum,
        [(str(at), p) for at, p in enumerate(heard.peaks, start=1)],
        title=f"What {board.code} rang at",
        note=f"{heard.seconds:.2f} s at {heard.rate_hz} Hz; to {heard.peak.resolution_hz:.1f} Hz",
        band_hz=heard.band_hz,
    )
    return {
        "board": board,
        "wide": draw(name="tap-wide", width=WIDE),
        "narrow": draw(name="tap-narrow", width=NARROW),
        "peaks": [
            {
                "hz": p,
                "velocity": 2 * length * p,
                "plausible": heard.band_hz[0] <= p <= heard.band_hz[1],
                "second": heard.second_of(p),
            }
            for p in heard.peaks
        ],
        "sealed": sealed(heard),
        "draft": {n: values[n] for n in DRAFT if values.get(n) not in (None, "")},
        "client_id": uuid.uuid4(),
        "weak": heard.peak.prominence < 20,
    }


def _keep_sound(request: HttpRequest, study: Study) -> HttpResponse:
    """Store the peak chosen. What came back changed is refused."""
    form = TapForm(request.POST, study=study)
    try:
        recording = unsealed(request.POST["sealed"])
    except signing.BadSignature:
        messages.error(request, "The recording did not come back whole: bring the file again.")
        return redirect(request.path)
    if not form.is_valid():
        messages.error(request, "; ".join(f"{n}: {e[0]}" for n, e in form.errors.items()))
        return redirect(request.path)
    values = dict(form.cleaned_data)
    board, client_id = values.pop("board"), values.pop("client_id")
    board.study = study
    if not any(abs(p - values["resonance_hz"]) < 0.01 for p in recording["peaks"]):
        messages.error(request, "That frequency is none of the peaks of the recording: choose one of them.")
        return redirect(request.path)
    near = [p for p in recording["peaks"] if abs(p / values["resonance_hz"] / 2 - 1) <= 0.05]
    values["second_hz"] = values["second_hz"] or (near[0] if near else None)
    try:
        actions.keep_tap(
            board=board, client_id=client_id, by=request.user, read_by="sound", recording=recording, **values
        )
    except actions.OtherTap as why:
        messages.error(request, str(why))
        return redirect(request.path)
    messages.success(request, f"{board.code}: {values['resonance_hz']:.1f} Hz kept.")
    return redirect(f"{reverse('grading:new_sound', args=[study.trial.code, study.code])}")


def _columns(study: Study, rule: str) -> list[Column]:
    def number(name: str, label: str, digits: int, unit: str, key: bool = False, help_: str = "") -> Column:
        return Column(name, label, kind="number", digits=digits, unit=unit, key=key, help=help_)

    return [
        Column(
            "board",
            "Board",
            kind="code",
            key=True,
            url=lambda r: board_url(study, r["board"]),
            filter="contains",
        ),
        Column("clone", "Clone", kind="code", filter="choice"),
        Column("tree", "Tree", kind="code", filter="choice"),
        Column("read_on", "Day", kind="date"),
        number("resonance_hz", "Resonance", 1, "Hz"),
        Column("harmonic", "Mode", kind="integer"),
        number("length_used_m", "Length", 3, "m"),
        number("density_used_kg_m3", "Density", 0, "kg/m³"),
        number("velocity_m_s", "Velocity", 0, "m/s"),
        number("moe_gpa", "MOE as tapped", 2, "GPa", help_="dynamic, at the moisture of the tap"),
        number("mc_pct", "Moisture", 1, "%"),
        number("moe12_gpa", "MOE at 12 %", 2, "GPa", key=True, help_=f"dynamic; {rule}"),
        number("density12_kg_m3", "Density at 12 %", 0, "kg/m³"),
        Column("reached", "Reaches the figures of", key=True, filter="choice"),
        Column("odd", "Odd"),
    ]

"""Assessments: opening, progress, values, closing."""

from django.contrib import messages
from django.core.exceptions import BadRequest, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from portal.tables import Column, Table
from portal.uploads.queries import manager_of
from trials import queries
from trials.desk import measured, progress, settling
from trials.desk.forms import AssessmentForm, told
from trials.entries import actions
from trials.models import Assessment, AssessmentState, Trait, TraitKind
from trials.views.doors import assessment_for, managed, managed_assessment


@require_GET
def assessments(request: HttpRequest, trial: str) -> HttpResponse:
    """Every assessment of a trial, open ones first."""
    found = queries.trial_for(request.user, trial)
    context = {
        "trial": found,
        "assessments": list(progress.assessments_of(found)),
        "n_traits": found.traits.filter(active=True).count(),
        "unplaced": progress.held_without_assessment(found).count(),
        "n_sites": found.sites.count(),
        "may_manage": manager_of(request.user, found.pk),
    }
    return render(request, "trials/assessments.html", context)


@require_http_methods(["GET", "POST"])
def new_assessment(request: HttpRequest, trial: str) -> HttpResponse:
    """Managers open an assessment."""
    found = managed(request, trial)
    form = AssessmentForm(request.POST or None, trial=found)
    if request.method == "POST" and form.is_valid():
        names = ("site", "name", "measured_from", "traits", "crew", "note")
        try:
            made = actions.open_assessment(
                by=request.user, **{name: form.cleaned_data[name] for name in names}
            )
        except ValidationError as refused:
            told(form, refused)
        else:
            messages.success(request, "The assessment is open. Crews find it on their phones.")
            return redirect("trials:assessment", found.code, made.pk)
    context = {"trial": found, "form": form}
    return render(request, "trials/new_assessment.html", context, status=422 if form.errors else 200)


@require_GET
def assessment(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """One assessment: how far it is, who entered what, what waits."""
    found = assessment_for(request, trial, pk)
    far = progress.progress_of(found)
    context = {
        "assessment": found,
        "trial": found.site.trial,
        "progress": far,
        "notes": {
            "trees": f"of {far.trees}{'' if found.state == AssessmentState.CLOSED else ' standing'}",
            "plots": f"of {far.plots}",
        },
        "waiting": progress.n_waiting(found),
        "crew": list(found.crew.all()),
        "may_manage": manager_of(request.user, found.site.trial_id),
    }
    return render(request, "trials/assessment.html", context)


@require_POST
def assessment_state(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """Managers close an assessment, and open it again."""
    found = managed_assessment(request, trial, pk)
    do = request.POST.get("do", "")
    if do == "close":
        return _closed(request, found)
    if do != "reopen":
        raise BadRequest("do: expected close or reopen")
    actions.reopen_assessment(assessment=found, by=request.user)
    messages.success(request, "The assessment is open again.")
    return redirect("trials:assessment", trial, found.pk)


def _closed(request: HttpRequest, found: Assessment) -> HttpResponse:
    """Closed where the manager was told what is undone now; else led to where it is told."""
    trial = found.site.trial.code
    told = settling.closing(found).statement
    if request.POST.get("stated", "") != told:
        messages.warning(request, "Not closed yet: read what is undone now.")
        return redirect("trials:close_assessment", trial, found.pk)
    try:
        actions.close_assessment(assessment=found, by=request.user, closed_with=told)
    except ValidationError as refused:
        messages.error(request, " ".join(refused.messages))
    else:
        messages.success(request, "The assessment is closed: what still comes in waits for you.")
    return redirect("trials:assessment", trial, found.pk)


@require_http_methods(["GET", "POST"])
def change_assessment(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """Managers change name, first day, traits, crew and note while an assessment is open."""
    found = managed_assessment(request, trial, pk)
    form = AssessmentForm(request.POST or None, trial=found.site.trial, instance=found)
    if request.method == "POST" and form.is_valid():
        names = ("name", "measured_from", "traits", "crew", "note")
        try:
            actions.change_assessment(
                assessment=found, by=request.user, **{name: form.cleaned_data[name] for name in names}
            )
        except ValidationError as refused:
            told(form, refused)
        else:
            messages.success(
                request, "The assessment is changed. Crews fetch it anew on their phones to see it."
            )
            return redirect("trials:assessment", trial, found.pk)
    context = {"trial": found.site.trial, "form": form, "assessment": found}
    return render(request, "trials/new_assessment.html", context, status=422 if form.errors else 200)


@require_GET
def assessment_values(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """What stands, one row a tree, one column a trait."""
    found = assessment_for(request, trial, pk)
    traits = measured.trait_list(found)
    table = Table(
        request,
        rows=measured.visit_frame(found),
        columns=value_columns(found, traits),
        what="tree",
        order="",
        file_name=f"{found.site.code}_{found.name}",
        left_out="entries that are disputed, late or held." if progress.n_waiting(found) else "",
    )
    if table.asked_for_download:
        return table.download()
    context = {"assessment": found, "trial": found.site.trial, "table": table}
    return render(request, "trials/assessment_values.html", context)


def value_columns(assessment: Assessment, traits: list[Trait]) -> list[Column]:
    """The columns of an assessment's values: place, one a trait with its unit, state, notes, who and when."""
    code = assessment.site.trial.code
    kinds = {TraitKind.NUMBER: "number", TraitKind.ORDINAL: "integer"}
    return [
        Column(
            "tree",
            "Tree",
            kind="code",
            key=True,
            url=lambda r: reverse("trials:tree", args=[code, r["tree"]]),
            filter="contains",
        ),
        Column("row", "Row", kind="integer"),
        Column("col", "Col", kind="integer"),
        Column("block", "Block", kind="code", filter="choice"),
        Column("plot", "Plot", kind="code"),
        Column("clone", "Clone", kind="code", filter="choice"),
        *(
            Column(
                measured.column_of(t),
                t.name,
                kind=kinds.get(t.kind, "text"),
                unit=t.unit,
                digits=t.decimals,
                key=place < 2,
            )
            for place, t in enumerate(traits)
        ),
        Column("state", "Not measured", filter="choice"),
        Column("notes", "Notes"),
        Column("crew", "Entered by", filter="choice"),
        Column("entered", "Day", kind="date"),
    ]

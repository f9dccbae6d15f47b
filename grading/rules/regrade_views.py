"""Grading boards anew by rules: asking for it, reading what moved, keeping it."""

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import F, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from grading.calc.feature_kinds import GROUPS
from grading.calc.grading_files import cautions_of
from grading.gradable import rules_of
from grading.graders import GRADERS
from grading.models import BoardFeature, Regrade, RuleSet
from grading.rules import regrade_actions as actions
from portal import access
from portal.models import Role
from portal.tables import Column, Table
from sawing.links import board_url
from sawing.models import Study
from sawing.queries import study_for


class RegradeForm(forms.Form):
    """By which rules, beside which, and how."""

    rule_set = forms.ModelChoiceField(RuleSet.objects.none(), label="Grade by")
    against = forms.ModelChoiceField(
        RuleSet.objects.none(), label="Compare with grades by", required=False, empty_label="nothing"
    )
    by = forms.ChoiceField(
        label="Take the piece",
        choices=[
            ("grade", "of the best grade, then the largest"),
            ("value", "worth most by the set’s own prices"),
        ],
        initial="grade",
    )
    assessed = forms.MultipleChoiceField(
        label="Looked for on every board",
        choices=[(g, g) for g in GROUPS],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Only what really was. What nobody looked for is never taken as passed.",
    )
    heartwood_only = forms.BooleanField(
        label="No sapwood in a piece",
        required=False,
        help_text="By the board’s place on the log end and the log’s heartwood; without both, by features alone.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        ready = [r.pk for r in RuleSet.objects.all() if rules_of(r) is not None]
        self.fields["rule_set"].queryset = RuleSet.objects.filter(pk__in=ready)
        self.fields["against"].queryset = RuleSet.objects.filter(board_grades__isnull=False).distinct()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        rules = rules_of(cleaned["rule_set"]) if cleaned.get("rule_set") else None
        if rules and not rules.gradable:
            self.add_error("rule_set", "Its limits are not filled in: it cannot grade.")
        if rules and cleaned.get("by") == "value" and not rules.prices:
            self.add_error("by", "This rule set brings no prices of its own.")
        return cleaned


@require_http_methods(["GET", "POST"])
def regrades(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The regrades of a study, and the form that asks for another."""
    found = study_for(request.user, trial, study)
    may_ask = access.may(request.user, found.trial_id, GRADERS)
    if request.method == "POST" and not may_ask:
        raise PermissionDenied("Boards are graded anew by the trial's graders and managers.")
    form = RegradeForm(request.POST or None)
    n_boards = found.boards.count()
    n_mapped = (
        BoardFeature.objects.filter(board__study=found, set_aside=False).values("board").distinct().count()
    )
    if request.method == "POST" and form.is_valid() and n_boards:
        asked = form.cleaned_data
        made = actions.start_regrade(
            study=found,
            rule_set=asked["rule_set"],
            against=asked["against"],
            options={n: asked[n] for n in ("by", "assessed", "heartwood_only")},
            link=_url,
            by=request.user,
        )
        return redirect(_url(made))
    context = {
        "study": found,
        "trial": found.trial,
        "form": form,
        "may_ask": may_ask,
        "n_boards": n_boards,
        "n_mapped": n_mapped,
        "regrades": [
            {"regrade": r, "url": _url(r)}
            for r in found.regrades.select_related("rule_set", "against", "job", "by", "study__trial")
        ],
    }
    return render(request, "grading/rules/regrades.html", context, status=422 if form.errors else 200)


@require_GET
def regrade(request: HttpRequest, trial: str, study: str, pk: int) -> HttpResponse:
    """How far a regrade is, or what moved."""
    found = study_for(request.user, trial, study)
    one = get_object_or_404(found.regrades.select_related("rule_set", "against", "job", "by"), pk=pk)
    rules = rules_of(one.rule_set)
    context: dict[str, Any] = {
        "study": found,
        "trial": found.trial,
        "regrade": one,
        "cautions": cautions_of(rules) if rules else ["C5"],
        "may_stop": access.may(request.user, found.trial_id, GRADERS),
        "may_keep": access.may(request.user, found.trial_id, [Role.MANAGER]),
    }
    if one.result is not None:
        table = _boards_table(request, one, found)
        if table.asked_for_download:
            return table.download()
        context |= {"table": table, "columns": _grades(one.rule_set), "everything": "all" in request.GET}
    return render(request, "grading/rules/regrade.html", context)


@require_POST
def keep(request: HttpRequest, trial: str, study: str, pk: int) -> HttpResponse:
    """Make the grades of a regrade the boards' own."""
    found = study_for(request.user, trial, study)
    one = get_object_or_404(found.regrades, pk=pk)
    try:
        counts = actions.keep_regrade(regrade=one, by=request.user)
    except actions.NotReady as why:
        messages.error(request, str(why))
    else:
        messages.success(
            request,
            f"{counts['kept']} grades kept under {one.rule_set}; {counts['by_a_person']} given by a person stay,"
            f" {counts['not_said']} cannot be said.",
        )
    return redirect("grading:regrade", trial, study, pk)


def _url(one: Regrade) -> str:
    return reverse("grading:regrade", args=[one.study.trial.code, one.study.code, one.pk])


def _grades(rule_set: RuleSet) -> list[str | None]:
    return [*rule_set.grades.values_list("code", flat=True), None]


def _boards_table(request: HttpRequest, one: Regrade, study: Study) -> Table:
    rows = one.boards.select_related("board", "before", "after")
    if "all" not in request.GET and not any(name.startswith("f_") for name in request.GET):
        same = Q(before__code=F("after__code")) | Q(before__isnull=True, after__isnull=True)
        rows = rows.exclude(same)
    return Table(
        request,
        rows=rows,
        columns=[
            Column(
                "board__code",
                "Board",
                kind="code",
                key=True,
                url=lambda r: board_url(study, r.board.code),
                filter="contains",
            ),
            Column("before__code", "Before", key=True, filter="choice"),
            Column("after__code", "After", key=True, filter="choice"),
            Column("graded_length_m", "Length", kind="number", digits=1, unit="m"),
            Column("graded_width_mm", "Width", kind="number", digits=0, unit="mm"),
            Column("from_mm", "From the butt", kind="number", digits=0, unit="mm"),
            Column(
                "deciding_kind", "Decided by", filter="choice", show=lambda v, r: v and v.replace("_", " ")
            ),
            Column("deciding_text", "What decided"),
            Column("value", "Value", kind="number", digits=2),
            Column(
                "not_assessed",
                "Not assessed",
                sort=False,
                show=lambda v, r: ", ".join(k.replace("_", " ") for k in v) if v else None,
            ),
        ],
        what="board",
        order="board__code",
        file_name=f"{study.code}_regrade_{one.pk}",
    )

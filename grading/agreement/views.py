"""Blind samples of a study, and how far graders agree."""

import secrets
from functools import partial
from itertools import combinations
from typing import Any

from django import forms
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from grading.agreement import actions, queries
from grading.agreement.queries import Rater
from grading.calc.agreement import Agreement, agreement, mean_kappa
from grading.calc.drift import drift
from grading.calc.picture_agreement import agreement_picture
from grading.graders import GRADERS
from grading.models import GradingSession, RuleSet
from grading.queries import current_rule_sets
from portal import access
from portal.calc.svg import NARROW, WIDE
from portal.models import Role
from sawing.queries import study_for


class SampleForm(forms.Form):
    """A blind sample to draw."""

    title = forms.CharField(max_length=200)
    rule_set = forms.ModelChoiceField(RuleSet.objects.none(), label="Grade by")
    count = forms.IntegerField(label="Boards", min_value=2, max_value=2000, initial=30)
    seed = forms.IntegerField(
        min_value=0, max_value=2_000_000_000, required=False, help_text="Empty: one is drawn and kept."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["rule_set"].queryset = current_rule_sets()


@require_http_methods(["GET", "POST"])
def samples(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The blind samples of a study, the form that draws another, and how sittings drift."""
    found = study_for(request.user, trial, study)
    may_make = access.may(request.user, found.trial_id, GRADERS)
    if request.method == "POST" and not may_make:
        raise PermissionDenied("Blind samples are drawn by the trial's graders and managers.")
    form = SampleForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        asked = form.cleaned_data
        seed = asked["seed"] if asked["seed"] is not None else secrets.randbelow(1_000_000)
        try:
            made = actions.make_sample(
                study=found,
                rule_set=asked["rule_set"],
                title=asked["title"],
                count=asked["count"],
                seed=seed,
                by=request.user,
            )
            return redirect("grading:sample", trial, study, made.pk)
        except actions.SampleRefused as why:
            form.add_error(None, str(why))
    context = {
        "study": found,
        "trial": found.trial,
        "form": form,
        "may_make": may_make,
        "samples": [{"sample": s, "sittings": queries.sittings_of(s)} for s in queries.samples_of(found)],
        "sittings": queries.sittings_with_suggestions(found),
    }
    return render(request, "grading/agreement/samples.html", context, status=422 if form.errors else 200)


@require_GET
def sample(request: HttpRequest, trial: str, study: str, pk: int) -> HttpResponse:
    """A sample: who graded how much; once it is closed, how far they agree."""
    found = study_for(request.user, trial, study)
    one = get_object_or_404(found.grading_samples.select_related("rule_set", "by", "study__trial"), pk=pk)
    context: dict[str, Any] = {
        "study": found,
        "trial": found.trial,
        "sample": one,
        "n": one.boards.count(),
        "sittings": queries.sittings_of(one),
        "may_grade": access.may(request.user, found.trial_id, GRADERS),
        "may_close": access.may(request.user, found.trial_id, [Role.MANAGER]),
    }
    if one.closed_at:
        who = queries.raters(one)
        grades = list(one.rule_set.grades.values_list("code", flat=True))
        trees = queries.trees_of(one)
        pairs = [_pair(a, b, grades, trees) for a, b in combinations(who, 2)]
        context |= {
            "pairs": [p for p in pairs if p],
            "mean": _mean([r for r in who if r.session], grades, trees),
            "boards": [{"board": code, "given": [r.grades.get(code) for r in who]} for code in sorted(trees)],
            "raters": who,
        }
    return render(request, "grading/agreement/sample.html", context)


@require_POST
def close(request: HttpRequest, trial: str, study: str, pk: int) -> HttpResponse:
    """End a sample."""
    found = study_for(request.user, trial, study)
    actions.close_sample(sample=get_object_or_404(found.grading_samples, pk=pk), by=request.user)
    return redirect("grading:sample", trial, study, pk)


@require_GET
def drifting(request: HttpRequest, trial: str, study: str, pk: int, rules: int) -> HttpResponse:
    """How one sitting's grades moved against what the rules suggested."""
    found = study_for(request.user, trial, study)
    session = get_object_or_404(GradingSession.objects.select_related("grader"), pk=pk, study=found)
    rule_set = get_object_or_404(RuleSet, pk=rules)
    rows = queries.against_suggestion(session, rule_set)
    if not rows:
        raise Http404("No grade of this sitting stands beside a suggestion of this rule set.")
    context = {
        "study": found,
        "trial": found.trial,
        "session": session,
        "rule_set": rule_set,
        "drift": drift([at for at, _ in rows], [sign for _, sign in rows]),
    }
    return render(request, "grading/agreement/drift.html", context)


def _pair(first: Rater, second: Rater, grades: list[str], trees: dict[str, str]) -> dict[str, Any] | None:
    """Agreement of two over the boards both graded; None without any."""
    both = [b for b in sorted(trees) if b in first.grades and b in second.grades]
    if not both:
        return None
    found = agreement(
        [first.grades[b] for b in both], [second.grades[b] for b in both], grades, [trees[b] for b in both]
    )
    draw = partial(
        agreement_picture,
        grades,
        found.table,
        first.name,
        second.name,
        title=f"{first.name} and {second.name}",
        note=f"{found.boards} boards of {found.clusters} trees",
    )
    key = f"{first.name}-{second.name}"
    return {
        "first": first.name,
        "second": second.name,
        "agreement": found,
        "lines": _lines(found),
        "wide": draw(name=f"{key}-wide", width=WIDE),
        "narrow": draw(name=f"{key}-narrow", width=NARROW),
        "rows": [(g, [int(v) for v in found.table[i]]) for i, g in enumerate(grades)],
        "grades": grades,
    }


def _lines(found: Agreement) -> list[tuple[str, float | None, tuple[float, float] | None]]:
    intervals = found.interval95
    return [
        ("Kappa", found.kappa, intervals["none"]),
        ("Weighted by steps", found.linear, intervals["linear"]),
        ("Weighted by steps squared", found.quadratic, intervals["quadratic"]),
    ]


def _mean(who: list[Rater], grades: list[str], trees: dict[str, str]) -> float | None:
    """Mean kappa of all pairs over the boards that all of them graded; None for fewer than three."""
    both = [b for b in sorted(trees) if all(b in r.grades for r in who)]
    return mean_kappa([[r.grades[b] for b in both] for r in who], grades) if len(who) > 2 and both else None

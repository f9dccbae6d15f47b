"""The page at the bench, and the feature map of a board."""

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from grading.bench import actions, queries
from grading.bench.doors import bench_study
from grading.bench.suggesting import drawn, read_lines, suggestions
from grading.calc.feature_kinds import BY_CODE, KINDS, NAMES
from grading.calc.grading_files import cautions_of
from grading.calc.typed_features import SHORT_OF
from grading.gradable import rules_of
from grading.graders import GRADERS
from grading.models import GradingSample, GradingSession, RuleSet
from grading.queries import current_rule_sets, rule_sets_in_use
from portal import access
from portal.tables import Column, Table
from sawing.models import Board, Study
from sawing.queries import study_for


@require_GET
def bench(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The person's open sitting, or the way to begin one."""
    found = bench_study(request, trial, study)
    session = queries.open_session(found, request.user)
    if session is None:
        usual = set(rule_sets_in_use(found).values_list("pk", flat=True))
        offered = [(r, r.pk in usual, rules_of(r) is not None) for r in current_rule_sets()]
        context = {"study": found, "trial": found.trial, "offered": offered, "sittings": _sittings(found)}
        return render(request, "grading/bench/begin.html", context)
    return render(request, "grading/bench/bench.html", _at_bench(found, session))


@require_GET
def bench_sample(request: HttpRequest, trial: str, study: str, pk: int) -> HttpResponse:
    """The person's open blind sitting in a sample, begun when there is none."""
    found = bench_study(request, trial, study)
    sample = get_object_or_404(GradingSample, pk=pk, study=found)
    session = queries.open_session(found, request.user, sample.pk)
    if session is None and sample.closed_at:
        raise Http404("The sample is closed.")
    if session is None:
        context = {"study": found, "trial": found.trial, "sample": sample}
        return render(request, "grading/bench/begin_blind.html", context)
    return render(request, "grading/bench/bench.html", _at_bench(found, session))


@require_POST
def start(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """Begin a sitting with the rule sets ticked, or a blind one in a sample."""
    found = bench_study(request, trial, study)
    sample = None
    if wanted := request.POST.get("sample"):
        sample = get_object_or_404(GradingSample, pk=wanted if wanted.isdigit() else 0, study=found)
    ticked = [pk for pk in request.POST.getlist("rule_set") if pk.isdigit()]
    chosen = list(RuleSet.objects.filter(pk__in=ticked, current=True))
    try:
        actions.start_session(study=found, rule_sets=chosen, by=request.user, sample=sample)
    except actions.NotKept as why:
        messages.error(request, str(why))
    return redirect(_bench_url(found, sample and sample.pk))


@require_POST
def close(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """End the person's sitting."""
    found = bench_study(request, trial, study)
    pk = request.POST.get("session", "")
    session = get_object_or_404(
        GradingSession, pk=pk if pk.isdigit() else 0, study=found, grader=request.user
    )
    actions.close_session(session=session, by=request.user)
    messages.success(request, "The sitting is closed.")
    return redirect("grading:grading", found.trial.code, found.code)


@require_http_methods(["GET", "POST"])
def feature_map(request: HttpRequest, trial: str, study: str, code: str) -> HttpResponse:
    """What is on a board, drawn and listed; adding to it, setting aside."""
    found = study_for(request.user, trial, study)
    board = get_object_or_404(found.boards.select_related("study", "log"), code=code)
    may_write = access.may(request.user, found.trial_id, GRADERS)
    if request.method == "POST" and not may_write:
        raise PermissionDenied("Feature maps are drawn by the trial's graders and managers.")
    form = LineForm(request.POST or None, board=board)
    if request.method == "POST" and "feature" in request.POST:
        return _set_aside(request, board)
    if request.method == "POST" and form.is_valid():
        try:
            actions.add_features(board=board, rows=form.cleaned_data["lines"], by=request.user)
            return redirect(request.path)
        except actions.NotKept as why:
            form.add_error("lines", str(why))
    context = _map_context(request, found, board) | {"form": form, "may_write": may_write}
    table = context["table"]
    if table.asked_for_download:
        return table.download()
    return render(request, "grading/bench/feature_map.html", context, status=422 if form.errors else 200)


class LineForm(forms.Form):
    """Features typed, one a line."""

    lines = forms.CharField(
        label="Features, one a line",
        widget=forms.Textarea(
            attrs={"rows": 3, "autocomplete": "off", "spellcheck": "false", "data-lines": ""}
        ),
        help_text="Kind, size, along, surface, across: “ek 22 1240 f1 62”. “no knots” when looked for, none found.",
        max_length=8000,
    )

    def __init__(self, *args: Any, board: Board, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.board = board

    def clean_lines(self) -> list[dict[str, Any]]:
        lines = [line for line in self.cleaned_data["lines"].splitlines() if line.strip()]
        typed = read_lines(lines, self.board)
        wrong = [f"{t.text}: {t.wrong}" for t in typed if t.row is None]
        if wrong:
            raise forms.ValidationError(wrong)
        return [t.row for t in typed if t.row is not None]


def _set_aside(request: HttpRequest, board: Board) -> HttpResponse:
    pk = request.POST.get("feature", "")
    if not pk.isdigit() or not board.features.filter(pk=pk).exists():
        raise Http404
    try:
        actions.set_feature_aside(board=board, pk=int(pk), by=request.user, back="back" in request.POST)
    except actions.NotKept as why:
        messages.error(request, str(why))
    return redirect(request.path)


def _map_context(request: HttpRequest, study: Study, board: Board) -> dict[str, Any]:
    features = queries.map_rows(board)
    rule_sets = list(rule_sets_in_use(study)) or list(current_rule_sets())
    readable = [r for r in rule_sets if rules_of(r) is not None]
    found = suggestions(board, readable, features)
    wide, narrow = drawn(
        board,
        features,
        found,
        name="map",
        title=f"What is on board {board.code}",
        note="Edge 1 is the left one seen from the butt end with the top of the log up; face 1 the upper.",
    )
    rows = board.features.select_related("by").order_by("set_aside", "face", "x_mm", "pk")
    cautions = sorted({c for s in found if s.rules for c in cautions_of(s.rules)} | {"C5"})
    return {
        "study": study,
        "trial": study.trial,
        "board": board,
        "wide": wide,
        "narrow": narrow,
        "suggested": found,
        "cautions": cautions,
        "none_found": [f.kind.replace("_", " ") for f in rows if f.size_mm == 0 and not f.set_aside],
        "kinds": [(SHORT_OF[k.code], k.title) for k in KINDS],
        "table": _feature_table(request, board, [f for f in rows if f.size_mm != 0]),
    }


def _feature_table(request: HttpRequest, board: Board, rows: list[Any]) -> Table:
    numbers = (
        ("x_mm", "Along"),
        ("y_mm", "Across"),
        ("length_mm", "Length"),
        ("width_mm", "Width"),
        ("size_mm", "Size"),
    )
    return Table(
        request,
        rows=[
            {
                "pk": f.pk,
                "kind": BY_CODE[f.kind].title if f.kind in BY_CODE else f.kind,
                "face": f.face,
                **{n: getattr(f, n) for n, _ in numbers},
                "percent": f.percent,
                "by": (f.by.full_name or f.by.username) if f.by else None,
                "counts": "set aside" if f.set_aside else "yes",
                "note": f.note,
            }
            for f in rows
        ],
        columns=[
            Column("kind", "Kind", key=True, filter="choice"),
            Column("face", "Surface", key=True, filter="choice"),
            *(Column(n, title, kind="number", digits=0, unit="mm", key=n == "x_mm") for n, title in numbers),
            Column("percent", "Share or slope", kind="number", digits=1, unit="%"),
            Column("counts", "Counts", filter="choice"),
            Column("by", "By"),
            Column("note", "Note"),
        ],
        what="feature",
        order="kind",
        file_name=f"{board.code}_features",
    )


def _at_bench(study: Study, session: GradingSession) -> dict[str, Any]:
    rule_sets = queries.session_rule_sets(session)
    rules = [r for r in map(rules_of, rule_sets) if r is not None]
    at = [study.trial.code, study.code]
    following = queries.next_of_sample(session)
    return {
        "study": study,
        "trial": study.trial,
        "session": session,
        "rule_sets": rule_sets,
        "cautions": sorted({c for r in rules for c in cautions_of(r)} | {"C5"}),
        "progress": queries.progress_of(session),
        "next": following.board.code if following else "",
        "kinds": [(SHORT_OF[k.code], k.title, k.group) for k in KINDS],
        "groups": [n for n in NAMES if n not in BY_CODE],
        "addresses": {
            name: reverse(f"grading:bench_{name}", args=at) for name in ("board", "suggest", "keep")
        },
    }


def _sittings(study: Study) -> list[GradingSession]:
    found = GradingSession.objects.filter(study=study).select_related("grader", "sample")
    return list(found.prefetch_related("rule_sets__rule_set")[:8])


def _bench_url(study: Study, sample: int | None) -> str:
    if sample is None:
        return reverse("grading:bench", args=[study.trial.code, study.code])
    return reverse("grading:bench_sample", args=[study.trial.code, study.code, sample])

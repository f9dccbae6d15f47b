"""Writing rule sets: the form of rows, and the whole document."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from grading.calc.feature_kinds import GROUPS, KINDS
from grading.calc.rule_reading import RuleProblems
from grading.calc.rule_set_checks import document_problems
from grading.calc.rule_writing import rules_as_toml
from grading.models import RuleSet
from grading.queries import current_rule_sets
from grading.rules import actions, queries
from grading.rules.edited import Edited, edited_document, edited_post
from grading.rules.fields import form_shown
from grading.rules.forms import DocumentForm
from grading.rules.views import told_added, writer_only

START = {
    "grades": [{"code": "A"}, {"code": "Reject", "reject": True}],
    "limits": [{"kinds": ["knots"], "metric": "size_mm", "origin": "own", "limit": {}}],
}
KIND_WORDS = [(group, [k.title for k in KINDS if k.group == group]) for group in GROUPS]


@require_http_methods(["GET", "POST"])
def change_rule_set(request: HttpRequest, code: str) -> HttpResponse:
    """A new version of a rule set, row by row."""
    writer_only(request)
    return _form(request, queries.rule_set_of(code))


@require_http_methods(["GET", "POST"])
def write_rule_set(request: HttpRequest) -> HttpResponse:
    """A new rule set, row by row; ?of= begins with a copy of another."""
    writer_only(request)
    return _form(request, None)


def _form(request: HttpRequest, earlier: RuleSet | None) -> HttpResponse:
    copied = current_rule_sets().filter(code=request.GET.get("of", "")).first() if earlier is None else None
    beside = earlier or copied
    stored = queries.document_of(beside) if beside else START
    problems: list[tuple[str, str]] = []
    focus = ""
    if request.method == "GET":
        edited = edited_document({**stored, "code": ""} if copied else stored)
    else:
        edited = edited_post(request.POST.dict())
        if earlier is not None:
            edited.top["code"] = earlier.code
        do = request.POST.get("do", "")
        if do in ("save", ""):
            problems = _meanwhile(request, earlier) + _problems(edited, stored, earlier)
            if not problems:
                added = actions.add_document(content=edited.document(stored), by=request.user)
                return told_added(request, added, earlier and earlier.version)
        else:
            focus = edited.changed(do)
    context = {
        "earlier": earlier,
        "copied": copied,
        "form": form_shown(edited, problems, new=earlier is None),
        "focus": focus,
        "kinds": KIND_WORDS,
        "prices": bool(stored.get("prices")),
        "boards": earlier.board_grades.count() if earlier else 0,
    }
    return render(request, "grading/rules/change.html", context, status=422 if problems else 200)


def _meanwhile(request: HttpRequest, earlier: RuleSet | None) -> list[tuple[str, str]]:
    """A word where somebody made a version since the form was opened; sent once more it is saved on top of it."""
    if earlier is None or request.POST.get("version") in (str(earlier.version), None):
        return []
    return [
        ("version", f"version {earlier.version} was made while you wrote: look at it, then save once more")
    ]


def _problems(edited: Edited, stored: dict[str, Any], earlier: RuleSet | None) -> list[tuple[str, str]]:
    content = edited.document(stored)
    found = document_problems(content)
    if earlier is None and RuleSet.objects.filter(code=content["code"]).exists():
        found.append(("code", "there is a rule set of this code already: choose another"))
    return found


@require_http_methods(["GET", "POST"])
def type_rule_set(request: HttpRequest) -> HttpResponse:
    """A rule set as one document, typed or from a file; of a code that is there it makes a new version."""
    writer_only(request)
    of = current_rule_sets().filter(code=request.GET.get("of", "")).first()
    if request.method == "GET":
        start = {"text": rules_as_toml(queries.document_of(of))} if of else None
        return _document_page(request, DocumentForm(initial=start), of)
    form = DocumentForm(request.POST, request.FILES)
    if form.is_valid():
        content = form.cleaned_data["content"]
        before = RuleSet.objects.filter(current=True, code=str(content.get("code", ""))[:64]).first()
        try:
            added = actions.add_document(content=content, by=request.user)
        except RuleProblems as found:
            for key, sentence in found.problems:
                form.add_error("text", f"{key}: {sentence}")
        else:
            return told_added(request, added, before and before.version)
    return _document_page(request, form, of)


def _document_page(request: HttpRequest, form: DocumentForm, of: RuleSet | None) -> HttpResponse:
    context = {"form": form, "of": of}
    return render(request, "grading/rules/document.html", context, status=422 if form.errors else 200)

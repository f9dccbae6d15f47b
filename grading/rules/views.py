"""Rule sets on pages: the list, one in whole, its document, and those that come with the portal."""

import json
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from grading.calc.grading_files import cautions_of
from grading.calc.rule_limits import GradingRules
from grading.calc.rule_writing import rules_as_toml
from grading.calc.rules_shown import ORIGIN_WORDS, limit_rows, piece_in_words
from grading.gradable import rules_of
from grading.models import RuleSet
from grading.queries import current_rule_sets
from grading.rules import actions, queries
from grading.rules.forms import RuleSetForm


def writer_only(request: HttpRequest) -> None:
    """Refuse whoever may not add rule sets."""
    if not actions.may_add_rule_sets(request.user):
        raise PermissionDenied("Rule sets are added by managers.")


def cautions(rule_set: RuleSet, rules: GradingRules | None) -> list[str]:
    """Ids of the cautions beside a rule set, also where it has names of grades only."""
    if rules is not None:
        return cautions_of(rules)
    return ["C5", "C6"] if rule_set.purpose == "structural" else ["C5"]


def told_added(request: HttpRequest, rule_set: RuleSet, before: int | None) -> HttpResponse:
    """Say what came of adding, and show the rule set. `before`: the version there was."""
    if rule_set.version == before:
        messages.info(request, f"{rule_set.title} says nothing new: its version {before} stays.")
    else:
        messages.success(request, f"{rule_set.title} is ready for grades as version {rule_set.version}.")
    return redirect("grading:rule_set", rule_set.code)


@require_GET
def rule_sets(request: HttpRequest) -> HttpResponse:
    """The rule sets in use: their grades, whether they grade by rules, where they come from."""
    lines = [
        {
            "rule_set": one,
            "rules": (rules := rules_of(one)),
            "blank": rules is not None and not rules.gradable,
        }
        for one in current_rule_sets()
    ]
    may_add = actions.may_add_rule_sets(request.user)
    return render(request, "grading/rules/rule_sets.html", {"lines": lines, "may_add": may_add})


@require_GET
def rule_set(request: HttpRequest, code: str, version: int | None = None) -> HttpResponse:
    """One version of a rule set in whole, and what differs from another (?against=, else the one before)."""
    found = queries.rule_set_of(code, version)
    rules = rules_of(found)
    versions = queries.versions_of(code)
    against = _against(request, found, versions)
    context: dict[str, Any] = {
        "rule_set": found,
        "rules": rules,
        "edition": found.rules.get("edition", "") if found.rules else "",
        "cautions": cautions(found, rules),
        "grades": queries.grade_lines(found, rules),
        "versions": versions,
        "against": against,
        "differences": queries.what_differs(against, found) if against else [],
        "may_add": actions.may_add_rule_sets(request.user),
        "unread": bool(found.rules) and rules is None,
    }
    if rules is not None:
        rows = limit_rows(rules)
        origins = {row.origin for row in rows}
        context |= {
            "limits": rows,
            "columns": [g.code for g in rules.accepting],
            "pieces": piece_in_words(rules.piece),
            "origins": [(o, words) for o, words in ORIGIN_WORDS.items() if o in origins],
            "prices": rules.prices,
        }
    return render(request, "grading/rules/rule_set.html", context)


def _against(request: HttpRequest, found: RuleSet, versions: list[RuleSet]) -> RuleSet | None:
    asked = request.GET.get("against", "")
    others = {str(v.version): v for v in versions if v.pk != found.pk}
    if asked:
        if asked not in others:
            raise Http404("There is no such version.")
        return others[asked]
    return next((v for v in versions if v.version < found.version), None)


@require_GET
def rule_set_file(request: HttpRequest, code: str, version: int, kind: str) -> HttpResponse:
    """The document of a version, as TOML or JSON."""
    content = queries.document_of(queries.rule_set_of(code, version))
    if kind == "toml":
        response = HttpResponse(rules_as_toml(content), content_type="application/toml; charset=utf-8")
    else:
        text = json.dumps(content, indent=1, ensure_ascii=False)
        response = HttpResponse(text, content_type="application/json; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{code}_v{version}.{kind}"'
    return response


@require_http_methods(["GET", "POST"])
def new_rule_set(request: HttpRequest) -> HttpResponse:
    """The ways to a new rule set; names of grades only are typed here. ?of=: a new version of such a one."""
    writer_only(request)
    earlier = current_rule_sets().filter(code=request.GET.get("of", "")).first()
    if earlier is not None and earlier.rules:
        return redirect("grading:change_rule_set", earlier.code)
    form = RuleSetForm(request.POST or None, earlier=earlier)
    if request.method == "POST" and form.is_valid():
        added = actions.add_rule_set(by=request.user, **form.cleaned_data)
        return told_added(request, added, earlier and earlier.version)
    context = {
        "form": form,
        "earlier": earlier,
        "shipped": [] if earlier else queries.shipped_new(),
        "others": [] if earlier else [r for r in current_rule_sets() if r.rules],
    }
    return render(request, "grading/rules/new_rule_set.html", context, status=422 if form.errors else 200)


@require_POST
def take_rule_set(request: HttpRequest) -> HttpResponse:
    """Take a rule set from the documents that come with the portal, where none of its code is there yet."""
    writer_only(request)
    document = queries.shipped().get(request.POST.get("code", ""))
    if document is None:
        messages.error(request, "No such rule set comes with the portal.")
        return redirect("grading:new_rule_set")
    if RuleSet.objects.filter(code=document.code).exists():
        messages.error(request, f"{document.title} is here already: a new version of it is made on its page.")
        return redirect("grading:rule_set", document.code)
    return told_added(request, actions.add_document(content=document.content, by=request.user), None)

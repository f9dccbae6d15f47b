"""The checks of an assessment as a list that a manager works through, and closing it."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import BadRequest, PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.html import format_html
from django.views.decorators.http import require_GET, require_http_methods

from portal.tables import Column, Table
from portal.uploads.queries import manager_of
from trials.desk import checking, measured, settling
from trials.entries import actions
from trials.models import Assessment, Tree
from trials.views.doors import assessment_for, managed_assessment

FORM = "settle"  # the checkboxes stand in the table, the form below it
OPEN, LOOKED_AT = "to look at", "looked at"
CHANGED = (
    "{} of the findings ticked are not there any more: their values changed meanwhile. The others are ticked."
)


@require_http_methods(["GET", "POST"])
def assessment_checks(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """What the checks ask about, one finding a line, those to look at first; managers tick them."""
    found = assessment_for(request, trial, pk)
    may_manage = manager_of(request.user, found.site.trial_id)
    if request.method == "POST":
        if not may_manage:
            raise PermissionDenied("Findings are ticked by the trial's managers.")
        _ticked(request, found)
        return redirect(f"{reverse('trials:assessment_checks', args=[trial, pk])}?{request.GET.urlencode()}")
    listed = settling.check_list(found)
    table = Table(
        request,
        rows=_rows(found, listed),
        columns=_columns(trial, may_manage),
        what="finding",
        file_name=f"{found.site.code}_{found.name}_checks",
    )
    if table.asked_for_download:
        return table.download()
    seen = listed.checked
    context = {
        "assessment": found,
        "trial": found.site.trial,
        "table": table,
        "may_manage": may_manage,
        "n": len(listed.asked),
        "n_settled": listed.n_settled,
        "of_all": f"of {len(listed.asked)}",
        "n_open": len(listed.open),
        "before": seen.before,
        "rules": [rule.name for rule in seen.rules],
        "n_values": int(sum(seen.frame[rule.column].notna().sum() for rule in seen.rules)),
    }
    return render(request, "trials/assessment_checks.html", context)


def _rows(assessment: Assessment, listed: settling.CheckList) -> list[dict[str, Any]]:
    traits = measured.trait_list(assessment)
    rows = checking.listed(listed.checked, [a.finding for a in listed.asked], traits)
    for row, asked in zip(rows, listed.asked, strict=True):
        tick = asked.settled
        row |= {
            "fingerprint": asked.fingerprint,
            "tick": tick,
            "looked_at": LOOKED_AT if tick else OPEN,
            "looked_by": str(tick.by) if tick else "",
            "looked_on": tick.created_at.date() if tick else None,
            "found": tick.note if tick else "",
        }
    return rows


def _ticked(request: HttpRequest, assessment: Assessment) -> None:
    """Do what the button says: "settle" what is ticked with a note, or "again-7": take a tick back."""
    do, _, number = request.POST.get("do", "").partition("-")
    try:
        if do == "settle" and not number:
            _settle(request, assessment)
        elif do == "again" and number.isdecimal() and len(number) <= 18:
            actions.open_check_again(assessment=assessment, settled_id=int(number), by=request.user)
            messages.success(request, "The finding is to be looked at again.")
        else:
            raise BadRequest("do: expected a button of the page")
    except ValidationError as refused:
        messages.error(request, " ".join(refused.messages))


def _settle(request: HttpRequest, assessment: Assessment) -> None:
    """Only findings that are still what the person saw are ticked."""
    wanted = set(request.POST.getlist("tick"))
    rows = [r for r in _rows(assessment, settling.check_list(assessment)) if r["fingerprint"] in wanted]
    trees = dict(Tree.objects.filter(site=assessment.site_id).values_list("code", "pk"))
    looked = [
        actions.Looked(r["fingerprint"], r["check"], r["why"], trees.get(r["tree"]), r["trait_id"])
        for r in rows
    ]
    if gone := len(wanted) - len(looked):
        messages.warning(request, CHANGED.format(gone))
        if not looked:
            return
    n = actions.settle_checks(
        assessment=assessment, looked=looked, note=request.POST.get("note", ""), by=request.user
    )
    messages.success(
        request, f"{n} findings are ticked as looked at." if n != 1 else "One finding is ticked as looked at."
    )


def _columns(trial: str, may_manage: bool) -> list[Column]:
    tick = [Column("fingerprint", "Tick", key=True, sort=False, show=_tick)] if may_manage else []
    return [
        *tick,
        Column("severity", "How grave", filter="choice", sort=False, key=True),
        Column(
            "trees",
            "Tree",
            kind="code",
            key=True,
            url=lambda r: reverse("trials:tree", args=[trial, r["tree"]]) if r["n_trees"] == 1 else None,
            show=lambda v, r: v if r["n_trees"] == 1 else f"{r['n_trees']} trees, first {r['tree']}",
        ),
        Column("row", "Row", kind="integer"),
        Column("col", "Col", kind="integer"),
        Column("check", "Check", filter="choice"),
        Column("why", "Why", sort=False, key=True),
        Column("meant", "Perhaps meant", kind="number", help="What the check takes to be the value meant"),
        Column("looked_at", "Looked at", filter="choice", show=_looked_at),
        Column("looked_by", "By", filter="choice"),
        Column("looked_on", "On", kind="date"),
        Column("found", "What was found"),
        Column("crew", "Entered by", filter="choice"),
        Column(
            "confirmed", "Kept by the crew", filter="choice", help="The crew was asked and said it is right"
        ),
    ]


def _tick(value: Any, row: Any) -> Any:
    """A box for a finding to look at; a button that takes the tick back for one looked at."""
    if row["tick"] is None:
        return format_html(
            '<input type="checkbox" class="tick" form="{}" name="tick" value="{}" aria-label="Looked at: {} {}">',
            FORM,
            value,
            row["tree"],
            row["check"],
        )
    return format_html(
        '<button class="button link" form="{}" name="do" value="again-{}">Look again'
        '<span class="sr"> at {} {}</span></button>',
        FORM,
        row["tick"].pk,
        row["tree"],
        row["check"],
    )


def _looked_at(value: Any, row: Any) -> Any:
    return format_html("✓ {}", value) if row["tick"] else value


@require_GET
def close_assessment(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """What closing leaves undone, said before it is done; it warns and forbids nothing but open decisions."""
    found = managed_assessment(request, trial, pk)
    context = {"assessment": found, "trial": found.site.trial, "closing": settling.closing(found)}
    return render(request, "trials/close_assessment.html", context)

"""Felled trees: their stem records, their logs, and where to cut them."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from portal import access
from portal.calc import shown
from portal.tables import Column, Table
from portal.uploads.queries import manager_of, may_bring
from sawing.calc.crosscut import CutPlan, cut_plans, multiples
from sawing.links import felling_url, log_url
from sawing.log_pictures import stems
from sawing.models import Felling, Study
from sawing.planning import actions, queries
from sawing.planning.forms import CutsForm, StemForm
from sawing.queries import study_for
from trials.links import clone_url

USUAL_LENGTHS = (4.1, 3.1, 2.5)  # our own suggestion, where the study has no crosscut module
SHORTEST_USUAL_M, LONGEST_USUAL_M = 2.4, 4.8


def may_fell(request: HttpRequest, study: Study) -> bool:
    return access.may(request.user, study.trial_id, actions.FELLERS)


def page(request: HttpRequest, study: Study, **more: Any) -> dict[str, Any]:
    """What every page of fellings needs."""
    return {
        "study": study,
        "trial": study.trial,
        "may_fell": may_fell(request, study),
        "may_bring": may_bring(request.user, study.trial_id, "logs"),
        **more,
    }


@require_GET
def fellings(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The felled trees of a study; a tree typed or scanned leads to its stem record."""
    found = study_for(request.user, trial, study)
    typed = request.GET.get("find", "")
    tree = queries.tree_found(found, typed) if typed else None
    if tree is not None:
        return redirect("sawing:stem_record", trial, study, tree.code)
    asked: dict[str, int] = {}
    for doubt in queries.doubts_of(found):
        asked[doubt.tree] = asked.get(doubt.tree, 0) + 1
    table = Table(
        request,
        rows=queries.fellings_of(found),
        columns=[
            Column(
                "tree__code",
                "Tree",
                kind="code",
                key=True,
                url=lambda f: felling_url(found, f.tree.code),
                filter="contains",
            ),
            Column("tree__clone__code", "Clone", kind="code", key=True, filter="choice"),
            Column("tree__site__code", "Site", kind="code", filter="choice"),
            Column("felled_on", "Felled", kind="date"),
            Column("felled_by", "By"),
            Column("stem_length_m", "Stem", kind="number", digits=2, unit="m"),
            Column("stump_m", "Stump", kind="number", digits=2, unit="m"),
            Column("north_marked", "North", show=lambda v, _: "marked" if v else ""),
            Column("n_logs", "Logs", kind="integer", key=True),
            Column("logs_m", "In logs", kind="number", digits=2, unit="m"),
            Column("asked", "Asked about", sort=False, show=lambda _, f: asked.get(f.tree.code) or ""),
        ],
        what="tree",
        order="tree__code",
        file_name=f"{found.code}_fellings",
    )
    if table.asked_for_download:
        return table.download()
    context = page(
        request, found, table=table, typed=typed, may_choose=manager_of(request.user, found.trial_id)
    )
    return render(request, "sawing/planning/fellings.html", context)


@require_GET
def felling(request: HttpRequest, trial: str, study: str, tree: str) -> HttpResponse:
    """One felled tree: its stem record, its logs and boards, what does not fit along the stem."""
    stem = queries.felling_for(request.user, trial, study, tree)
    logs = list(queries.logs_of(stem.study).filter(felling=stem).order_by("bottom_m", "code"))
    facts = queries.tree_facts(stem.study, [tree]).iloc[0]
    table = Table(
        request,
        rows=logs,
        columns=[
            Column("code", "Log", kind="code", key=True, url=lambda row: log_url(stem.study, row.code)),
            Column("bottom_m", "Bottom", kind="number", digits=2, unit="m", key=True),
            Column("length_m", "Length", kind="number", digits=2, unit="m", key=True),
            Column("led1_mm", "Large end", kind="number", digits=0, unit="mm"),
            Column("sed1_mm", "Small end", kind="number", digits=0, unit="mm"),
            Column("sweep_mm", "Sweep", kind="number", digits=0, unit="mm"),
            Column("n_boards", "Boards", kind="integer", key=True),
            Column("board_volume_m3", "In boards", kind="cubic_metres", digits=4),
        ],
        what="log",
    )
    if table.asked_for_download:
        return table.download()
    context = page(
        request,
        stem.study,
        felling=stem,
        tree=stem.tree,
        facts=facts.where(facts.notna(), None).to_dict(),
        table=table,
        doubts=queries.doubts_of(stem.study, [tree]),
        stem=stems(stem.study, tree, logs, facts["height_m"]) if logs else None,
        clone_url=clone_url(stem.tree.clone),
    )
    return render(request, "sawing/planning/felling.html", context)


@require_http_methods(["GET", "POST"])
def stem_record(request: HttpRequest, trial: str, study: str, tree: str) -> HttpResponse:
    """Note the felling of a tree, or correct what was noted."""
    found = study_for(request.user, trial, study)
    if not may_fell(request, found):
        raise PermissionDenied("Stems are recorded by the field crew, the mill and the trial's managers.")
    standing = queries.tree_of(found, tree)
    stored = Felling.objects.filter(tree=standing).select_related("study").first()
    if stored is not None and stored.study_id != found.pk:
        raise PermissionDenied(f"Tree {tree} was felled for the study {stored.study.name}.")
    first = {"felled_on": timezone.localdate(), "felled_by": request.user.full_name}
    form = StemForm(request.POST or None, instance=stored, initial={} if stored else first)
    doubts: list[str] = []
    if request.method == "POST" and form.is_valid():
        try:
            kept = actions.record_stem(
                study=found, tree=standing, by=request.user, sure="sure" in request.POST, **form.cleaned_data
            )
        except actions.AskedError as asked:
            doubts = asked.doubts
        else:
            messages.success(request, f"The stem of {tree} is noted.")
            return redirect(felling_url(found, kept.tree.code))
    context = page(request, found, form=form, tree=standing, stored=stored, doubts=doubts)
    status = 422 if form.errors or doubts else 200
    return render(request, "sawing/planning/stem_record.html", context, status=status)


@require_GET
def cutting_list(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """Where to cut each stem into logs of the lengths wanted; for printing, nothing is stored."""
    found = study_for(request.user, trial, study)
    first = {
        "lengths": " ".join(f"{v:g}" for v in usual_lengths(found)),
        "kerf_mm": found.crosscut_kerf_mm or 10,
    }
    form = CutsForm({**first, **request.GET.dict()})
    stems = list(queries.fellings_of(found).order_by("tree__code"))
    known = [stem for stem in stems if stem.stem_length_m]
    plans: list[CutPlan] = []
    if form.is_valid():
        plans = cut_plans(
            [stem.stem_length_m or 0.0 for stem in known],
            form.cleaned_data["lengths"],
            form.cleaned_data["kerf_mm"],
        )
    context = page(
        request,
        found,
        form=form,
        lists=[_cuts(stem, plan) for stem, plan in zip(known, plans, strict=bool(plans))],
        unknown=[stem for stem in stems if not stem.stem_length_m],
        n_stems=len(stems),
        used=sum(plan.used_m for plan in plans),
        total=sum(plan.stem_m for plan in plans),
    )
    return render(request, "sawing/planning/cutting_list.html", context, status=422 if form.errors else 200)


def usual_lengths(study: Study) -> tuple[float, ...]:
    """Lengths of logs to begin with: multiples of the crosscut module, else our own suggestion."""
    if not study.crosscut_module_mm or study.crosscut_module_mm < 50:
        return USUAL_LENGTHS
    found = multiples(study.crosscut_module_mm, SHORTEST_USUAL_M, LONGEST_USUAL_M)
    return found or USUAL_LENGTHS


def _cuts(stem: Felling, plan: CutPlan) -> dict[str, Any]:
    """A stem of the list: its logs with both ends from the butt, and above the ground where the stump is known."""
    stump = stem.stump_m
    return {
        "stem": stem,
        "plan": plan,
        "logs": [
            {
                "log": log,
                "ground_m": None if stump is None else stump + log.bottom_m,
                "code": f"{stem.tree.code}-{log.number}",
            }
            for log in plan.logs
        ],
        "words": f"{shown.counted(len(plan.logs), 'log')}, {plan.used_m:.2f} of {plan.stem_m:.2f} m",
    }

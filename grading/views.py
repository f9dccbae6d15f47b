"""Boards with their grades, and the rule sets."""

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from grading import queries
from grading.graders import GRADERS
from grading.models import RuleSet
from grading.stiffness.queries import taps_on
from portal.access import may
from portal.tables import Column, Table
from portal.uploads.queries import manager_of, may_bring
from sawing.actions import offer_boards, withdraw_boards
from sawing.drying.queries import drying_story
from sawing.links import board_url, log_url
from sawing.models import BoardState
from sawing.queries import available_boards, studies_of, study_for
from trials.links import clone_url, tree_url


def board_columns(rule_sets: "QuerySet[RuleSet]", *, inside: bool = True) -> list[Column]:
    """The columns in which boards are listed everywhere; one per rule set, holding the grade."""
    chain = "log__felling__tree"
    columns = [
        Column(
            "code",
            "Board",
            kind="code",
            key=True,
            url=lambda b: board_url(b.study, b.code),
            filter="contains",
        ),
        Column(
            f"{chain}__clone__code",
            "Clone",
            kind="code",
            key=True,
            url=(lambda b: clone_url(b.log.felling.tree.clone)) if inside else None,
            filter="choice",
        ),
        Column(
            f"{chain}__code",
            "Tree",
            kind="code",
            url=(lambda b: tree_url(b.log.felling.tree)) if inside else None,
            filter="choice",
        ),
        Column(
            "log__code",
            "Log",
            kind="code",
            url=(lambda b: log_url(b.study, b.log.code)) if inside else None,
            filter="choice",
        ),
        Column("thickness_mm", "Thickness", kind="number", digits=1, unit="mm"),
        Column("width_mm", "Width", kind="number", digits=0, unit="mm", key=True),
        Column("length_m", "Length", kind="number", digits=2, unit="m", key=True),
        Column("volume_m3", "Volume", kind="cubic_metres", digits=5),
    ]
    for rule_set in rule_sets:
        columns.append(Column(f"grade_{rule_set.code}", rule_set.title, filter="choice"))
    columns.append(Column("state", "State", filter="choice", show=lambda v, b: BoardState(v).label))
    return columns


@require_GET
def boards(request: HttpRequest) -> HttpResponse:
    """The way in: the studies a person sees from inside, and the boards anybody may ask for."""
    rule_sets = queries.rule_sets_on_offer()
    table = Table(
        request,
        rows=queries.with_grade_columns(available_boards(request.user), rule_sets),
        columns=board_columns(rule_sets, inside=False),
        what="available board",
        order="code",
        file_name="available_boards",
    )
    if table.asked_for_download:
        return table.download()
    return render(request, "grading/boards.html", {"table": table, "studies": studies_of(request.user)})


@require_GET
def study_boards(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The boards of a study: filter, sort, download; the sums of what is shown."""
    found = study_for(request.user, trial, study)
    rule_sets = queries.rule_sets_in_use(found)
    table = Table(
        request,
        rows=queries.with_grade_columns(queries.boards_of_study(found), rule_sets),
        columns=board_columns(rule_sets),
        what="board",
        order="code",
        file_name=f"{found.code}_boards",
    )
    if table.asked_for_download:
        return table.download()
    context = {
        "study": found,
        "trial": found.trial,
        "table": table,
        "sums": queries.sums(table.found),
        "may_bring": may_bring(request.user, found.trial_id, "boards"),
    }
    return render(request, "grading/study_boards.html", context)


@require_POST
def offer(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """Offer the graded boards of a study to follow-on tests, or take one back."""
    found = study_for(request.user, trial, study)
    codes = request.POST.getlist("board")
    if request.POST.get("do") == "withdraw":
        n = withdraw_boards(study=found, by=request.user, codes=codes)
        messages.info(request, f"{n} taken back.")
    else:
        n = offer_boards(study=found, by=request.user, codes=codes)
        messages.success(request, f"{n} offered to follow-on tests.")
    return redirect(board_url(found, codes[0]) if len(codes) == 1 else "grading:boards")


@require_GET
def board(request: HttpRequest, trial: str, study: str, code: str) -> HttpResponse:
    """One board: its chain back to the tree, its sizes, its grades."""
    found = queries.board_for(request.user, trial, study, code)
    inside = studies_of(request.user).filter(pk=found.study_id).exists()
    context = {
        "board": found,
        "study": found.study,
        "trial": found.study.trial,
        "inside": inside,
        "grades": queries.pieces(found),
        "may_offer": manager_of(request.user, found.study.trial_id),
        "drying": drying_story(found) if inside else None,
        "taps": taps_on(found) if inside else [],
        "features": found.features.filter(set_aside=False).exclude(size_mm=0).count() if inside else 0,
        "may_grade": may(request.user, found.study.trial_id, GRADERS),
        "events": queries.board_events(found) if inside else [],
    }
    return render(request, "grading/board.html", context)

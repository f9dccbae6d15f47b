"""Flitches of a study: the list, one flitch docked, the plan beside what was cut."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from portal import access
from portal.calc.svg import NARROW, WIDE
from portal.tables import Column, Table
from portal.uploads.queries import may_bring
from sawing.calc.dock_compare import Pieces, difference
from sawing.calc.dock_flitch import Flitch
from sawing.calc.dock_results import Docked, DockedBoard
from sawing.calc.dock_rules import Rules
from sawing.calc.dock_worth import WORTH_OF_ONE
from sawing.calc.picture_flitch import flitch_picture
from sawing.docking import actions, queries
from sawing.docking.comparing import cut_boards, cut_pieces, source_words
from sawing.docking.forms import RulesForm
from sawing.docking.links import flitch_url
from sawing.docking.outlines import Outlines
from sawing.docking.ready import prepare_in_background
from sawing.docking.ways import first_rules
from sawing.links import board_url, log_url
from sawing.models import Flitch as FlitchRow
from sawing.models import Study
from sawing.queries import study_for

DOCK_WORDS = {0: "Edged whole, no dock", 1: "Best with one dock", 2: "Best with two docks"}


def page(study: Study, **more: Any) -> dict[str, Any]:
    """What every page of docking shows."""
    return {"study": study, "trial": study.trial, **more}


@require_GET
def flitches(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The flitches of a study, and what is known of their outlines."""
    prepare_in_background()
    found = study_for(request.user, trial, study)
    rows = list(queries.flitches_of(found))
    outlines = queries.outlines_of(found, rows)
    listed = [
        {
            "pk": row.pk,
            "log": row.log.code,
            "flitch": row.code,
            "thickness_mm": row.thickness_mm,
            "outline": source_words(row, outlines[row.pk].first)
            if _has_outline(outlines[row.pk])
            else "none",
            "boards": row.n_boards,
            "kept_m3": row.kept_m3,
        }
        for row in rows
    ]
    table = Table(
        request,
        rows=listed,
        columns=[
            Column(
                "log", "Log", kind="code", key=True, url=lambda r: log_url(found, r["log"]), filter="contains"
            ),
            Column("flitch", "Flitch", kind="code", key=True, url=lambda r: flitch_url(found, r["pk"])),
            Column("thickness_mm", "Thickness", kind="number", digits=1, unit="mm"),
            Column("outline", "Outline", filter="choice", key=True),
            Column("boards", "Boards cut", kind="integer"),
            Column("kept_m3", "Best plan kept", kind="cubic_metres", digits=5),
        ],
        what="flitch",
        whats="flitches",
        order="log",
        file_name=f"{found.code}_flitches",
    )
    if table.asked_for_download:
        return table.download()
    context = page(
        found,
        table=table,
        may_bring=may_bring(request.user, found.trial_id, "flitches"),
        may_write=access.may(request.user, found.trial_id, actions.WRITERS),
        has_logs=found.logs.exists(),
    )
    return render(request, "sawing/docking/flitches.html", context)


def _has_outline(outlines: Outlines) -> bool:
    return outlines.of(outlines.first) is not None


@require_http_methods(["GET", "POST"])
def flitch(request: HttpRequest, trial: str, study: str, pk: int) -> HttpResponse:
    """One flitch: its best plan under rules that stand in the address, and what was cut. A post keeps the plan."""
    row = queries.flitch_for(request.user, trial, study, pk)
    may_write = access.may(request.user, row.study.trial_id, actions.WRITERS)
    if request.method == "POST" and not may_write:
        raise PermissionDenied("Results are kept by mill staff and by the trial's managers.")
    found = study_for(request.user, trial, study)
    outlines = queries.outlines_of(found, [row])[row.pk]
    source = request.GET.get("outline") or outlines.first
    outline = outlines.of(source)
    first = first_rules(found, queries.traces_by_labels(found))
    form = RulesForm(request.GET, first=first)
    boards = list(row.boards.order_by("piece", "code"))
    context = page(
        found,
        flitch=row,
        form=form,
        outlines=outlines,
        source=source,
        source_words=source_words(row, source),
        boards=boards,
        results=list(queries.results_of(row)[:20]),
        may_write=may_write,
        board_table=_board_rows(found, boards),
    )
    if form.is_valid() and outline is not None and form.rules is not None:
        rules = form.rules
        docked = _docked(form, outline, rules)
        if docked is not None:
            if request.method == "POST":
                return _kept(request, row, outline, source, form.given(), docked)
            context |= _shown(found, row, outline, docked, rules, boards)
    return render(request, "sawing/docking/flitch.html", context, status=422 if form.errors else 200)


def _docked(form: RulesForm, outline: Flitch, rules: Rules) -> Docked | None:
    from sawing.calc.dock_optimum import dock  # compiled code: only what computes waits for it

    try:
        return dock(outline, rules)
    except ValueError as error:
        form.add_error(None, f"This cannot be computed: {error}.")
        return None


def _kept(
    request: HttpRequest, row: FlitchRow, outline: Flitch, source: str, given: dict[str, Any], docked: Docked
) -> HttpResponse:
    _, new = actions.keep_result(
        row=row, outline=outline, source=source, rules=given, docked=docked, by=request.user
    )
    words = "The plan is kept." if new else "This very plan was kept before: nothing to add."
    messages.success(request, words)
    return redirect(request.get_full_path())


def _shown(
    study: Study, row: FlitchRow, outline: Flitch, docked: Docked, rules: Rules, boards: list[Any]
) -> dict[str, Any]:
    """Pictures and tables of a plan."""
    basis = "value" if rules.prices else "volume"
    gain = docked.worth / docked.worth_by_docks[0] - 1 if docked.worth_by_docks[0] else None
    title = f"Flitch {row.code} of {row.log.code}: {_finding(docked, gain)}"
    note = f"{outline.length_mm / 1000:.2f} m, counts as {outline.thickness_mm:g} mm thick"

    def draw(width: int, layout: str) -> str:
        cut = cut_boards(study, boards)
        name = f"flitch-{layout}"
        return flitch_picture(outline, docked, rules, name=name, title=title, note=note, cut=cut, width=width)

    return {
        "docked": docked,
        "by_value": bool(rules.prices),
        "basis": basis,
        "wide": draw(WIDE, "wide"),
        "narrow": draw(NARROW, "narrow"),
        "ways": _ways(docked),
        "boards_planned": [_planned_row(b) for b in docked.boards],
        "split": difference(Pieces.of_plan(docked), cut_pieces(boards)) if boards else None,
        "keeps_ends": rules.keep_end == "each",
    }


def _planned_row(board: DockedBoard) -> dict[str, Any]:
    return {
        "start_m": board.start_mm / 1000,
        "end_m": board.end_mm / 1000,
        "length_m": board.length_mm / 1000,
        "widths": " + ".join(f"{width:g}" for width in board.widths_mm),
        "available_mm": board.available_mm,
        "fence": board.slope * 1000,
    }


def _finding(docked: Docked, gain: float | None) -> str:
    if docked.status != "ok":
        return docked.status
    docks = len(docked.boards) - 1
    if docks == 0 or gain is None:
        return "best edged whole"
    return f"{'one dock' if docks == 1 else 'two docks'} gains {100 * gain:.0f} %"


def _ways(docked: Docked) -> list[dict[str, Any]]:
    """Rows of the table of values: without a dock, at half length, best."""
    whole = docked.worth_by_docks[0]
    ways = [(DOCK_WORDS[docks], worth) for docks, worth in enumerate(docked.worth_by_docks)]
    if docked.worth_at_middle is not None:
        ways.insert(1, ("Docked at half its length", docked.worth_at_middle))
    bound = docked.bound_local_worth
    return [
        {
            "name": name,
            "value": worth / WORTH_OF_ONE,
            "gain": worth / whole - 1 if whole and name != DOCK_WORDS[0] else None,
            "share": worth / bound if bound else None,
        }
        for name, worth in ways
    ]


def _board_rows(study: Study, boards: list[Any]) -> list[dict[str, Any]]:
    return [
        {
            "code": b.code,
            "url": board_url(study, b.code),
            "piece": b.piece,
            "length_m": b.length_m,
            "width_mm": b.width_mm,
            "nominal_mm": b.nominal_width_mm,
        }
        for b in boards
    ]

"""The best plan of every flitch beside what was cut from it, and where the difference went."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from portal.calc import shown
from portal.tables import Column, Table
from sawing.calc.dock_compare import summed
from sawing.docking import queries
from sawing.docking.comparing import Compared, compared, source_words
from sawing.docking.links import flitch_url
from sawing.docking.views import page
from sawing.docking.ways import first_rules, rules_from
from sawing.links import log_url
from sawing.queries import study_for


@require_GET
def compare(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """For each flitch with boards: the best plan under the study's rules, what was cut, where the difference went."""
    found = study_for(request.user, trial, study)
    boards = queries.boards_by_flitch(found)
    rows = [row for row in queries.flitches_of(found) if row.n_boards]
    outlines = queries.outlines_of(found, rows)
    by_labels = queries.traces_by_labels(found)
    try:
        rules = rules_from(first_rules(found, by_labels))
        each = [compared(row, outlines[row.pk], boards[row.pk], rules) for row in rows]
    except ValueError as error:
        return render(
            request, "sawing/docking/compare.html", page(found, wrong=f"The study's plan: {error}.")
        )
    there = [c for c in each if c is not None]
    table = Table(
        request,
        rows=[_compared_row(c) for c in there],
        columns=[
            Column(
                "log", "Log", kind="code", key=True, url=lambda r: log_url(found, r["log"]), filter="contains"
            ),
            Column("flitch", "Flitch", kind="code", key=True, url=lambda r: flitch_url(found, r["pk"])),
            Column("outline", "Outline", filter="choice"),
            Column("planned_m3", "Best plan", kind="cubic_metres", digits=5),
            Column("cut_m3", "Cut", kind="cubic_metres", digits=5),
            Column("total_m3", "Difference", kind="cubic_metres", digits=5, key=True),
            Column("lengths_m3", "in lengths", kind="cubic_metres", digits=5),
            Column("widths_m3", "in widths", kind="cubic_metres", digits=5),
            Column("thickness_m3", "in thickness", kind="cubic_metres", digits=5),
            Column("docks", "Docks planned", kind="integer"),
            Column("cut_docks", "Docks made", kind="integer"),
        ],
        what="flitch",
        whats="flitches",
        order="log",
        file_name=f"{found.code}_planned_and_cut",
    )
    if table.asked_for_download:
        return table.download()
    context = page(
        found,
        table=table,
        total=summed([c.difference for c in there]),
        left_out=shown.counted(len(each) - len(there), "flitch", "flitches")
        if len(there) < len(each)
        else "",
        guessed=sum(c.source == "predicted" for c in there),
        rules=rules,
        by_labels=by_labels,
    )
    return render(request, "sawing/docking/compare.html", context)


def _compared_row(c: Compared) -> dict[str, Any]:
    pieces = {b.piece or b.code for b in c.boards}
    return {
        "pk": c.row.pk,
        "log": c.row.log.code,
        "flitch": c.row.code,
        "outline": source_words(c.row, c.source),
        "planned_m3": c.difference.planned_m3,
        "cut_m3": c.difference.cut_m3,
        "total_m3": c.difference.total_m3,
        "lengths_m3": c.difference.lengths_m3,
        "widths_m3": c.difference.widths_m3,
        "thickness_m3": c.difference.thickness_m3,
        "docks": max(0, len(c.docked.boards) - 1),
        "cut_docks": len(pieces) - 1,
    }

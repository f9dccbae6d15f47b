"""Pages where several boards are typed or scanned in one go: readings, samples, defects, dry sizes."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_http_methods, require_POST

from portal.calc import shown
from portal.tables import Column, Table
from sawing.calc.density_shrinkage import MostSpecies, compare_dry_size
from sawing.calc.warp import KINDS, LIMITS, judge
from sawing.drying import actions, queries
from sawing.drying.asked import RowsRefusedError
from sawing.drying.doors import may_write, required, written_stack
from sawing.drying.forms import (
    DefectRow,
    ReadingRow,
    RowForm,
    SampleDayForm,
    SampleRow,
    SeenForm,
    SizeRow,
    VisitForm,
    rows_of,
)
from sawing.drying.links import stack_url
from sawing.drying.views import page
from sawing.links import board_url
from sawing.models import Board, DryingDefect, MoistureReading, Study
from sawing.queries import study_for

BLANK_ROWS = 6
DEFAULT_MOISTURE_PCT = 16.0  # of a dried board that was never read, for its expected size


def kept(rows: Any, keep: Callable[[list[Any]], int]) -> int | None:
    """Store the filled rows of a sent set; None, with the reason on its row, when one cannot be stored."""
    filled: list[RowForm] = [form for form in rows if form.filled]
    if not filled:
        rows.non_form_errors().append("Nothing was typed: a row needs a board and a value.")
        return None
    try:
        return keep(filled)
    except RowsRefusedError as refused:
        for at, why in refused.rows.items():
            filled[at].add_error("board", f"{why[0].upper()}{why[1:]}.")
        return None


def left_out(rows: Any) -> str:
    """What to say of rows with a board and no value; empty when there are none."""
    n = sum(1 for form in rows if form.cleaned_data.get("board") and not form.filled)
    return f" {shown.counted(n, 'board')} without a value left out." if n else ""


@require_http_methods(["GET", "POST"])
def readings(request: HttpRequest, trial: str, study: str, code: str) -> HttpResponse:
    """Meter readings of a visit: one row a board, made for a phone and a wedge scanner."""
    found = written_stack(request, trial, study, code)
    last = found.moisture_readings.filter(method="meter").order_by("read_on", "pk").last()
    first = {
        "read_on": timezone.localdate(),
        "instrument": last.instrument if last else "",
        "species_setting": last.species_setting if last else "",
    }
    data = request.POST if request.method == "POST" else None
    form = VisitForm(data, initial=first)
    again = queries.boards_read_last(found) if data is None else []
    rows = rows_of(ReadingRow, data, 2 if again else BLANK_ROWS, again)
    if data is not None and form.is_valid() and rows.is_valid():
        n = kept(
            rows,
            lambda filled: actions.keep_readings(
                stack=found, rows=[row.asked() for row in filled], by=request.user, **form.cleaned_data
            ),
        )
        if n is not None:
            messages.success(request, f"{shown.counted(n, 'reading')} stored.{left_out(rows)}")
            return redirect(stack_url(found))
    return _typed(request, found.study, "readings.html", form, rows, stack=found)


@require_http_methods(["GET", "POST"])
def samples(request: HttpRequest, trial: str, study: str, code: str) -> HttpResponse:
    """Oven-dry samples: wet and dry mass of each."""
    found = written_stack(request, trial, study, code)
    data = request.POST if request.method == "POST" else None
    form = SampleDayForm(data, initial={"read_on": timezone.localdate()})
    rows = rows_of(SampleRow, data, BLANK_ROWS)
    if data is not None and form.is_valid() and rows.is_valid():
        n = kept(
            rows,
            lambda filled: actions.keep_samples(
                stack=found, rows=[row.asked() for row in filled], by=request.user, **form.cleaned_data
            ),
        )
        if n is not None:
            messages.success(request, f"{shown.counted(n, 'sample')} stored.{left_out(rows)}")
            return redirect(stack_url(found))
    return _typed(request, found.study, "samples.html", form, rows, stack=found)


def _typed(
    request: HttpRequest, study: Study, template: str, form: Any, rows: Any, **more: Any
) -> HttpResponse:
    wrong = request.method == "POST" and (
        bool(form and form.errors) or any(r.errors for r in rows) or bool(rows.non_form_errors())
    )
    context = page(request, study, form=form, rows=rows, **more)
    return render(request, f"sawing/drying/{template}", context, status=422 if wrong else 200)


@require_POST
def reading_aside(request: HttpRequest, trial: str, study: str, pk: int) -> HttpResponse:
    found = study_for(request.user, trial, study)
    reading = get_object_or_404(
        MoistureReading.objects.select_related("board__study", "stack__study__trial"),
        pk=pk,
        board__study=found,
    )
    actions.set_aside_reading(reading=reading, by=request.user)
    messages.success(request, f"The reading of {reading.board.code} is set aside; it stays on record.")
    return redirect(stack_url(reading.stack)) if reading.stack else redirect("sawing:drying", trial, study)


@require_http_methods(["GET", "POST"])
def defects(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """What drying did to boards, beside limits that inform and decide nothing."""
    found = study_for(request.user, trial, study)
    data = request.POST if request.method == "POST" else None
    if data is not None:
        required(request, found)
    form, rows = SeenForm(data, initial={"seen_on": timezone.localdate()}), rows_of(DefectRow, data, 4)
    if data is not None and form.is_valid() and rows.is_valid():
        seen_on = form.cleaned_data["seen_on"]
        n = kept(
            rows,
            lambda filled: actions.keep_defects(
                study=found, rows=[row.asked(seen_on) for row in filled], by=request.user
            ),
        )
        if n is not None:
            messages.success(request, f"{shown.counted(n, 'defect')} stored.{left_out(rows)}")
            return redirect("sawing:drying_defects", trial, study)
    table = _defect_table(request, found)
    if table.asked_for_download:
        return table.download()
    return _typed(request, found, "defects.html", form, rows, table=table, limits=LIMITS)


def _defect_table(request: HttpRequest, study: Study) -> Table:
    token = get_token(request)

    def aside(pk: Any, _: Any) -> str:
        url = reverse("sawing:defect_aside", args=[study.trial.code, study.code, pk])
        return format_html(
            '<form method="post" action="{}"><input type="hidden" name="csrfmiddlewaretoken" value="{}">'
            '<button class="link">Set aside</button></form>',
            url,
            token,
        )

    rows = [_defect_row(d) for d in queries.defects_of(study).filter(set_aside=False)]
    changing = (
        [Column("pk", "Mistaken?", sort=False, show=aside)] if may_write(request, study) and rows else []
    )
    return Table(
        request,
        rows=rows,
        columns=[
            Column(
                "board",
                "Board",
                kind="code",
                key=True,
                url=lambda r: board_url(study, r["board"]),
                filter="contains",
            ),
            Column("clone", "Clone", kind="code", filter="choice"),
            Column("kind", "Defect", key=True, filter="choice"),
            Column("size_mm", "Size", kind="number", digits=1, unit="mm", key=True),
            Column("over_m", "Over", kind="number", digits=2, unit="m"),
            Column("on_2_m_mm", "On 2 m", kind="number", digits=1, unit="mm"),
            Column("beyond", "Beyond, for information"),
            Column("seen_on", "Seen", kind="date"),
            Column("note", "Note"),
            *changing,
        ],
        what="defect",
        order="board",
        file_name="drying_defects",
    )


def _defect_row(defect: DryingDefect) -> dict[str, Any]:
    board, over = defect.board, None if defect.over_mm is None else defect.over_mm / 1000
    warp = None
    if defect.kind in KINDS and defect.size_mm is not None:
        warp = judge(defect.kind, defect.size_mm, over, board.dry_width_mm or board.width_mm)
    return {
        "pk": defect.pk,
        "board": board.code,
        "clone": board.log.felling.tree.clone.code if board.log.felling.tree.clone else None,
        "kind": defect.get_kind_display(),
        "size_mm": defect.size_mm,
        "over_m": over,
        "on_2_m_mm": warp.on_2_m_mm if warp else None,
        "beyond": "; ".join(warp.beyond) if warp else "",
        "seen_on": defect.seen_on,
        "note": defect.note,
    }


@require_POST
def defect_aside(request: HttpRequest, trial: str, study: str, pk: int) -> HttpResponse:
    found = study_for(request.user, trial, study)
    defect = get_object_or_404(DryingDefect.objects.select_related("board__study"), pk=pk, board__study=found)
    actions.set_aside_defect(defect=defect, by=request.user)
    messages.success(request, f"The defect of {defect.board.code} is set aside; it stays on record.")
    return redirect("sawing:drying_defects", trial, study)


@require_http_methods(["GET", "POST"])
def dry_sizes(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """Measured dry sizes beside those expected at the board's moisture content."""
    found = study_for(request.user, trial, study)
    data = request.POST if request.method == "POST" else None
    if data is not None:
        required(request, found)
    rows = rows_of(SizeRow, data, 4)
    if data is not None and rows.is_valid():
        n = kept(
            rows,
            lambda filled: actions.keep_dry_sizes(
                study=found, rows=[row.asked() for row in filled], by=request.user
            ),
        )
        if n is not None:
            messages.success(request, f"Sizes of {shown.counted(n, 'board')} stored.{left_out(rows)}")
            return redirect("sawing:dry_sizes", trial, study)
    table = _size_table(request, found)
    if table.asked_for_download:
        return table.download()
    return _typed(
        request,
        found,
        "sizes.html",
        None,
        rows,
        table=table,
        model=MostSpecies(),
        unread=DEFAULT_MOISTURE_PCT,
    )


def _size_table(request: HttpRequest, study: Study) -> Table:
    read = queries.last_moisture(study)
    return Table(
        request,
        rows=[_size_row(board, read.get(board.pk)) for board in queries.sized_boards(study)],
        columns=[
            Column(
                "board",
                "Board",
                kind="code",
                key=True,
                url=lambda r: board_url(study, r["board"]),
                filter="contains",
            ),
            Column("clone", "Clone", kind="code", filter="choice"),
            Column("mc_pct", "Moisture", kind="number", digits=1, unit="%"),
            Column("width_mm", "Width, dry", kind="number", digits=1, unit="mm", key=True),
            Column("width_shrunk", "Width shrank", kind="number", digits=1, unit="%", key=True),
            Column("width_expected", "expected", kind="number", digits=1, unit="%"),
            Column("thickness_mm", "Thickness, dry", kind="number", digits=1, unit="mm"),
            Column("thickness_shrunk", "Thickness shrank", kind="number", digits=1, unit="%"),
            Column("thickness_expected", "expected", kind="number", digits=1, unit="%"),
            Column("concern", "Worth a look"),
        ],
        what="board",
        order="board",
        file_name="dry_sizes",
    )


def _size_row(board: Board, mc_pct: float | None) -> dict[str, Any]:
    model, at = MostSpecies(), DEFAULT_MOISTURE_PCT if mc_pct is None else mc_pct
    clone = board.log.felling.tree.clone
    row: dict[str, Any] = {"board": board.code, "clone": clone.code if clone else None, "mc_pct": mc_pct}
    concerns = []
    for what, green, dry, expected in (
        ("width", board.width_mm, board.dry_width_mm, model.width_pct(at)),
        ("thickness", board.thickness_mm, board.dry_thickness_mm, model.thickness_pct(at)),
    ):
        size = None if dry is None else compare_dry_size(green, dry, float(expected), what)
        row |= {
            f"{what}_mm": dry,
            f"{what}_shrunk": size and size.shrunk_pct,
            f"{what}_expected": size and size.expected_pct,
        }
        if size and size.concern:
            concerns.append(size.concern)
    return {**row, "concern": " ".join(concerns)}

"""Studies and their logs."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET

from portal.tables import Column, Table
from portal.uploads.queries import manager_of, may_bring
from sawing import queries
from sawing.board_colours import PLAIN, colourings
from sawing.calc.board_volume import board_volumes
from sawing.calc.log_shape import PREFERENCE, log_shapes, volumes_compared
from sawing.calc.log_volume import log_volumes
from sawing.links import board_url, felling_url, log_url, study_url
from sawing.log_pictures import balance_picture, log_end_of
from sawing.models import Study
from sawing.planning.queries import doubts_of
from sawing.tally.queries import odd_boards
from trials.queries import trials_of


@require_GET
def studies(request: HttpRequest) -> HttpResponse:
    """The studies a person belongs to; straight to the study when there is only one."""
    found = list(queries.studies_of(request.user))
    managed = [t for t in trials_of(request.user) if manager_of(request.user, t.pk)]
    if len(found) == 1 and not managed:
        return redirect(study_url(found[0]))
    return render(request, "sawing/studies.html", {"studies": found, "managed": managed})


@require_GET
def logs(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """The logs of a study with their volume and the boards that came out."""
    found = queries.study_for(request.user, trial, study)
    frame = queries.log_rows(found)
    asked: dict[str, int] = {}
    for doubt in doubts_of(found):
        if doubt.log is not None:
            asked[doubt.log] = asked.get(doubt.log, 0) + 1
    frame["asked"] = [asked.get(code) for code in frame["log"]]
    table = Table(
        request,
        rows=frame,
        columns=[
            Column(
                "log", "Log", kind="code", key=True, url=lambda r: log_url(found, r["log"]), filter="contains"
            ),
            Column("clone", "Clone", kind="code", filter="choice"),
            Column("tree", "Tree", kind="code", filter="choice", url=lambda r: felling_url(found, r["tree"])),
            Column("bottom_m", "Bottom", kind="number", digits=2, unit="m"),
            Column("length_m", "Length", kind="number", digits=2, unit="m"),
            Column("sed_mm", "Small end", kind="number", digits=0, unit="mm"),
            Column("led_mm", "Large end", kind="number", digits=0, unit="mm"),
            Column("taper_mm_per_m", "Taper", kind="number", digits=1, unit="mm/m"),
            Column("sweep_mm", "Sweep", kind="number", digits=0, unit="mm"),
            Column("volume_m3", "Volume", kind="cubic_metres", digits=4),
            Column("boards", "Boards", kind="integer", key=True),
            Column("board_volume_m3", "In boards", kind="cubic_metres", digits=4),
            Column("recovery", "Green recovery", kind="percent", key=True),
            Column("asked", "Asked about", kind="integer"),
        ],
        what="log",
        order="log",
        file_name=f"{found.code}_logs",
    )
    if table.asked_for_download:
        return table.download()
    formula = log_volumes(frame.head(0), found.log_volume_formula, found.bark_factor).formula
    context = {
        "study": found,
        "trial": found.trial,
        "table": table,
        "formula": formula,
        "may_bring": may_bring(request.user, found.trial_id, "logs"),
    }
    return render(request, "sawing/logs.html", context)


@require_GET
def log(request: HttpRequest, trial: str, study: str, code: str) -> HttpResponse:
    """One log: its measures, its volume by every formula, its boards, where its wood went."""
    found = queries.study_for(request.user, trial, study)
    log = get_object_or_404(queries.logs_of(found), code=code)
    frame = queries.log_frame(found)
    one = frame[frame["log"] == code]
    boards = queries.board_frame(found)
    boards = boards[boards["log"] == code].assign(volume_m3=lambda b: board_volumes(b).volume_m3)
    chosen = log_volumes(one, found.log_volume_formula, found.bark_factor)
    table = Table(
        request,
        rows=boards,
        columns=board_columns(found),
        what="board",
        order="board",
        file_name=f"{code}_boards",
    )
    if table.asked_for_download:
        return table.download()
    balance = queries.balance_of(found, one, boards)
    shape = {str(name): float(v) for name, v in log_shapes(one, found.bark_factor).iloc[0].items()}
    ways = colourings(found)
    colouring = next((way for way in ways if way.name == request.GET.get("colour")), PLAIN)
    tree = log.felling.tree.code
    context = {
        "study": found,
        "trial": found.trial,
        "log": log,
        "table": table,
        "formula": chosen.formula,
        "volumes": volumes_compared(one, found.bark_factor),
        "preference": PREFERENCE,
        "shape": shape,
        "percents": {name: 100 * share for name, share in shape.items() if "share" in name},
        "doubts": [d for d in doubts_of(found, [tree]) if d.log == code],
        "stem_url": felling_url(found, tree),
        "may_bring": may_bring(request.user, found.trial_id, "logs"),
        "ways": ways,
        "colouring": colouring,
        "kerf_note": balance.kerf_note,
        # Without a volume there is nothing to part; the table of formulae says what is missing.
        "balance": balance_picture(code, balance, len(boards)) if chosen.volume_m3.notna().all() else None,
        "end": log_end_of(found, one.iloc[0].to_dict(), boards, colouring) if len(boards) else None,
        "odd": odd_boards(found, [code]).get(code, []),
    }
    return render(request, "sawing/log.html", context)


def board_columns(study: Study) -> list[Column]:
    """The columns in which boards of one log are listed."""
    return [
        Column("board", "Board", kind="code", key=True, url=lambda r: board_url(study, r["board"])),
        Column("flitch", "Flitch", kind="code"),
        Column("piece", "Piece", kind="code"),
        Column("cell", "Cell", kind="code"),
        Column("thickness_mm", "Thickness", kind="number", digits=1, unit="mm"),
        Column("width_mm", "Width", kind="number", digits=0, unit="mm", key=True),
        Column("length_m", "Length", kind="number", digits=2, unit="m", key=True),
        Column("volume_m3", "Volume", kind="cubic_metres", digits=5),
    ]

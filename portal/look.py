"""The living page of the portal's look: every part in all its states, made by the tags that pages use."""

import datetime as dt
from types import SimpleNamespace
from typing import Any

from django import forms
from django.apps import apps
from django.contrib.auth.decorators import login_not_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.utils.module_loading import import_string, module_has_submodule

from portal.cautions import CAUTIONS
from portal.models import Job
from portal.tables import Column, Table

CLONE_NAMES = ("HL-07", "HL-11", "HL-19", "HL-23", "HL-30", "HL-42", "EL-C1", "JL-C2", "HL-51", "HL-58")
GRADE_NAMES = ("Clear", "Small knots", "Sound knots", "Dead knots", "Reject")


class MeasuresForm(forms.Form):
    """A form with one field of every layout."""

    code = forms.CharField(
        label="Log", help_text="The tree’s code, then the number from the butt.", initial="K3-0412-1"
    )
    length_m = forms.FloatField(
        label="Length", max_value=13, widget=forms.TextInput(attrs={"inputmode": "decimal"})
    )
    sed1_mm = forms.FloatField(
        label="Small end, first reading", widget=forms.TextInput(attrs={"inputmode": "decimal"})
    )
    bark = forms.ChoiceField(label="Diameters are", choices=[("under", "under bark"), ("over", "over bark")])
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}))
    heart_seen = forms.BooleanField(label="Heartwood boundary could be seen at both ends", required=False)
    saw = forms.ChoiceField(
        label="Sawn",
        widget=forms.RadioSelect,
        choices=[("live", "live, all cuts one way"), ("cant", "around a cant")],
    )


MeasuresForm.base_fields["length_m"].unit = "m"  # type: ignore[attr-defined]
MeasuresForm.base_fields["sed1_mm"].unit = "mm"  # type: ignore[attr-defined]


def sample_boards() -> list[dict[str, Any]]:
    """Invented rows for the table, some with gaps."""
    rows = []
    for i in range(64):
        tree, log, piece = 405 + i // 16, 1 + (i // 8) % 2, 1 + i % 8
        rows.append(
            {
                "board": f"K3-0{tree}-{log}-{piece}",
                "log": f"K3-0{tree}-{log}",
                "clone": CLONE_NAMES[(i // 16) % 4],
                "width_mm": 100 + 25 * (i * 7 % 6),
                "thickness_mm": (28.4, 28.1, 27.9, None)[i % 4],
                "length_m": 3.0 if i % 5 else 2.4,
                "recovery": 0.44 + (i * 37 % 23) / 100,
                "grade": GRADE_NAMES[i * 3 % 5],
                "sawn_on": dt.date(2025, 6, 3 + i // 16),
            }
        )
    return rows


def picture_samples() -> list[dict[str, str]]:
    """Pictures that the rooms bring along: an app may have a module look_samples with samples()."""
    found: list[dict[str, str]] = []
    for config in apps.get_app_configs():
        if config.module is not None and module_has_submodule(config.module, "look_samples"):
            found += import_string(f"{config.name}.look_samples.samples")()
    return found


def sample_table(request: HttpRequest) -> Table:
    return Table(
        request,
        title="Boards of four trees",
        rows=sample_boards(),
        what="board",
        order="board",
        page_size=12,
        left_out="9 boards of the log broken at felling.",
        columns=[
            Column("board", "Board", kind="code", key=True, url=lambda row: "#table-rows"),
            Column("clone", "Clone", key=True, filter="choice"),
            Column("grade", "Grade", key=True, filter="choice"),
            Column("log", "Log", kind="code", filter="contains"),
            Column("width_mm", "Width", kind="number", unit="mm", digits=0),
            Column("thickness_mm", "Thickness", kind="number", unit="mm", digits=1, help="actual, green"),
            Column("length_m", "Length", kind="number", unit="m", digits=2),
            Column("recovery", "Graded", kind="percent", help="graded volume ÷ sawn volume"),
            Column("sawn_on", "Sawn", kind="date"),
        ],
    )


HELD_COLUMNS = ("board", "log", "thickness_mm", "width_mm", "length_m")
HELD_ROWS = (
    {
        "id": 1,
        "row_number": 14,
        "values": {
            "board": "K3-0412-1-4",
            "log": "K3-412-1",
            "thickness_mm": "28,1",
            "width_mm": "150",
            "length_m": "3.0",
        },
        "problems": [
            {
                "column": "log",
                "found": "K3-412-1",
                "expected": "no such log; did the code lose a zero: K3-0412-1?",
            }
        ],
    },
    {
        "id": 2,
        "row_number": 31,
        "values": {
            "board": "K3-0413-2-1",
            "log": "K3-0413-2",
            "thickness_mm": "281",
            "width_mm": "",
            "length_m": "3.0",
        },
        "problems": [
            {"column": "thickness_mm", "found": "281", "expected": "at most 150 mm"},
            {"column": "width_mm", "found": "", "expected": "a width in mm"},
        ],
    },
    {
        "id": 3,
        "row_number": 40,
        "values": {
            "board": "K3-0413-2-1",
            "log": "K3-0413-2",
            "thickness_mm": "28.0",
            "width_mm": "125",
            "length_m": "2.4",
        },
        "problems": [
            {"column": None, "found": "", "expected": "the board stands twice in this file, rows 31 and 40"}
        ],
    },
)


@login_not_required
def look(request: HttpRequest) -> HttpResponseBase:
    """Show every part. Nothing here comes from the database."""
    table = sample_table(request)
    if table.asked_for_download:
        return table.download()
    wrong = MeasuresForm(
        {"code": "K3-0412-1", "length_m": "31", "sed1_mm": "", "bark": "under", "saw": "live"}
    )
    return render(
        request,
        "portal/look.html",
        {
            "table": table,
            "empty_table": Table(
                request, rows=[], columns=[Column("log", "Log")], what="log", prefix="none_"
            ),
            "form": MeasuresForm(auto_id="ok_%s"),
            "wrong_form": wrong,
            "clones": list(enumerate(CLONE_NAMES)),
            "grades": list(enumerate(GRADE_NAMES)),
            "held_columns": HELD_COLUMNS,
            "held": HELD_ROWS,
            "job": Job(pk=1, title="12 scenarios of 48 logs", state="done", ended_at=dt.datetime.now(dt.UTC)),
            "cautions": list(CAUTIONS),
            "page": Paginator(range(2000), 50).get_page(request.GET.get("page", 12)),
            "figure": SimpleNamespace(value=0.5124, low=0.481, high=0.5402, trees=24, boards=612),
            "swatches": SWATCHES,
            "samples": picture_samples(),
        },
    )


SWATCHES = (
    ("paper", "page"),
    ("card", "surfaces"),
    ("ink", "text"),
    ("quiet", "secondary text"),
    ("line", "hairlines"),
    ("spruce", "links, first action, focus"),
    ("heart", "heartwood only"),
    ("sap", "sapwood only"),
    ("caution", "cautions"),
    ("wrong", "what is wrong"),
    ("right", "what is done"),
)


def error_page(request: HttpRequest, name: str) -> HttpResponse:
    """One of the error pages as it looks, with status 200 (for looking at it)."""
    return render(request, name)

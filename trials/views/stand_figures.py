"""Stand figures of an assessment."""

from functools import partial
from typing import Any

from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.html import format_html
from django.views.decorators.http import require_GET

from portal.calc import shown
from portal.calc.svg import NARROW, WIDE
from portal.tables import Column, Table
from trials.calc.height_picture import height_picture
from trials.desk import figures
from trials.views.doors import assessment_for


@require_GET
def assessment_figures(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """Stand figures per clone, block or plot, with what each stands on."""
    found = assessment_for(request, trial, pk)
    by = request.GET.get("by", "clone")
    if by not in figures.GROUPS:
        raise BadRequest("by: expected clone, block or plot")
    page = figures.stand_page(found, by)
    table = Table(
        request,
        rows=page.table,
        columns=_figure_columns(found.site.trial.code, page, by),
        what=by,
        order=by,
        file_name=f"{found.site.code}_{found.name}_{by}",
    )
    if table.asked_for_download:
        return table.download()
    drawn = (page.frame["dbh_mm"], page.frame["height_m"], page.curve) if page.curve else None
    context = {
        "assessment": found,
        "trial": found.site.trial,
        "table": table,
        "page": page,
        "by": by,
        "groups": list(figures.GROUPS),
        "tiles": _tiles(page),
        "no_area_words": f"Figures per hectare and top height are left out: {page.no_area}.",
        "no_curve_words": f"No height curve for the whole site: {page.no_curve}. Missing heights stay missing.",
        "shift_words": _shift_words(page),
        "curve_words": "Crosses: measured heights. Dashed: where 99 of 100 more trees would lie.",
        "pictures": [height_picture(*drawn, width=w) for w in (WIDE, NARROW)] if drawn else [],
    }
    return render(request, "trials/assessment_figures.html", context)


def _shift_words(page: figures.StandPage) -> str:
    """How heights nobody measured are estimated clone by clone; "" where none can be."""
    if page.curve is None:
        return ""
    own = shown.counted(page.own_curves, "clone")
    if page.shifts is None:
        others = f"the others as the site, without shifts ({page.no_shifts})"
        return f"Missing heights: {own} with a curve of their own; {others}."
    lie = f"{page.shifts.between_m:.2f} m (standard deviation) about the curve"
    return (
        f"Missing heights: {own} with a curve of their own; the others take the site’s, shifted. Clones lie"
        f" {lie}, trees of a clone {page.shifts.within_m:.2f} m."
    )


def _tiles(page: figures.StandPage) -> list[dict[str, Any]]:
    """The whole site's figures: label, value, unit, decimals, and what they stand on."""
    s = page.site
    if not s:
        return []
    n_dbh, heights = int(s["n_dbh"]), int(s["n_heights"])
    estimated = int(s["n_heights_estimated"])
    on_heights = f"{shown.counted(heights, 'measured height')}, {estimated} estimated"
    seen = int(s["n_live"] + s["n_dead"])
    tiles = [
        ("Survival", shown.percent(s["survival"], 1), "", f"{int(s['n_live'])} live of {seen} seen"),
        ("Stems", shown.number(s["stems_per_ha"], 0), "/ha", f"{int(s['n_live'])} live"),
        (
            "Basal area",
            shown.number(s["basal_area_m2_per_ha"], 1),
            "m²/ha",
            shown.counted(n_dbh, "diameter"),
        ),
        (
            "Quadratic mean diameter",
            shown.number(s["quadratic_mean_dbh_mm"], 0),
            "mm",
            shown.counted(n_dbh, "diameter"),
        ),
        ("Mean height", shown.number(s["mean_height_m"], 1), "m", on_heights),
        (
            "Top height",
            shown.number(s["top_height_m"], 1),
            "m",
            f"{s['top_method']}, {int(s['top_stems'])} stems",
        ),
    ]
    return [
        {"label": label, "value": value, "unit": unit if value else "", "from": origin}
        for label, value, unit, origin in tiles
    ]


def _figure_columns(trial: str, page: figures.StandPage, by: str) -> list[Column]:
    labels = {
        "clone": [
            Column(
                "clone",
                "Clone",
                kind="code",
                key=True,
                url=lambda r: reverse("reports:clone", args=[trial, r["clone"]]),
            )
        ],
        "block": [Column("block", "Block", kind="code", key=True)],
        "plot": [
            Column("block", "Block", kind="code", key=True),
            Column("plot", "Plot", kind="code", key=True),
        ],
    }[by]
    per_ha = [
        Column("stems_per_ha", "Stocking", kind="integer", unit="stems/ha", show=_stocking),
        Column("basal_area_m2_per_ha", "Basal area", kind="number", unit="m²/ha", digits=1, show=_basal_area),
    ]
    return [
        *labels,
        Column("n_planted", "Planted", kind="integer"),
        Column("n_live", "Live", kind="integer", key=True),
        Column("survival", "Survival", kind="percent", digits=1, key=True, show=_of_seen),
        *(per_ha if not page.no_area else []),
        Column(
            "quadratic_mean_dbh_mm", "Quadratic mean diameter", kind="number", unit="mm", digits=0, show=_dbh
        ),
        Column("mean_height_m", "Mean height", kind="number", unit="m", digits=1, show=_height),
        *(
            [
                Column("top_height_m", "Top height", kind="number", unit="m", digits=1, show=_top),
                Column("top_method", "Top height by", sort=False, cell_class=lambda r: "method"),
            ]
            if not page.no_area
            else []
        ),
        *(_increments(page) if page.age_years else []),
        Column("notes", "Notes", sort=False, cell_class=lambda r: "notes"),
    ]


def _increments(page: figures.StandPage) -> list[Column]:
    """Mean increments over age; of basal area only where there is a ground to put it on."""
    kinds = [
        ("dbh_mai_mm_per_year", "diameter", "mm/year", 1, "n_dbh"),
        ("height_mai_m_per_year", "height", "m/year", 2, "n_live"),
        ("basal_area_mai_m2_per_ha_year", "basal area", "m²/ha/year", 2, "n_dbh"),
    ]
    return [
        Column(
            name,
            f"Mean increment, {what}",
            kind="number",
            unit=unit,
            digits=digits,
            show=partial(_increment, digits=digits, n=n),
        )
        for name, what, unit, digits, n in (kinds[:2] if page.no_area else kinds)
    ]


def _with_n(text: str | None, under: str) -> Any:
    """A figure with what it stands on in a second line."""
    return format_html('{}<span class="under">{}</span>', text, under) if text else ""


def _stems(n: Any) -> str:
    return shown.counted(int(n), "stem") or ""


def _of_seen(value: Any, row: Any) -> Any:
    text = shown.percent(value, 1)
    return _with_n(text and text[:-2], f"of {int(row['n_live'] + row['n_dead'])} seen")


def _stocking(value: Any, row: Any) -> Any:
    return _with_n(shown.number(value, 0), _stems(row["n_live"]))


def _basal_area(value: Any, row: Any) -> Any:
    return _with_n(shown.number(value, 1), _stems(row["n_dbh"]))


def _dbh(value: Any, row: Any) -> Any:
    return _with_n(shown.number(value, 0), _stems(row["n_dbh"]))


def _height(value: Any, row: Any) -> Any:
    """Marked with * where some of the heights are estimated."""
    measured_n, estimated = int(row["n_heights"]), int(row["n_heights_estimated"])
    text = shown.number(value, 1)
    told = f"{measured_n} measured, {estimated} est." if estimated else _stems(measured_n)
    return _with_n(text and text + ("*" if estimated else ""), told)


def _top(value: Any, row: Any) -> Any:
    return _with_n(shown.number(value, 1), _stems(row["top_stems"]))


def _increment(value: Any, row: Any, digits: int, n: str) -> Any:
    return _with_n(shown.number(value, digits), _stems(row[n]))

"""The map of a site and its list of plots in walking order."""

from typing import Any, cast

from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from portal.tables import Column, Table
from trials.calc.spacing import read_spacing
from trials.calc.walking_order import CORNERS, Along, Corner, Walk
from trials.desk import measured, site_maps
from trials.models import Site, TreeStatus
from trials.views.doors import site_for

COLOURS = (("clone", "Clone"), ("block", "Block"), ("status", "Status"))


@require_GET
def site_map(request: HttpRequest, trial: str, site: str) -> HttpResponse:
    """A site tree by tree, coloured by what is asked for; the picture is drawn by site_map.js."""
    found = site_for(request, trial, site)
    measured_traits = [
        (a.name, [(f"{a.pk}.{t.code}", t.name) for t in traits])
        for a, traits in site_maps.map_choices(found)
        if traits
    ]
    context = {
        "site": found,
        "trial": found.trial,
        "colours": COLOURS,
        "measured": measured_traits,
        "colour": request.GET.get("colour", "clone"),
        "n_trees": found.trees.count(),
    }
    return render(request, "trials/site_map.html", context)


@require_GET
def site_map_data(request: HttpRequest, trial: str, site: str) -> JsonResponse:
    """What the map draws, as compact arrays; `colour` is clone, block, status, or "<assessment>.<trait>"."""
    found = site_for(request, trial, site)
    colour = request.GET.get("colour", "clone")
    if colour in dict(COLOURS):
        return JsonResponse(site_maps.site_map(found))
    number, _, code = colour.partition(".")
    assessment = next((a for a in found.assessments.all() if str(a.pk) == number), None)
    trait = assessment and assessment.traits.filter(code=code).first()
    if assessment is None or trait is None:
        raise BadRequest("colour: expected clone, block, status, or an assessment and one of its traits")
    return JsonResponse(site_maps.site_map(found, measured.trait_values(assessment, trait)))


@require_GET
def walking_list(request: HttpRequest, trial: str, site: str) -> HttpResponse:
    """The trees of a site in the order in which a crew walks them, for printing."""
    found = site_for(request, trial, site)
    walk = _walk(request, found)
    trees = site_maps.walked_trees(found, walk)
    rows = trees.to_dict("records")
    table = Table(
        request,
        rows=rows,
        columns=_columns(with_clone="clones" in request.GET),
        what="tree",
        page_size=max(len(rows), 1),
        file_name=f"{found.code}_walk",
    )
    if table.asked_for_download:
        return table.download()
    context = {
        "site": found,
        "trial": found.trial,
        "table": table,
        "walk": walk,
        "corners": CORNERS,
        "with_clone": "clones" in request.GET,
        "walked_m": rows[-1]["walked_m"] if rows else None,
    }
    return render(request, "trials/walking_list.html", context)


def _walk(request: HttpRequest, site: Site) -> Walk:
    corner, along = request.GET.get("corner", "top left"), request.GET.get("along", "rows")
    if corner not in CORNERS or along not in ("rows", "columns"):
        raise BadRequest("corner or direction of the walk")
    spacing = read_spacing(site.spacing_m)
    metres = (spacing.between_rows_m, spacing.within_rows_m) if spacing else (float("nan"),) * 2
    return Walk(cast(Corner, corner), cast(Along, along), *metres)


def _columns(with_clone: bool) -> list[Column]:
    """Clones stay hidden unless asked for, so that nobody measures what they expect."""
    clone = [Column("clone", "Clone", kind="code", sort=False)] if with_clone else []
    return [
        Column("order", "Walk", kind="integer", key=True, sort=False),
        Column("tree", "Tree", kind="code", key=True, sort=False),
        Column("row", "Row", kind="integer", sort=False, key=True),
        Column("col", "Col", kind="integer", sort=False, key=True),
        Column("block", "Block", kind="code", sort=False),
        Column("plot", "Plot", kind="code", sort=False),
        *clone,
        Column("status", "Status", sort=False, show=_status),
        Column("room", "Noted in the stand", sort=False, show=lambda v, r: " "),
    ]


def _status(value: Any, row: Any) -> str:
    return " " if value == TreeStatus.STANDING else str(TreeStatus(value).label)

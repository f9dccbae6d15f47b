"""Pictures of planning with the clones' own colours and the links of their pages."""

from collections.abc import Mapping
from typing import Any

import pandas as pd
from django.urls import reverse

from portal.calc.svg import NARROW, WIDE
from portal.templatetags.parts_numbers import clone_colour
from trials.calc.pictures_layout import MOST_PLOTS, Mark, choice_map, layout_picture
from trials.calc.site_plan import SitePlan


def plan_picture(plan: SitePlan, places: Mapping[str, int]) -> tuple[str, str]:
    """The layout of a plan for wide and narrow pages; two empty texts where it has too many plots to draw.

    `places`: place of each clone on the trial's colour scale.
    """
    guards = plan.asked.ground.guards
    if len(plan.design.plots) + len(plan.layout) - len(plan.compared) > MOST_PLOTS:
        return "", ""
    css = {code: clone_colour(place) for code, place in places.items()}
    shape = plan.asked.ground.plot_shape
    trees = (
        "one tree a plot"
        if shape.rows * shape.columns == 1
        else f"{shape.rows} × {shape.columns} trees a plot"
    )
    wide, narrow = (
        layout_picture(
            plan.layout,
            css,
            guard_block=guards.block if guards else None,
            name="plan",
            title=f"Where each clone stands at {plan.asked.ground.site}",
            note=f"{len(plan.design.plots)} plots, {trees}. Rows downwards, columns to the right.",
            width=width,
        )
        for width in (WIDE, NARROW)
    )
    return wide, narrow


def felling_maps(
    listed: pd.DataFrame, places: pd.DataFrame, trial: str, colours: Mapping[str, int]
) -> list[dict[str, Any]]:
    """A map of every site on the list, for wide and narrow pages."""
    at = places.set_index("tree")
    maps = []
    for site, rows in listed.groupby("site", sort=False):
        trees = places[places["site"] == site].reset_index(drop=True)
        marks = [*_chosen(rows, trial, colours), *_reserves(listed, str(site), at, colours)]
        wide, narrow = (
            choice_map(
                trees,
                marks,
                name=f"fell-{site}",
                title=f"{len(rows)} of {len(trees)} trees to fell at {site}",
                note="Numbers: the order of the walk. Rings: reserves. Rows downwards, columns to the right.",
                width=width,
            )
            for width in (WIDE, NARROW)
        )
        maps.append({"site": site, "wide": wide, "narrow": narrow})
    return maps


def _chosen(rows: pd.DataFrame, trial: str, colours: Mapping[str, int]) -> list[Mark]:
    return [
        Mark(
            int(row.row),
            int(row.col),
            str(row.order),
            f"{row.order}: {row.tree}, {row.clone}",
            clone_colour(colours.get(row.clone)),
            href=reverse("trials:tree", args=[trial, row.tree]),
        )
        for row in rows.itertuples()
    ]


def _reserves(listed: pd.DataFrame, site: str, at: pd.DataFrame, colours: Mapping[str, int]) -> list[Mark]:
    """Reserves that stand on a site, whichever site their tree is on."""
    marks = []
    for column in [c for c in listed.columns if c.startswith("reserve_")]:
        for tree, reserve, clone in listed[["tree", column, "clone"]].itertuples(index=False):
            if isinstance(reserve, str) and at.at[reserve, "site"] == site:
                words = f"{reserve}: reserve for {tree}, {clone}"
                css = clone_colour(colours.get(clone))
                marks.append(
                    Mark(int(at.at[reserve, "row"]), int(at.at[reserve, "col"]), "", words, css, reserve=True)
                )
    return marks

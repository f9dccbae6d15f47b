"""A site as compact arrays: what the map draws, and the order in which a crew walks it."""

from collections.abc import Iterable, Sequence
from typing import Any

import pandas as pd
from django.urls import reverse

from trials.calc.spacing import read_spacing
from trials.calc.walking_order import Walk, tree_walk
from trials.models import Assessment, Site, Trait, TreeStatus

PLACES = ("code", "row", "col", "plot__block__code", "plot__code", "clone__code", "clone__colour", "status")
STATUSES = [status.value for status in TreeStatus]
HERE = "TREE-CODE"  # stands in an address where the map puts a tree's code


def site_map(site: Site, values: dict[str, Any] | None = None) -> dict[str, Any]:
    """The trees of a site in the order of rows and columns, one array a property.

    Blocks, plots, clones and statuses are positions in their lists of names. `values`: what `trait_values`
    gives, by tree code; arrays follow the trees.
    """
    trees = list(site.trees.order_by("row", "col").values_list(*PLACES))
    blocks, block = _listed(t[3] for t in trees)
    plots, plot = _listed(t[4] for t in trees)
    clones, clone = _listed((t[5], t[6]) for t in trees)
    spacing = read_spacing(site.spacing_m)
    return {
        "site": site.name or site.code,
        "spacing": [spacing.between_rows_m, spacing.within_rows_m] if spacing else None,
        "tree_url": reverse("trials:tree", args=[site.trial.code, HERE]),
        "here": HERE,
        "code": [t[0] for t in trees],
        "row": [t[1] for t in trees],
        "col": [t[2] for t in trees],
        "blocks": blocks,
        "block": block,
        "plots": plots,
        "plot": plot,
        "clones": [{"code": code, "colour": colour} for code, colour in clones],
        "clone": clone,
        "statuses": [status.label for status in TreeStatus],
        "status": [STATUSES.index(t[7]) for t in trees],
        "trait": _trait_arrays(values, [t[0] for t in trees]) if values else None,
    }


def _listed(values: Iterable[Any]) -> tuple[list[Any], list[int]]:
    """The different values in order of appearance, and the place of each value among them."""
    places: dict[Any, int] = {}
    at = [places.setdefault(value, len(places)) for value in values]
    return list(places), at


def _trait_arrays(values: dict[str, Any], codes: Sequence[str]) -> dict[str, Any]:
    shown, marks = values.pop("values"), values.pop("marks")
    return values | {
        "value": [shown.get(code) for code in codes],
        "mark": [marks.get(code, "") for code in codes],
    }


def map_choices(site: Site) -> list[tuple[Assessment, list[Trait]]]:
    """The assessments of a site, newest first, with the traits the map can colour by."""
    found = site.assessments.prefetch_related("assessment_traits__trait")
    return [(a, [link.trait for link in a.assessment_traits.all()]) for a in found]


def walked_trees(site: Site, walk: Walk) -> pd.DataFrame:
    """The trees of a site in walking order, with their place, clone and status; columns as `tree_walk` adds."""
    names = ("tree", "row", "col", "block", "plot", "clone", "colour", "status")
    trees = pd.DataFrame(list(site.trees.order_by("row", "col").values_list(*PLACES)), columns=list(names))
    return tree_walk(trees, walk) if len(trees) else trees

"""What a phone takes along for one assessment: its trees in walking order, its traits, what is known of them."""

from typing import Any

import pandas as pd
from django.utils import timezone

from trials.calc.height_curves import CurveRefusedError, fit_height_curve
from trials.calc.walking_order import tree_walk
from trials.entries.queries import PLACES, last_values, standing_values
from trials.models import Assessment, Trait

DBH, HEIGHT = "dbh_mm", "height_m"
Values = dict[int, dict[str, Any]]
"""{tree id: {trait code: …}}"""


def pack(assessment: Assessment) -> dict[str, Any]:
    """The pack of an assessment, ready for JSON. Six queries, whatever its size."""
    traits = list(assessment.traits.order_by("assessment_traits__position"))
    last, last_on = _last(assessment)
    now = _now(assessment)
    site = assessment.site
    return {
        "id": assessment.pk,
        "name": assessment.name,
        "site": site.code,
        "trial": site.trial.name,
        "measured_from": assessment.measured_from.isoformat(),
        "packed_at": timezone.now().isoformat(),
        "traits": [_trait(t) for t in traits],
        "trees": _trees(assessment, last, last_on, now),
        "band": _band(now, last, site.trial.breast_height_m),
    }


def _trait(trait: Trait) -> dict[str, Any]:
    names = ("code", "name", "kind", "unit", "minimum", "maximum", "decimals", "points", "shrinks", "method")
    return {name: getattr(trait, name) for name in names}


def _trees(assessment: Assessment, last: Values, last_on: Values, now: Values) -> list[dict[str, Any]]:
    names = {name: path for name, path in PLACES.items() if name != "site"}
    rows = assessment.site.trees.order_by("row", "col").values_list("pk", *names.values())
    trees = pd.DataFrame(list(rows), columns=["pk", *names])
    if trees.empty:
        return []
    walked = tree_walk(trees)[["pk", *names]].rename(columns={"tree": "code"}).to_dict("records")
    return [
        {
            **{str(k): v for k, v in tree.items() if k != "pk"},
            "last": last.get(tree["pk"], {}),
            "last_on": last_on.get(tree["pk"], {}),
            "now": now.get(tree["pk"], {}),
        }
        for tree in walked
    ]


def _last(assessment: Assessment) -> tuple[Values, Values]:
    """Values of earlier assessments, and the days from which these were measured."""
    values: Values = {}
    days: Values = {}
    rows = last_values(assessment).values_list(
        "tree_id", "trait__code", "number", "text", "assessment__measured_from"
    )
    for tree, trait, number, text, day in rows:
        values.setdefault(tree, {})[trait] = text if number is None else number
        days.setdefault(tree, {})[trait] = day.isoformat()
    return values, days


def _now(assessment: Assessment) -> Values:
    """Values that stand already, with the id of their entry and who made it."""
    values: Values = {}
    rows = standing_values(assessment).values_list(
        "tree_id", "trait__code", "number", "text", "client_id", "by__full_name", "by__username"
    )
    for tree, trait, number, text, identity, name, username in rows:
        values.setdefault(tree, {})[trait] = {
            "value": text if number is None else number,
            "id": str(identity),
            "by": name or username,
        }
    return values


def _band(now: Values, last: Values, breast_height_m: float) -> dict[str, float] | None:
    """Numbers of the height curve: of this assessment when it has enough heights, else of what was last measured."""
    today = [(v[DBH]["value"], v[HEIGHT]["value"]) for v in now.values() if DBH in v and HEIGHT in v]
    before = [(v[DBH], v[HEIGHT]) for v in last.values() if DBH in v and HEIGHT in v]
    for pairs in (today, before):
        try:
            dbh, height = zip(*pairs, strict=True) if pairs else ((), ())
            return fit_height_curve(dbh, height, breast_height_m=breast_height_m).numbers()
        except (CurveRefusedError, ValueError):
            continue
    return None

"""A choice of trees made for a page: computed once, kept for an hour for its downloads, put into words."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pandas as pd
from django.core.cache import cache
from django.http import HttpResponse

from portal.cautions import caution_text
from portal.downloads import table_file
from trials.calc.felling_choice import FellingChoice
from trials.calc.felling_list import (
    BalanceTable,
    balance_tables,
    choose_from,
    felling_list,
    obstacles_in_words,
    proof_in_words,
    why_chosen,
)
from trials.calc.felling_requirements import Wanted
from trials.calc.walking_order import Walk
from trials.models import Trial
from trials.planning.felling_form import FellingForm
from trials.planning.pictures import felling_maps

TIME_LIMIT_S = 10.0
KEPT_S = 3600
FILE_COLUMNS = (
    "order",
    "site",
    "row",
    "col",
    "block",
    "plot",
    "tree",
    "clone",
    "dbh_mm",
    "diameter_class",
    "why",
)


@dataclass
class Felling:
    """A choice with everything its page shows. `places`: every tree of the trial (queries.places)."""

    trial: str
    seed: int
    wanted: Wanted
    choice: FellingChoice
    listed: pd.DataFrame
    places: pd.DataFrame

    @property
    def rows(self) -> list[dict[str, Any]]:
        """The list for the page, with the reserves of each tree side by side."""
        return [{**row, "reserves": _reserves(row)} for row in self.listed.to_dict("records")]

    @property
    def sites(self) -> list[dict[str, Any]]:
        """The list site by site, as it is walked and printed."""
        rows = self.rows
        names = dict.fromkeys(row["site"] for row in rows)
        return [{"site": site, "rows": [row for row in rows if row["site"] == site]} for site in names]

    @property
    def balances(self) -> list[BalanceTable]:
        return [t for t in balance_tables(self.choice.balance) if t.over != "class" or len(t.levels) > 1]

    @property
    def proof(self) -> str:
        return proof_in_words(self.choice.proof, TIME_LIMIT_S)

    @property
    def obstacles(self) -> list[tuple[str, list[str]]]:
        return obstacles_in_words(self.choice.obstacles)

    @cached_property
    def left_out(self) -> list[tuple[str, int]]:
        """Reasons why trees were no candidates, with their counts."""
        counts = self.choice.left_out["reason"].value_counts()
        return [(str(reason), int(count)) for reason, count in counts.items()]

    @property
    def notes(self) -> list[str]:
        """Remarks of the choice; those about health only where health was asked about."""
        words = {"'healthy'": "health", "'edge'": "edge"}
        notes = [note for note in self.choice.notes if "'healthy'" not in note or self.wanted.leave_unhealthy]
        for old, new in words.items():
            notes = [note.replace(old, new) for note in notes]
        return notes

    def maps(self, colours: Mapping[str, int]) -> list[dict[str, Any]]:
        return felling_maps(self.listed, self.places, self.trial, colours)

    def download(self, kind: str, name: str) -> HttpResponse:
        """The list as a file; the caution goes with every row."""
        ranks = [column for column in self.listed.columns if column.startswith(("reserve_", "differs_"))]
        heads = [*FILE_COLUMNS, *ranks]
        rows = self.listed[heads].astype(object)
        rows = rows.where(rows.notna(), None)
        caution = f"C1: {caution_text('C1')}"
        body = [[*row, caution] for row in rows.itertuples(index=False, name=None)]
        return table_file([*heads, "caution"], body, kind, name)


def chosen_for(trial: Trial, form: FellingForm, trees: pd.DataFrame, places: pd.DataFrame) -> Felling | None:
    """The choice a valid form asks for; the reason on the form where it cannot be asked so.

    A choice is kept for an hour: what is downloaded is what was shown, also where the time limit ended the search.
    """
    wanted, seed = form.wanted(), form.cleaned_data["seed"]
    key = _key(trial, wanted, seed, trees)
    choice = cache.get(key)
    if choice is None:
        try:
            choice = choose_from(trees, wanted, seed=seed, time_limit_s=TIME_LIMIT_S)
        except ValueError as refused:
            form.add_error(None, f"This cannot be chosen: {refused}.")
            return None
        cache.set(key, choice, KEPT_S)
    listed = felling_list(choice, trees, wanted, Walk(form.cleaned_data["corner"]))
    listed["why"] = [why_chosen(row) for _, row in listed.iterrows()]
    return Felling(trial.code, seed, wanted, choice, listed, places)


def first_bounds(diameters: pd.Series) -> str:  # type: ignore[type-arg]
    """Bounds to begin with: thirds of the diameters known, in whole centimetres; none where they fall together."""
    if not len(diameters):
        return ""
    bounds = sorted({round(float(diameters.quantile(share)) / 10) * 10 for share in (1 / 3, 2 / 3)})
    return ", ".join(str(bound) for bound in bounds) if len(bounds) == 2 and bounds[0] > 0 else ""


def _reserves(row: Mapping[str, Any]) -> list[dict[str, str]]:
    found = []
    for column in sorted(name for name in row if str(name).startswith("reserve_")):
        tree, differs = row[column], row[column.replace("reserve_", "differs_")]
        found.append({"tree": tree if isinstance(tree, str) else "", "differs": differs})
    return found


def _key(trial: Trial, wanted: Wanted, seed: int, trees: pd.DataFrame) -> str:
    """Name of a choice in the cache: everything it depends on."""
    asked = [
        wanted.per_clone,
        wanted.class_edges_mm,
        wanted.least_per_class,
        wanted.cover,
        wanted.sites,
        wanted.least_per_site,
        wanted.most_per_plot,
        wanted.leave_unhealthy,
        wanted.leave_edge,
        sorted(wanted.leave),
        wanted.reserves,
        seed,
        trial.pk,
    ]
    columns = ["tree", "clone", "site", "block", "plot", "dbh_mm", "healthy", "edge"]
    text = repr(asked) + trees[columns].to_csv(index=False)
    return f"felling-{hashlib.sha256(text.encode()).hexdigest()}"

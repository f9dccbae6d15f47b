"""Every write of the room: trials, clones, layouts."""

from collections.abc import Iterable
from typing import Any

import pandas as pd
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction

from portal import access
from portal.models import Membership, Role, Upload, User
from portal.uploads.bulk import copy_columns, json_notes, python_values
from portal.uploads.frames import codes_to_ids
from portal.uploads.registry import Target
from trials import queries
from trials.models import Block, Clone, Plot, Site, Tree, Trial

HUES = 8


def create_trial(*, code: str, name: str, by: User, **fields: Any) -> Trial:
    """Start a trial; whoever starts it becomes its manager. Only stewards may.

    :raises ValidationError: the code is the address of a page, or another trial's but for capital letters.
    """
    if not by.is_superuser:
        raise PermissionDenied("Only a steward starts a trial.")
    if code.lower() in ("new", "offer", "rule-sets"):
        raise ValidationError({"code": queries.CODE_OF_A_PAGE})
    if queries.code_is_taken(code):
        raise ValidationError({"code": queries.CODE_TAKEN})
    with transaction.atomic():
        trial = Trial.objects.create(code=code, name=name, **fields)
        Membership.objects.create(user=by, trial=trial, role=Role.MANAGER)
        return trial


def change_trial(*, trial: Trial, name: str, description: str, breast_height_m: float, by: User) -> Trial:
    """Change how a trial is described; its code stays. What stood there before stays in the history.

    :param breast_height_m: height above the ground at which diameters are measured, in m.
    """
    access.require(by, trial.pk, [Role.MANAGER])
    with transaction.atomic():
        trial = Trial.objects.select_for_update().get(pk=trial.pk)
        trial.name, trial.description, trial.breast_height_m = name, description, breast_height_m
        trial.save()
        return trial


def describe_site(*, trial: Trial, code: str, by: User, **fields: Any) -> Site:
    """Note the place, elevation, spacing, design or planting date of a site; made when it is new."""
    access.require(by, trial.pk, [Role.MANAGER])
    with transaction.atomic():
        site = Site.objects.select_for_update().filter(trial=trial, code=code).first() or Site(
            trial=trial, code=code
        )
        for name, value in fields.items():
            setattr(site, name, value)
        site.save()
        return site


def insert_clones(target: Target, rows: pd.DataFrame, upload: Upload | None) -> int:
    """Add clones; each gets its colour once and for all. Caller holds the trial's lock."""
    first = queries.next_colour(target.trial)
    return copy_columns(
        Clone,
        {
            "trial_id": target.trial.pk,
            "upload_id": upload and upload.pk,
            "code": rows["clone"],
            "name": rows["name"].fillna(""),
            "kind": rows["kind"].fillna("hybrid"),
            "seed_parent": rows["seed_parent"].fillna(""),
            "pollen_parent": rows["pollen_parent"].fillna(""),
            "colour": pd.Series(range(first, first + len(rows)), dtype=object),
            "notes": json_notes(rows),
        },
        len(rows),
    )


def give_own_hues(trial: Trial, *, shown: Iterable[int], joining: Iterable[int]) -> None:
    """Part clones that would look alike, before they are first shown together.

    The colour scale repeats after `HUES` places. A clone that joins those already shown, and would share a hue
    with one of them, swaps places with a clone that is not shown yet, while there is one with a free hue.

    :param shown: ids of the clones that figures show already; these keep their colours.
    :param joining: ids of the clones that join them.
    """
    kept, new = set(shown), set(joining)
    used = {c.colour % HUES for c in trial.clones.filter(pk__in=kept)}
    spare = list(trial.clones.exclude(pk__in=kept | new).order_by("colour"))
    for clone in trial.clones.filter(pk__in=new - kept).order_by("colour"):
        other = next((c for c in spare if c.colour % HUES not in used), None)
        if clone.colour % HUES in used and other is not None:
            clone.colour, other.colour = other.colour, clone.colour
            Clone.objects.bulk_update([clone, other], ["colour"])
            spare.remove(other)
        used.add(clone.colour % HUES)


def replace_clones(target: Target, rows: pd.DataFrame, upload: Upload) -> int:
    """Overwrite stored clones with the filled cells of these rows."""
    clones = {c.code: c for c in target.trial.clones.filter(code__in=rows["clone"].tolist())}
    for row in _records(rows):
        clone = clones[row.pop("clone")]
        for name, value in row.items():
            if value is not None:
                setattr(clone, name, value)
        clone.save()
    return len(rows)


def insert_layout(target: Target, rows: pd.DataFrame, upload: Upload | None) -> int:
    """Add trees with the sites, blocks and plots they name. Caller holds the trial's lock."""
    sites, plots = _ensure_plots(target.trial, rows)
    clones = codes_to_ids(target.trial.clones.all())
    return copy_columns(
        Tree,
        {
            "trial_id": target.trial.pk,
            "upload_id": upload and upload.pk,
            "site_id": rows["site"].map(sites),
            "plot_id": pd.Series([plots[k] for k in _plot_keys(rows)], rows.index, dtype=object),
            "clone_id": rows["clone"].map(clones),
            "code": rows["tree"],
            "row": rows["row"].astype(int),
            "col": rows["col"].astype(int),
            "planted_on": rows["planted_on"],
            "notes": json_notes(rows),
        },
        len(rows),
    )


def replace_layout(target: Target, rows: pd.DataFrame, upload: Upload) -> int:
    """Overwrite the address and clone of stored trees."""
    sites, plots = _ensure_plots(target.trial, rows)
    clones = codes_to_ids(target.trial.clones.all())
    trees = {t.code: t for t in target.trial.trees.filter(code__in=rows["tree"].tolist())}
    for key, row in zip(_plot_keys(rows), _records(rows), strict=True):
        tree = trees[row["tree"]]
        tree.site_id, tree.plot_id, tree.clone_id = sites[row["site"]], plots[key], clones[row["clone"]]
        tree.row, tree.col = int(row["row"]), int(row["col"])
        tree.planted_on = row["planted_on"] or tree.planted_on
        tree.save()
    return len(rows)


def _ensure_plots(trial: Trial, rows: pd.DataFrame) -> tuple[dict[str, int], dict[tuple[str, str, str], int]]:
    """Ids of the sites and plots that the rows name; missing ones are made."""
    sites = codes_to_ids(trial.sites.all())
    Site.objects.bulk_create(Site(trial=trial, code=c) for c in rows["site"].unique() if c not in sites)
    sites = codes_to_ids(trial.sites.all())

    def blocks_there() -> dict[tuple[str, str], int]:
        found = Block.objects.filter(site__trial=trial).values_list("site__code", "code", "pk")
        return {(site, code): pk for site, code, pk in found}

    blocks = blocks_there()
    wanted = set(zip(rows["site"], rows["block"], strict=True)) - blocks.keys()
    Block.objects.bulk_create(Block(site_id=sites[s], code=b) for s, b in sorted(wanted))
    blocks = blocks_there()

    def plots_there() -> dict[tuple[str, str, str], int]:
        found = Plot.objects.filter(block__site__trial=trial)
        return {
            (site, block, code): pk
            for site, block, code, pk in found.values_list("block__site__code", "block__code", "code", "pk")
        }

    plots = plots_there()
    missing = set(_plot_keys(rows)) - plots.keys()
    Plot.objects.bulk_create(Plot(block_id=blocks[s, b], code=p) for s, b, p in sorted(missing))
    return sites, plots_there()


def _plot_keys(rows: pd.DataFrame) -> list[tuple[str, str, str]]:
    return list(zip(rows["site"], rows["block"], rows["plot"], strict=True))


def _records(rows: pd.DataFrame) -> list[dict[str, Any]]:
    names = [c for c in rows if not str(c).startswith("_")]
    lists = [python_values(rows[c], len(rows)) for c in names]
    return [dict(zip(names, values, strict=True)) for values in zip(*lists, strict=True)]

"""Reading trials, sites, clones and trees, for those who may see them."""

import pandas as pd
from django.db.models import Count, Max, Q, QuerySet
from django.shortcuts import get_object_or_404

from portal import access
from portal.models import Role, User
from portal.uploads.frames import frame
from portal.uploads.registry import Target
from trials.models import Clone, Photo, Site, Tree, Trial

CODE_OF_A_PAGE = "“new” is the address of the page that starts a trial: choose another code."
CODE_TAKEN = "There is a trial of this code already; capital letters make no difference. Choose another."
LAYOUT_FIELDS = {
    "site": "site__code",
    "block": "plot__block__code",
    "plot": "plot__code",
    "clone": "clone__code",
    "tree": "code",
    "row": "row",
    "col": "col",
    "planted_on": "planted_on",
}
CLONE_FIELDS = {
    "clone": "code",
    "seed_parent": "seed_parent",
    "pollen_parent": "pollen_parent",
    "kind": "kind",
    "name": "name",
}


def trials_of(user: User) -> QuerySet[Trial]:
    """The trials whose inside a person may see."""
    allowed = access.trial_ids(user)
    return Trial.objects.all() if allowed is None else Trial.objects.filter(pk__in=allowed)


def trial_for(user: User, code: str) -> Trial:
    """One trial, or 404 for those who do not belong to it."""
    return get_object_or_404(trials_of(user), code=code)


def code_is_taken(code: str) -> bool:
    """Whether a trial has this code, however its letters are written."""
    return Trial.objects.filter(code__iexact=code).exists()


def sites_of(trial: Trial) -> QuerySet[Site]:
    """Sites with their counts of trees, clones and blocks."""
    return trial.sites.annotate(
        n_trees=Count("trees"),
        n_clones=Count("trees__clone", distinct=True),
        n_felled=Count("trees", filter=Q(trees__status="felled")),
    )


def clones_of(trial: Trial) -> QuerySet[Clone]:
    """Clones with their number of planted trees and sites."""
    return trial.clones.annotate(n_trees=Count("trees"), n_sites=Count("trees__site", distinct=True))


def trees_of(trial: Trial) -> QuerySet[Tree]:
    return trial.trees.select_related("trial", "site__trial", "plot__block", "clone__trial")


def photos_for(user: User, trial: Trial) -> QuerySet[Photo]:
    """The photos of a trial that a person inside it may see: managers also those set aside."""
    photos = Photo.objects.filter(assessment__site__trial=trial)
    return photos if access.may(user, trial.pk, [Role.MANAGER]) else photos.filter(set_aside=False)


def next_colour(trial: Trial) -> int:
    """The next unused place on the trial's clone colour scale."""
    highest = trial.clones.aggregate(top=Max("colour"))["top"]
    return 0 if highest is None else int(highest) + 1


def known_for_layout(target: Target) -> dict[str, pd.DataFrame]:
    """What a layout may refer to: the trial's clones, and the addresses already taken."""
    return {
        "clones": frame(target.trial.clones.all(), {"clone": "code"}),
        "trees": frame(target.trial.trees.all(), LAYOUT_FIELDS),
    }


def known_for_clones(target: Target) -> dict[str, pd.DataFrame]:
    return {}


def stored_layout(target: Target, rows: pd.DataFrame) -> pd.DataFrame:
    """The trees already stored under the codes of these rows, in the columns of the layout file."""
    return frame(target.trial.trees.filter(code__in=rows["tree"].tolist()), LAYOUT_FIELDS)


def stored_clones(target: Target, rows: pd.DataFrame) -> pd.DataFrame:
    """The clones already stored under the codes of these rows."""
    return frame(target.trial.clones.filter(code__in=rows["clone"].tolist()), CLONE_FIELDS)


def measured_trees(trial: Trial, codes: list[str]) -> set[str]:
    """Those of these trees that have entries, photos or looked-at findings."""
    held = Q(entries__isnull=False) | Q(photos__isnull=False) | Q(settled_checks__isnull=False)
    return set(trial.trees.filter(held, code__in=codes).values_list("code", flat=True))

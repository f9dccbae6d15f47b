"""Addresses of this room's pages, for tables and pictures."""

from django.urls import reverse

from trials.models import Clone, Site, Tree


def tree_url(tree: Tree) -> str:
    return reverse("trials:tree", args=[tree.trial.code, tree.code])


def site_url(site: Site) -> str:
    return reverse("trials:site", args=[site.trial.code, site.code])


def clone_url(clone: Clone) -> str:
    """The clone's page; it stands in the room of figures."""
    return reverse("reports:clone", args=[clone.trial.code, clone.code])

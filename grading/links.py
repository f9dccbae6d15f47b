"""Addresses of this room's pages, for tables and pictures."""

from urllib.parse import urlencode

from django.urls import reverse

from sawing.models import Study


def boards_url(study: Study, **filters: str) -> str:
    """The boards of a study, narrowed to what a figure counts: clone, tree, log, grade_<rule set>."""
    names = {
        "clone": "f_log__felling__tree__clone__code",
        "tree": "f_log__felling__tree__code",
        "log": "f_log__code",
    }
    query = urlencode({names.get(name, f"f_{name}"): value for name, value in filters.items()})
    address = reverse("grading:study_boards", args=[study.trial.code, study.code])
    return f"{address}?{query}" if query else address

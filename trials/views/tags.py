"""Tree tags of a site: what to print, and the sheets as PDF."""

from typing import Any

import pandas as pd
from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET

from trials.calc.walking_order import CORNERS, Walk
from trials.desk import site_maps
from trials.models import Site, TreeStatus
from trials.planning.tags_pdf import SIZES, Tag, tags_pdf
from trials.views.doors import site_for

MOST_TAGS = 2_400  # a hundred pages, and some seconds, at once


class TagForm(forms.Form):
    """Which trees, in which order, on which size of tag. Read from the address of the page."""

    size = forms.ChoiceField(label="Tags", choices=[(k, size.name) for k, size in SIZES.items()])
    corner = forms.ChoiceField(label="The walk begins", choices=[(c, c.capitalize()) for c in CORNERS])
    along = forms.ChoiceField(label="Walk along", choices=[("rows", "Rows"), ("columns", "Columns")])
    first = forms.IntegerField(label="From the tree number", min_value=1, required=False)
    last = forms.IntegerField(
        label="To the tree number", min_value=1, required=False, help_text="In the walk. Empty: all."
    )
    clones = forms.BooleanField(
        label="Print the clone on the tag",
        required=False,
        help_text="Without it nobody measures what they expect.",
    )
    gone = forms.BooleanField(label="Also for trees felled, dead or missing", required=False)


@require_GET
def tree_tags(request: HttpRequest, trial: str, site: str) -> HttpResponse:
    """Choose tags of a site's trees; with `print` in the address the PDF itself."""
    found = site_for(request, trial, site)
    asked = bool(request.GET)
    first = {"size": "small", "corner": "top left", "along": "rows"}
    form = TagForm({**first, **request.GET.dict()} if asked else first)
    trees = _chosen(found, form) if form.is_valid() else pd.DataFrame()
    if form.is_valid() and len(trees) > MOST_TAGS:
        words = f"{len(trees)} tags; at most {MOST_TAGS} are printed at once. Say from which tree to which."
        form.add_error("last", words)
    if "print" in request.GET and not form.errors and len(trees):
        return _pdf(found, form, trees)
    size = SIZES.get(form.data["size"], SIZES["small"])
    context = {
        "site": found,
        "trial": found.trial,
        "form": form,
        "n_tags": len(trees),
        "n_pages": -(-len(trees) // size.a_page),
        "n_trees": found.trees.count(),
        "first": trees["tree"].iloc[0] if len(trees) else "",
        "last": trees["tree"].iloc[-1] if len(trees) else "",
    }
    return render(request, "trials/tree_tags.html", context, status=422 if form.errors else 200)


def _chosen(site: Site, form: TagForm) -> pd.DataFrame:
    given = form.cleaned_data
    trees = site_maps.walked_trees(site, Walk(given["corner"], given["along"]))
    if not len(trees):
        return trees
    if not given["gone"]:
        trees = trees[trees["status"] == TreeStatus.STANDING]
    # Numbers are those of the walk over all trees: they stay when a tree is felled.
    return trees[
        trees["order"].between(given["first"] or 1, given["last"] or len(trees) + trees["order"].max())
    ]


def _pdf(site: Site, form: TagForm, trees: pd.DataFrame) -> HttpResponse:
    given = form.cleaned_data
    rows: list[dict[str, Any]] = trees.to_dict("records")
    tags = [
        Tag(
            row["tree"],
            site.name or site.code,
            row["row"],
            row["col"],
            row["block"],
            row["order"],
            row["clone"] if given["clones"] else "",
        )
        for row in rows
    ]
    response = HttpResponse(
        tags_pdf(tags, SIZES[given["size"]], f"Tree tags of {site.code}"), content_type="application/pdf"
    )
    saved_as = "".join(c for c in f"{site.code}_tags" if c.isalnum() or c in "-_ ")
    response["Content-Disposition"] = content_disposition_header(False, f"{saved_as}.pdf") or "inline"
    return response

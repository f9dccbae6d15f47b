"""Growth curves of clones: a trait over age, with what the same stems added."""

from typing import Any

from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.html import format_html
from django.views.decorators.http import require_GET

from portal.calc import shown
from portal.calc.svg import NARROW, WIDE
from portal.tables import Column, Table
from portal.templatetags.parts_numbers import clone_colour
from trials import queries
from trials.calc.growth_picture import growth_picture
from trials.desk import growth as growing
from trials.desk import measured
from trials.models import Site, Trait, Trial

DRAWN = 8  # lines that can be told apart


@require_GET
def growth(request: HttpRequest, trial: str) -> HttpResponse:
    """Mean of a trait per clone and visit, of one site or of all."""
    found = queries.trial_for(request.user, trial)
    sites, traits = list(found.sites.all()), growing.growing_traits(found)
    context: dict[str, Any] = {"trial": found, "sites": sites, "traits": traits}
    if not traits:
        return render(request, "trials/growth.html", context)
    site, trait = _chosen(request, sites, traits)
    page = growing.growth_of([site] if site else sites, trait)
    table = Table(
        request,
        rows=_rows(page),
        columns=_columns(found, trait),
        what="row",
        order="clone",
        file_name=f"{found.code}_{site.code if site else 'all'}_{trait.code}_growth",
    )
    if table.asked_for_download:
        return table.download()
    context |= {"site": site, "trait": trait, "table": table, "page": page}
    return render(request, "trials/growth.html", context | _drawn(request, found, page, trait))


def _rows(page: growing.GrowthPage) -> list[dict[str, Any]]:
    """A row a clone and visit; counts whole, None where there was no visit before."""
    counts = ("n_trees", "n_plots", "n_stems", "n_left_out", "n_errors")
    rows = page.growth.table.to_dict("records")
    return [
        {
            str(k): None if v != v else int(v) if k in counts else v for k, v in row.items()
        }  # NaN is not itself
        for row in rows
    ]


def _chosen(request: HttpRequest, sites: list[Site], traits: list[Trait]) -> tuple[Site | None, Trait]:
    """The site asked for (None: all together) and the trait; the first of each where nothing is asked."""
    code = request.GET.get("site", sites[0].code if len(sites) == 1 else "")
    site = next((s for s in sites if s.code == code), None)
    named = request.GET.get("trait", traits[0].code)
    trait = next((t for t in traits if t.code == named), None)
    if trait is None or (code and site is None):
        raise BadRequest("site or trait: expected one of those offered")
    return site, trait


def _drawn(request: HttpRequest, trial: Trial, page: growing.GrowthPage, trait: Trait) -> dict[str, Any]:
    """The picture, with the clones ticked, else the largest at their last visit."""
    table = page.growth.table
    last = table.groupby("clone")["mean"].last().sort_values(ascending=False)
    codes = sorted(last.index)
    asked = [c for c in request.GET.getlist("clone") if c in codes]
    drawn = sorted(asked or last.index[:DRAWN])
    colours = {c.code: clone_colour(c.colour) for c in trial.clones.all()}
    column = measured.column_of(trait)
    n_visits = sum(bool(visit.trees[column].notna().any()) for visit in page.visits)
    unit = f" ({trait.unit})" if trait.unit else ""
    title = f"{trait.name}{unit} over age: {shown.counted(len(drawn), 'clone')} of {len(codes)}"
    note = f"Means of live trees at {shown.counted(n_visits, 'visit')}; bars: 95 % intervals over plots"
    pictures = [
        growth_picture(
            page.growth, drawn, colours, title=title, unit=trait.unit or trait.name, width=w, note=note
        )
        for w in (WIDE, NARROW)
    ]
    forms = [
        (c, page.growth.forms[c].words if c in page.growth.forms else page.growth.no_form[c]) for c in codes
    ]
    few = {words for _, words in forms if "needs at least 3" in words}
    return {
        "pictures": pictures if pictures[0] else [],
        "codes": codes,
        "drawn": drawn,
        "forms": [] if len(few) == 1 and len(forms) == len(page.growth.no_form) else forms,
        "no_forms": few.pop() if len(few) == 1 and not page.growth.forms else "",
    }


def _columns(trial: Trial, trait: Trait) -> list[Column]:
    unit, digits = trait.unit, trait.decimals + 1
    per_year = f"{unit}/year" if unit else "a year"
    return [
        Column(
            "clone",
            "Clone",
            kind="code",
            key=True,
            filter="choice",
            url=lambda r: reverse("reports:clone", args=[trial.code, r["clone"]]),
        ),
        Column("age_years", "Age", kind="number", unit="years", digits=1, key=True),
        Column("n_trees", "Trees", kind="integer", key=True),
        Column("n_plots", "Plots", kind="integer"),
        Column(
            "mean", "Mean", kind="number", unit=unit, digits=digits, key=True, show=_with_interval(digits)
        ),
        Column(
            "low",
            "Low",
            kind="number",
            unit=unit,
            digits=digits,
            help="95 % interval of the mean, over plots",
        ),
        Column("high", "High", kind="number", unit=unit, digits=digits),
        Column(
            "mai", "Mean increment", kind="number", unit=per_year, digits=digits + 1, help="Mean over age"
        ),
        Column(
            "pai",
            "Periodic increment",
            kind="number",
            unit=per_year,
            digits=digits + 1,
            show=_of_stems(digits + 1),
        ),
        Column("pai_low", "Low, periodic", kind="number", unit=per_year, digits=digits + 1),
        Column("pai_high", "High, periodic", kind="number", unit=per_year, digits=digits + 1),
        Column("from_years", "Since age", kind="number", unit="years", digits=1),
        Column("n_stems", "Same stems", kind="integer", help="Live, and measured at both visits"),
        Column("n_left_out", "Not measured before", kind="integer"),
        Column(
            "n_errors", "Shrank", kind="integer", help="Beyond what a reading can lose; kept in the increment"
        ),
    ]


def _with_interval(digits: int) -> Any:
    def show(value: Any, row: Any) -> Any:
        text = shown.number(value, digits)
        interval = shown.interval(row["low"], row["high"], digits)
        return (
            format_html('{}<span class="under">{}</span>', text, interval or "no interval: one plot")
            if text
            else ""
        )

    return show


def _of_stems(digits: int) -> Any:
    def show(value: Any, row: Any) -> Any:
        text = shown.number(value, digits)
        return (
            format_html('{}<span class="under">{}</span>', text, shown.counted(int(row["n_stems"]), "stem"))
            if text
            else ""
        )

    return show

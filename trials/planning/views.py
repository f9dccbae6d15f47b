"""Pages of planning: a plan for a site, a choice of trees to fell. What was asked stands in the address."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from portal.downloads import table_file
from portal.uploads.actions import UploadRefused
from trials.calc.alpha_arrays import DesignRefusedError
from trials.calc.site_plan import SitePlan, layout_rows, meaning, plan_site
from trials.models import Trial
from trials.planning import actions, queries
from trials.planning.felling_form import FellingForm
from trials.planning.felling_pages import TIME_LIMIT_S, Felling, chosen_for, first_bounds
from trials.planning.forms import PlanForm, new_seed
from trials.planning.pictures import plan_picture
from trials.views.doors import managed

FILES = {"csv", "xlsx"}
LINES_SHOWN = 12


@require_http_methods(["GET", "POST"])
def plan(request: HttpRequest, trial: str) -> HttpResponse:
    """Plan a site: see the design, take its layout away as a file, or bring it into the trial."""
    found = managed(request, trial)
    codes = list(queries.clones_of(found).values_list("code", flat=True))
    asked = "design" in request.GET or request.method == "POST"
    form = PlanForm(request.GET if asked else None, trial_clones=codes, initial={"seed": new_seed()})
    context: dict[str, Any] = {"trial": found, "form": form, "n_clones": len(codes)}
    made = _planned(form) if asked and form.is_valid() else None
    if made is not None:
        if request.method == "POST":
            answer = _brought(request, found, form, made)
            if answer is not None:
                return answer
        if (kind := request.GET.get("download", "")) in FILES:
            return table_file(*layout_rows(made.layout), kind, made.name)
        context |= _shown_plan(request, found, made)
    return render(request, "trials/plan.html", context, status=422 if form.errors else 200)


def _planned(form: PlanForm) -> SitePlan | None:
    """The plan a form asks for; the reason on the form where the numbers do not allow it."""
    try:
        return plan_site(form.asked())
    except DesignRefusedError as refused:
        form.add_error(None, f"This cannot be planned: {refused}.")
        return None


def _brought(request: HttpRequest, trial: Trial, form: PlanForm, made: SitePlan) -> HttpResponse | None:
    try:
        upload = actions.bring_plan(trial=trial, plan=made, by=request.user)
    except UploadRefused as refused:
        form.add_error(None, str(refused))
        return None
    return redirect("portal:file", upload.pk)


def _shown_plan(request: HttpRequest, trial: Trial, made: SitePlan) -> dict[str, Any]:
    """What the page shows of a plan."""
    query = request.GET.copy()
    query.pop("download", None)
    efficiency, layout = made.design.efficiency, made.layout
    wide, narrow = plan_picture(made, {c.code: c.colour for c in trial.clones.all()})
    site = trial.sites.filter(code=made.asked.ground.site).first()
    return {
        "plan": made,
        "query": query.urlencode(),
        "efficiency": efficiency,
        "of_bound": efficiency.average / efficiency.upper_bound if efficiency.upper_bound else None,
        "meaning": meaning(made),
        "wide": wide,
        "narrow": narrow,
        "n_trees": len(made.compared),
        "n_guards": len(layout) - len(made.compared),
        "n_plots": len(made.design.plots),
        "n_rows": int(layout["row"].max()),
        "n_cols": int(layout["col"].max()),
        "first_lines": layout_rows(layout.head(LINES_SHOWN)),
        "trees_there": site.trees.count() if site else 0,
    }


@require_GET
def choose(request: HttpRequest, trial: str) -> HttpResponse:
    """Choose trees to fell: the list in walking order with its balance, proof and maps."""
    found = managed(request, trial)
    places = queries.places(found)
    states = queries.health_states(found)
    known = {state for state, _ in states}  # what comes in the address is looked up only where it is known
    trees = queries.candidates(found, places, known.intersection(request.GET.getlist("leave_states")))
    diameters = trees["dbh_mm"].dropna()
    clones = list(queries.clones_of(found))
    asked = "seed" in request.GET
    form = FellingForm(
        request.GET if asked else None,
        clones=clones,
        sites=sorted(places["site"].unique()),
        trees=set(places["tree"]),
        states=states,
        diameters=len(diameters) > 0,
        initial={"seed": new_seed(), "classes": first_bounds(diameters)},
    )
    context: dict[str, Any] = {
        "trial": found,
        "form": form,
        "n_standing": len(trees),
        "n_measured": len(diameters),
        "smallest": diameters.min() if len(diameters) else None,
        "largest": diameters.max() if len(diameters) else None,
        "limit": TIME_LIMIT_S,
    }
    felling = chosen_for(found, form, trees, places) if asked and form.is_valid() else None
    if felling is not None:
        if request.GET.get("download", "") in FILES and len(felling.listed):
            return felling.download(request.GET["download"], f"{found.code}_felling_{felling.seed}")
        context |= _shown_felling(request, felling, clones)
    return render(request, "trials/choose.html", context, status=422 if form.errors else 200)


def _shown_felling(request: HttpRequest, felling: Felling, clones: list[Any]) -> dict[str, Any]:
    query = request.GET.copy()
    query.pop("download", None)
    return {
        "felling": felling,
        "query": query.urlencode(),
        "maps": felling.maps({clone.code: clone.colour for clone in clones}),
    }

"""The dictionary of traits: what is measured, how, and within which limits."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from portal.uploads.queries import manager_of
from trials import queries
from trials.desk.forms import TraitForm, told
from trials.entries import actions
from trials.models import Trait
from trials.views.doors import managed


@require_GET
def traits(request: HttpRequest, trial: str) -> HttpResponse:
    """Every trait of a trial with its scale, limits and method."""
    found = queries.trial_for(request.user, trial)
    context = {
        "trial": found,
        "traits": list(found.traits.order_by("-active", "position", "code")),
        "may_manage": manager_of(request.user, found.pk),
    }
    return render(request, "trials/traits.html", context)


@require_http_methods(["GET", "POST"])
def new_trait(request: HttpRequest, trial: str) -> HttpResponse:
    """Managers add a trait."""
    found = managed(request, trial)
    form = TraitForm(request.POST or None, trial=found)
    if request.method == "POST" and form.is_valid():
        try:
            made = actions.add_trait(trial=found, by=request.user, **form.filled)
        except ValidationError as refused:
            told(form, refused)
        else:
            messages.success(request, f"{made.name} is in the dictionary.")
            return redirect("trials:traits", found.code)
    context = {"trial": found, "form": form}
    return render(request, "trials/trait_form.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def change_trait(request: HttpRequest, trial: str, code: str) -> HttpResponse:
    """Managers change how a trait is measured; its code and kind stay."""
    found = managed(request, trial)
    trait = get_object_or_404(found.traits, code=code)
    form = TraitForm(request.POST or None, trial=found, instance=Trait.objects.get(pk=trait.pk))
    if request.method == "POST" and form.is_valid():
        try:
            actions.change_trait(trait=trait, by=request.user, **form.filled)
        except ValidationError as refused:
            told(form, refused)
        else:
            messages.success(request, "The trait is changed; the earlier wording stays in the history.")
            return redirect("trials:traits", found.code)
    context = {"trial": found, "trait": trait, "form": form}
    return render(request, "trials/trait_form.html", context, status=422 if form.errors else 200)


@require_POST
def usual_traits(request: HttpRequest, trial: str) -> HttpResponse:
    """Managers put the usual traits into the dictionary; those that are there stay as they are."""
    found = managed(request, trial)
    added = actions.add_default_traits(trial=found, by=request.user)
    messages.success(request, f"{len(added)} traits are added. Change their wording and limits to your way.")
    return redirect("trials:traits", found.code)

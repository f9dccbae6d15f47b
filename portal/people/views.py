"""The people of trials with their roles, for managers; and everybody's own account."""

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.views import PasswordChangeView
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse, reverse_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from portal import access
from portal.models import User
from portal.people import actions, queries
from portal.people.forms import AccountForm, GiveRoleForm, NewPersonForm, OwnPasswordForm


@require_GET
def people(request: HttpRequest) -> HttpResponse:
    """The people of every trial that the person manages, with their roles."""
    groups = queries.people_by_trial(request.user)
    context = {"groups": groups, "changes": queries.role_changes([g.trial for g in groups])}
    return render(request, "portal/people.html", context)


@require_http_methods(["GET", "POST"])
def give_role(request: HttpRequest, trial: str) -> HttpResponse:
    """Give a role to somebody who has a sign-in."""
    found = queries.managed_trial(request.user, trial)
    form = GiveRoleForm(request.POST or None, initial={"username": request.GET.get("username", "")})
    if request.method == "POST" and form.is_valid():
        user, role = form.cleaned_data["username"], form.cleaned_data["role"]
        try:
            membership = actions.give_role(trial=found, user=user, role=role, by=request.user)
        except ValidationError as refused:
            form.add_error(None, refused)
        else:
            messages.success(request, f"{user} now has the role {membership.get_role_display().lower()}.")
            return redirect(_place(found))
    return render(request, "portal/people_give.html", {"form": form, "trial": found}, status=_status(form))


@never_cache
@require_http_methods(["GET", "POST"])
@sensitive_variables("brought")
def new_person(request: HttpRequest, trial: str) -> HttpResponse:
    """Bring in somebody new. The first password stands on the answer itself and nowhere else."""
    found = queries.managed_trial(request.user, trial)
    form = NewPersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            brought = actions.bring_in(trial=found, by=request.user, **form.cleaned_data)
        except ValidationError as refused:
            form.add_error(None, refused)
        else:
            return render(request, "portal/people_brought_in.html", {"brought": brought, "trial": found})
    return render(request, "portal/people_new.html", {"form": form, "trial": found}, status=_status(form))


@require_POST
def end_role(request: HttpRequest, trial: str, pk: int) -> HttpResponse:
    """End a role of somebody in the trial."""
    found = queries.managed_trial(request.user, trial)
    membership = get_object_or_404(found.memberships.select_related("trial"), pk=pk)
    try:
        ended = actions.end_role(membership=membership, by=request.user)
    except ValidationError as refused:
        messages.error(request, refused.messages[0])
    else:
        messages.success(request, f"The role {ended.get_role_display().lower()} of {ended.user} has ended.")
    still = queries.trials_managed_by(request.user).exists()
    return redirect(_place(found) if still else settings.LOGIN_REDIRECT_URL)


@require_http_methods(["GET", "POST"])
def account(request: HttpRequest) -> HttpResponse:
    """One's own name, address and roles, and the way to a new password."""
    form = AccountForm(request.POST or None, instance=User.objects.get(pk=request.user.pk))
    if request.method == "POST" and form.is_valid():
        actions.change_own_details(user=request.user, by=request.user, **form.cleaned_data)
        messages.success(request, "Your name and address are kept.")
        return redirect("portal:account")
    standing = f"You sign in as {request.user.username}."
    context = {
        "form": form,
        "standing": standing,
        "roles": access.memberships(request.user).order_by("trial__name", "role"),
    }
    return render(request, "portal/people_account.html", context, status=_status(form))


class ChangePassword(PasswordChangeView):
    """One's own password; Django's own form asks for the present one and keeps to the settings' rules."""

    form_class = OwnPasswordForm
    template_name = "portal/people_password.html"
    success_url = reverse_lazy("portal:account")

    def form_valid(self, form: BaseForm) -> HttpResponse:
        messages.success(self.request, "Your password is changed. You are signed out everywhere else.")
        return super().form_valid(form)

    def form_invalid(self, form: BaseForm) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)


def _place(trial: Any) -> str:
    return f"{reverse('portal:people')}#trial-{trial.code}"


def _status(form: BaseForm) -> int:
    return 422 if form.errors else 200

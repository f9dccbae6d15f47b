"""The page that takes boards out of a stack before they are dry."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from portal.calc import shown
from sawing.drying import actions, queries
from sawing.drying.asked import RowsRefusedError
from sawing.drying.doors import written_stack
from sawing.drying.forms import TakeOutForm
from sawing.drying.links import stack_url
from sawing.drying.views import page


@require_http_methods(["GET", "POST"])
def take_out(request: HttpRequest, trial: str, study: str, code: str) -> HttpResponse:
    """Boards laid into the wrong stack, or wanted before they are dry: out again, with the reason."""
    found = written_stack(request, trial, study, code)
    form = TakeOutForm(request.POST or None, initial={"taken_on": timezone.localdate()})
    if request.method == "POST" and form.is_valid():
        try:
            n = actions.take_out_boards(
                stack=found,
                codes=form.cleaned_data["codes"],
                taken_on=form.cleaned_data["taken_on"],
                why=form.cleaned_data["why"],
                by=request.user,
            )
        except RowsRefusedError as refused:
            for why in refused.rows.values():
                form.add_error(None, f"{why[0].upper()}{why[1:]}.")
        else:
            messages.success(request, f"{shown.counted(n, 'board')} taken out of stack {found.code}.")
            return redirect(stack_url(found))
    inside = queries.placings_of(found).count()
    context = page(request, found.study, stack=found, form=form, inside=inside)
    sent = request.method == "POST"
    return render(request, "sawing/drying/take_out.html", context, status=422 if sent else 200)

"""Watching and stopping jobs."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_POST

from portal.jobs import actions, queries


@require_GET
def jobs(request: HttpRequest) -> HttpResponse:
    """What was asked for, and how far it is."""
    page = Paginator(queries.jobs_of(request.user), 50).get_page(request.GET.get("page"))
    return render(request, "portal/jobs.html", {"page": page})


@require_GET
def job(request: HttpRequest, pk: int) -> HttpResponse:
    """One job; as a part of a page when the page asks for it, which is renewed as a whole at the job's end."""
    found = queries.job_for(request.user, pk)
    context = {"job": found, "may_stop": queries.may_stop(request.user, found)}
    if not request.htmx:  # type: ignore[attr-defined]
        return render(request, "portal/job.html", context)
    response = render(request, "portal/parts/job.html", context)
    if found.ended:
        response["HX-Refresh"] = "true"
    return response


@require_POST
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    found = queries.job_for(request.user, pk)
    actions.stop_job(job=found, by=request.user)
    messages.success(request, "The job is asked to stop.")
    back = request.headers.get("referer", "")
    if not url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()}):
        return redirect("portal:job", found.pk)
    return redirect(back)

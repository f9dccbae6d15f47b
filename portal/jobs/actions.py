"""Starting and stopping jobs."""

from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from portal.jobs import queries
from portal.jobs.registry import work_of
from portal.models import Job, JobState, User


def start_job(
    *, kind: str, title: str, by: User, parameters: dict[str, Any], trial: Any = None, link: str = ""
) -> Job:
    """Put work into the queue. In the caller's transaction: no job without what it works on, nor the other way.

    The caller has checked that the person may ask for it.
    :raises LookupError: nobody registered this kind of job.
    """
    from portal.jobs.tasks import run_job

    work_of(kind)
    with transaction.atomic():
        job = Job.objects.create(kind=kind, title=title, by=by, trial=trial, parameters=parameters, link=link)
        run_job.defer(job_id=job.pk)
    return job


def stop_job(*, job: Job, by: User) -> None:
    """Ask a job to stop: at once if it waits, at its next sign of progress if it runs. One that ended stays so."""
    if not queries.may_stop(by, job):
        raise PermissionDenied("A job is stopped by who asked for it, or by a manager of the trial.")
    with transaction.atomic():
        job = Job.objects.select_for_update().get(pk=job.pk)
        if job.ended:
            return
        job.stop_asked = True
        if job.state == JobState.WAITING:
            job.state, job.ended_at = JobState.STOPPED, timezone.now()
        job.save(update_fields=["stop_asked", "state", "ended_at"])

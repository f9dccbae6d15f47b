"""The worker's part: a job's work is done, its progress written, and what came of it kept."""

import logging
import time
from typing import Any

from django.db import transaction
from django.utils import timezone

from portal.jobs.registry import JobRefused, JobStopped, work_of
from portal.models import Job, JobState

WRITE_EVERY_S = 0.5
MOST_ATTEMPTS = 3
logger = logging.getLogger(__name__)


def run(job_id: int) -> None:
    """Do a job's work and keep what came of it. Called by the worker; a job that has ended is left alone."""
    job = _begin(job_id)
    if job is None:
        return
    try:
        result = work_of(job.kind)(job.parameters, _Meter(job.pk))
    except JobStopped:
        _end(job, JobState.STOPPED)
    except JobRefused as refused:
        _end(job, JobState.FAILED, problem=str(refused))
    except Exception:
        logger.exception("job %s (%s) failed", job.pk, job.kind)
        told = "Something went wrong in the portal; its log says what. Starting the work again may help."
        _end(job, JobState.FAILED, problem=told)
    else:
        _end(job, JobState.DONE, result=result)


def _begin(job_id: int) -> Job | None:
    with transaction.atomic():
        job = Job.objects.select_for_update().filter(pk=job_id).first()
        if job is None or job.ended:
            return None
        if job.stop_asked:
            _end(job, JobState.STOPPED)
            return None
        if job.attempts >= MOST_ATTEMPTS:
            _end(job, JobState.FAILED, problem=f"The worker died {job.attempts} times at this job.")
            return None
        job.state, job.started_at, job.attempts = JobState.RUNNING, timezone.now(), job.attempts + 1
        job.done = job.total = 0
        job.save(update_fields=["state", "started_at", "attempts", "done", "total"])
        return job


def _end(job: Job, state: JobState, *, result: dict[str, Any] | None = None, problem: str = "") -> None:
    ended = Job.objects.filter(pk=job.pk, ended_at__isnull=True)
    ended.update(state=state, ended_at=timezone.now(), result=result, problem=problem)


class _Meter:
    """Writes progress into the job's row, at most about twice a second."""

    def __init__(self, job_id: int) -> None:
        self.job_id = job_id
        self.written_at = -WRITE_EVERY_S

    def __call__(self, done: int, total: int, step: str = "") -> None:
        now = time.monotonic()
        if now - self.written_at < WRITE_EVERY_S and done < total:
            return
        self.written_at = now
        row = Job.objects.filter(pk=self.job_id)
        row.update(done=done, total=total, step=step[:200])
        if row.filter(stop_asked=True).exists():
            raise JobStopped

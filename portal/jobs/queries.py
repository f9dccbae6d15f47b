"""Reading jobs, for those who may see them."""

from django.db.models import Q, QuerySet
from django.shortcuts import get_object_or_404

from portal import access
from portal.models import Job, Role, User


def jobs_of(user: User) -> QuerySet[Job]:
    """A person's own jobs, and all jobs of trials they manage."""
    jobs = Job.objects.select_related("by")
    managed = access.trial_ids(user, roles=[Role.MANAGER])
    return jobs if managed is None else jobs.filter(Q(by=user) | Q(trial_id__in=managed))


def job_for(user: User, pk: int) -> Job:
    """One job, or 404 for those who may not see it. Members of its trial may, since its result is theirs too."""
    inside = access.trial_ids(user, roles=access.INSIDE)
    jobs = Job.objects.select_related("by")
    if inside is not None:
        jobs = jobs.filter(Q(by=user) | Q(trial_id__in=inside))
    return get_object_or_404(jobs, pk=pk)


def may_stop(user: User, job: Job) -> bool:
    """Who asked for it may stop it, and managers of its trial."""
    return job.by_id == user.pk or jobs_of(user).filter(pk=job.pk).exists()

"""Jobs: asked for in a transaction, done once by a worker, watched, stopped, taken up again."""

import subprocess
import sys

import pytest
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import connection, transaction
from django.urls import reverse
from procrastinate.contrib.django.models import ProcrastinateJob

from portal.jobs import actions, running
from portal.jobs.registry import JobRefused, Progress, register
from portal.jobs.tasks import take_up_again
from portal.models import Job, JobState, User
from tests.conftest import Place

pytestmark = pytest.mark.django_db


@pytest.fixture
def works():
    """A few kinds of work to ask for."""
    done = []

    def add(parameters, progress: Progress):
        for i in range(parameters["n"]):
            progress(i, parameters["n"], f"step {i}")
        done.append(parameters["n"])
        return {"sum": sum(range(parameters["n"]))}

    def refuse(parameters, progress):
        raise JobRefused("There is no log in this study.")

    def break_down(parameters, progress):
        raise ZeroDivisionError("secret path /srv/x")

    def stop_half_way(parameters, progress):
        Job.objects.filter(pk=parameters["job"]).update(stop_asked=True)
        progress(1, 1)
        raise AssertionError("went on after it was asked to stop")

    for name, work in {"add": add, "refuse": refuse, "break": break_down, "half": stop_half_way}.items():
        register(f"test_{name}", work)
    return done


def ask(place: Place, kind: str, **parameters) -> Job:
    return actions.start_job(
        kind=f"test_{kind}",
        title="Adding up",
        by=place.people["manager"],
        trial=place.trial,
        parameters=parameters,
    )


def test_a_job_runs_and_keeps_what_came_of_it(place, works):
    job = ask(place, "add", n=4)
    assert ProcrastinateJob.objects.filter(args={"job_id": job.pk}).count() == 1
    running.run(job.pk)
    job.refresh_from_db()
    assert (job.state, job.result, job.problem) == (JobState.DONE, {"sum": 6}, "")
    assert job.share is not None


def test_a_job_delivered_twice_runs_once(place, works):
    job = ask(place, "add", n=2)
    running.run(job.pk)
    running.run(job.pk)
    assert works == [2]


def test_nothing_is_queued_when_the_transaction_fails(place, works):
    def ask_and_fail() -> None:
        with transaction.atomic():
            ask(place, "add", n=2)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        ask_and_fail()
    assert not Job.objects.exists()
    assert not ProcrastinateJob.objects.exists()


def test_an_unknown_kind_is_never_queued(place):
    with pytest.raises(LookupError, match="nobody knows"):
        ask(place, "nonsense")
    assert not Job.objects.exists()


def test_a_refusal_is_told_in_its_words_and_a_fault_without_its_inside(place, works):
    refused, broken = ask(place, "refuse"), ask(place, "break")
    running.run(refused.pk)
    running.run(broken.pk)
    refused.refresh_from_db()
    broken.refresh_from_db()
    assert (refused.state, refused.problem) == (JobState.FAILED, "There is no log in this study.")
    assert broken.state == JobState.FAILED
    assert "secret" not in broken.problem


def test_a_waiting_job_stops_at_once_and_a_running_one_at_its_next_progress(place, works):
    waiting = ask(place, "add", n=3)
    actions.stop_job(job=waiting, by=place.people["manager"])
    running.run(waiting.pk)
    waiting.refresh_from_db()
    assert (waiting.state, works) == (JobState.STOPPED, [])
    begun = ask(place, "half")
    Job.objects.filter(pk=begun.pk).update(parameters={"job": begun.pk})
    running.run(begun.pk)
    begun.refresh_from_db()
    assert begun.state == JobState.STOPPED


def test_a_job_whose_worker_dies_again_and_again_is_given_up(place, works):
    job = ask(place, "add", n=1)
    Job.objects.filter(pk=job.pk).update(state=JobState.RUNNING, attempts=running.MOST_ATTEMPTS)
    running.run(job.pk)
    job.refresh_from_db()
    assert (job.state, works) == (JobState.FAILED, [])
    assert "died 3 times" in job.problem


def test_only_the_asker_and_managers_stop_a_job(place, works):
    job = ask(place, "add", n=1)
    with pytest.raises(PermissionDenied):
        actions.stop_job(job=job, by=place.people["mill"])
    with pytest.raises(PermissionDenied):
        actions.stop_job(job=job, by=place.people["stranger"])


def test_the_page_shows_progress_and_renews_itself_at_the_end(client, place, works):
    client.force_login(place.people["manager"])
    job = ask(place, "add", n=1)
    url = reverse("portal:job", args=[job.pk])
    assert "Waits for a worker" in client.get(url).text
    Job.objects.filter(pk=job.pk).update(state=JobState.RUNNING, done=3, total=12, step="log AR-1")
    page = client.get(url).text
    assert "3 of 12\xa0steps" in page
    assert "log AR-1" in page
    assert "HX-Refresh" not in client.get(url, headers={"HX-Request": "true"})
    running.run(job.pk)
    assert client.get(url, headers={"HX-Request": "true"})["HX-Refresh"] == "true"
    assert client.get(reverse("portal:jobs")).status_code == 200
    client.force_login(place.people["stranger"])
    assert client.get(url).status_code == 404


WORKER = """
import os, django; django.setup()
from django.conf import settings; settings.DATABASES["default"]["NAME"] = {name!r}
from portal.jobs.registry import register
register("test_far", lambda p, progress: {{"got": p["n"]}})
register("test_deadly", lambda p, progress: os._exit(9) if {deadly} else {{"lived": True}})
from django.core.management import call_command; call_command("work", "--until-empty")
"""


def work_in_a_process(deadly: bool = False) -> int:
    code = WORKER.format(name=connection.settings_dict["NAME"], deadly=deadly)
    return subprocess.run([sys.executable, "-c", code], timeout=60, cwd=settings.BASE_DIR).returncode


def ask_from_afar(kind: str) -> Job:
    register(kind, lambda parameters, progress: {})
    by = User.objects.create_user("asker")
    return actions.start_job(kind=kind, title="Far", by=by, parameters={"n": 7})


def test_the_worker_command_does_what_is_queued(transactional_db):
    """The real worker, in a process of its own, against the same database."""
    job = ask_from_afar("test_far")
    assert work_in_a_process() == 0
    job.refresh_from_db()
    assert (job.state, job.result) == (JobState.DONE, {"got": 7})


def test_the_job_of_a_worker_that_died_is_taken_up_again(transactional_db):
    job = ask_from_afar("test_deadly")
    assert work_in_a_process(deadly=True) == 9
    job.refresh_from_db()
    assert (job.state, job.attempts) == (JobState.RUNNING, 1)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE procrastinate_workers SET last_heartbeat = now() - interval '2 minutes'")
    take_up_again.defer(timestamp=0)
    assert work_in_a_process() == 0  # the first round puts the job back, and goes on to do it
    job.refresh_from_db()
    assert (job.state, job.result, job.attempts) == (JobState.DONE, {"lived": True}, 2)

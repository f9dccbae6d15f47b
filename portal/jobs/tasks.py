"""What the worker runs."""

from procrastinate import JobContext
from procrastinate.contrib.django import app

from portal.jobs import running

# A worker signs in every few seconds; one that has not for this long is taken for dead.
SECONDS_WITHOUT_HEARTBEAT = 60


@app.task(queue="portal", name="portal.run_job")
def run_job(job_id: int) -> None:
    running.run(job_id)


@app.periodic(cron="* * * * *")
@app.task(queue="portal", name="portal.take_up_again", queueing_lock="take_up_again", pass_context=True)
async def take_up_again(context: JobContext, timestamp: int) -> None:
    """Put the jobs of workers that died back into the queue."""
    manager = context.app.job_manager
    for stalled in await manager.get_stalled_jobs(seconds_since_heartbeat=SECONDS_WITHOUT_HEARTBEAT):
        await manager.retry_job(stalled)

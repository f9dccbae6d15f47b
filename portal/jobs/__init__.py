"""Long work: asked for on a page, done by a worker process, watched while it runs.

A room names its work in its `apps.py` (in `ready`):

    from portal.jobs.registry import register
    register("scenarios", run_scenarios)

and a function of an action starts it, in the transaction that writes what the job will fill:

    job = start_job(kind="scenarios", title="12 scenarios of study 7", by=user, trial=trial,
                    parameters={"table": table.pk}, link=address)

The worker calls `run_scenarios(parameters, progress)`; it returns what `Job.result` keeps (a JSON object). It calls
`progress(done, total, step)` as often as it likes: the row is written about twice a second, and a stop that somebody
asked for is raised from there. Work may be begun twice (a worker that died is replaced), so it must not mind.
A page shows a job with `{% job_progress job %}`, which renews itself until the job has ended.
"""

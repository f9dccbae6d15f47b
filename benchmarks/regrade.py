"""How long does a study take to be graded anew in a job, database included, and where does the time go?

`python benchmarks/regrade.py [--boards 100000] [--features 12]`. Boards of 3.6 m × 200 × 28 mm with random features
(see `grade.py`) and a grade each by an earlier version of the appearance rules are graded anew by a stricter one: read
from the database, graded, compared, stored by COPY, with the progress a page would show. Then a manager keeps them.
"""

import argparse
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from benchmarks.grade import ROOT, many
from benchmarks.setting import start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boards", type=int, default=100_000)
    parser.add_argument("--features", type=int, default=12)
    options = parser.parse_args()
    start()
    began = time.perf_counter()
    study, first, second, steward = make_study(options.boards, options.features)
    print(
        f"{options.boards} boards of {options.features} features made in {time.perf_counter() - began:.0f} s"
    )
    regrade_it(study, first, None, steward, "first grades")
    found = regrade_it(study, second, first, steward, "by a stricter version")
    moves = found.result["moves"]
    moved = moves["up"] + moves["down"]
    print(f"moved: {moved} of {found.boards.count()}; a stricter rule moved {moves['up']} up")
    assert moves["up"] == 0, "a stricter rule raised a grade"


def regrade_it(study: Any, rule_set: Any, against: Any, by: Any, name: str) -> Any:
    """Grade anew in a job, run here, and keep; prints the seconds of both, by the job's own steps."""
    from grading.models import Regrade
    from grading.rules.regrade_actions import keep_regrade, start_regrade
    from portal.jobs import running
    from portal.jobs.registry import register, work_of

    options = {"by": "grade", "assessed": ["all"], "heartwood_only": False}
    made = start_regrade(
        study=study, rule_set=rule_set, against=against, options=options, link=lambda r: "/", by=by
    )
    times: list[tuple[float, str]] = []
    work = work_of("regrade")

    def timed(parameters: dict[str, Any], progress: Any) -> Any:
        def told(done: int, total: int, step: str = "") -> None:
            if not times or times[-1][1] != step:
                times.append((time.perf_counter(), step))
            progress(done, total, step)

        return work(parameters, told)

    register("regrade", timed)
    began = time.perf_counter()
    running.run(made.job_id)
    ended = time.perf_counter()
    register("regrade", work)
    made = Regrade.objects.select_related("study", "job").get(pk=made.pk)
    assert made.result is not None, made.job.problem
    boards = made.boards.count()
    steps = zip(times, [*times[1:], (ended, "")], strict=True)
    told = ", ".join(f"{step.lower()} {then[0] - at:.1f} s" for (at, step), then in steps)
    print(
        f"{name}: {ended - began:.1f} s, {boards / (ended - began):.0f} boards a second ({told})", flush=True
    )
    began = time.perf_counter()
    keep_regrade(regrade=made, by=by)
    print(f"  kept in {time.perf_counter() - began:.1f} s", flush=True)
    return made


def make_study(count: int, each: int) -> tuple[Any, Any, Any, Any]:
    """A study, boards, features; the appearance rules, and those with half the limits and double shortest lengths."""
    from benchmarks.upload import make_study as study_with_logs
    from grading.calc.rule_set_documents import read_rule_set
    from grading.models import BoardFeature
    from grading.rules.actions import add_document
    from portal.uploads.bulk import copy_columns
    from sawing.models import Board

    study, steward = study_with_logs(10, "Regrade")
    boards, table = many(count, each)
    log = study.logs.values_list("pk", flat=True)[0]
    sizes = {n: boards[n] for n in ("thickness_mm", "width_mm", "length_m")}
    copy_columns(Board, {"study_id": study.pk, "log_id": log, "code": boards["board"], **sizes}, count)
    keys = dict(study.boards.values_list("code", "pk"))
    given = {n: table[n] for n in ("kind", "face", "x_mm", "y_mm", "size_mm")}
    copy_columns(BoardFeature, {"board_id": table["board"].map(keys), **given}, len(table))
    content = read_rule_set(ROOT / "fixtures" / "rule_sets" / "trial_appearance.toml").content
    code = f"bench_{time.time_ns()}"
    first = add_document(content={**content, "code": code}, by=steward)
    limits = [{**m, "limit": {g: _half(v) for g, v in m["limit"].items()}} for m in content["limits"]]
    grades = [{**g, "min_length_mm": 2 * g.get("min_length_mm", 900)} for g in content["grades"]]
    stricter = {**content, "code": code, "limits": limits, "grades": grades}
    second = add_document(content=stricter, by=steward)
    return study, first, second, steward


def _half(value: Any) -> Any:
    return value / 2 if isinstance(value, int | float) else value


if __name__ == "__main__":
    main()

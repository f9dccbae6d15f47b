"""How long does a tally take from file to rows, beside a bare COPY of the same rows into the same table?

`python benchmarks/upload.py [--rows 100000] [--runs 5]`. Each run checks a CSV tally (check_upload) and stores it
(store_upload, which checks once more under the lock), then copies the same rows with plain psycopg into the
same table for another study: same constraints, triggers and history. Memory is the peak of the whole process at
two sizes, so its growth per row leaves out what Python and pandas take anyway.
"""

import argparse
import resource
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from benchmarks.setting import spread, start

BOARDS_PER_LOG = 20


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=100_000)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--memory-of", type=int, help=argparse.SUPPRESS)
    options = parser.parse_args()
    start()
    if options.memory_of:
        upload(options.memory_of, "memory")
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
        return
    times = [
        (upload(options.rows, f"run {n}"), bare_copy(options.rows, f"copy {n}")) for n in range(options.runs)
    ]
    checked, stored = [t[0][0] for t in times], [t[0][1] for t in times]
    copied = [t[1] for t in times]
    print(
        f"{options.rows} rows: check {spread(checked)} s, store {spread(stored)} s, bare COPY {spread(copied)} s"
    )
    print(
        f"check and store ÷ bare COPY: {spread([(c + s) / b for c, s, b in zip(checked, stored, copied, strict=True)])}"
    )
    small, large = (peak_kb(n) for n in (options.rows // 10, options.rows))
    growth = (large - small) * 1024 / (options.rows * 0.9)
    print(f"peak memory grows by {growth:.0f} bytes a row (peak {large / 1024:.0f} MB)")


def upload(rows: int, name: str) -> tuple[float, float]:
    """Seconds to check and to store a tally of that many boards."""
    from portal.uploads.actions import check_upload, store_upload
    from portal.uploads.registry import Target

    study, steward = make_study(rows, name)
    data = tally(rows)
    began = time.perf_counter()
    upload = check_upload(
        kind_name="boards", target=Target(study.trial, study), file_name="tally.csv", data=data, by=steward
    )
    checked = time.perf_counter()
    upload = store_upload(upload_id=upload.pk, by=steward)
    done = time.perf_counter()
    if (upload.added, upload.held) != (rows, 0):
        raise SystemExit(f"expected {rows} rows added, got {upload.added} added and {upload.held} held")
    clear(study)
    return checked - began, done - checked


def bare_copy(rows: int, name: str) -> float:
    """Seconds for psycopg to COPY the same rows, ids looked up beforehand, into the same table."""
    from django.db import connection, transaction

    study, _ = make_study(rows, name)
    logs = list(study.logs.order_by("pk").values_list("pk", flat=True))
    flitches = dict(study.flitches.values_list("log_id", "pk"))
    ready = [
        (
            study.pk,
            logs[i // BOARDS_PER_LOG],
            flitches.get(logs[i // BOARDS_PER_LOG]),
            f"B{i}",
            "1",
            28.0,
            width(i),
            3.0,
        )
        for i in range(rows)
    ]
    began = time.perf_counter()
    columns = "study_id, log_id, flitch_id, code, piece, thickness_mm, width_mm, length_m"
    sql = f"COPY sawing_board ({columns}) FROM STDIN"
    with transaction.atomic(), connection.cursor() as cursor, cursor.copy(sql) as copy:
        for row in ready:
            copy.write_row(row)
    took = time.perf_counter() - began
    clear(study)
    return took


def tally(rows: int) -> bytes:
    lines = ["board,log,thickness_mm,width_mm,length_m,flitch,piece"]
    lines += [
        f"B{i},L{i // BOARDS_PER_LOG},28,{width(i):g},3,{i % BOARDS_PER_LOG + 1},1" for i in range(rows)
    ]
    return "\n".join(lines).encode()


def width(i: int) -> float:
    return 75.0 + 25 * (i % 5)


def make_study(rows: int, name: str) -> tuple[Any, Any]:
    """A study with logs large enough for the boards, on one tree."""
    import pandas as pd

    from portal.models import User
    from portal.uploads.bulk import copy_columns
    from sawing.models import Felling, Flitch, Log, Study
    from trials.models import Block, Clone, Plot, Site, Tree, Trial

    steward, _ = User.objects.get_or_create(username="bench", defaults={"is_superuser": True})
    trial = Trial.objects.create(code=f"bench-{time.time_ns()}", name=name)
    site = Site.objects.create(trial=trial, code="S")
    plot = Plot.objects.create(block=Block.objects.create(site=site, code="1"), code="1")
    clone = Clone.objects.create(trial=trial, code="K")
    tree = Tree.objects.create(trial=trial, site=site, plot=plot, clone=clone, code="T", row=1, col=1)
    study = Study.objects.create(trial=trial, code="s", name=name)
    felling = Felling.objects.create(study=study, tree=tree)
    n = -(-rows // BOARDS_PER_LOG)
    copy_columns(
        Log,
        {
            "study_id": study.pk,
            "felling_id": felling.pk,
            "code": pd.Series([f"L{i}" for i in range(n)], dtype=object),
            **{name: pd.Series([500.0] * n) for name in ("sed1_mm", "led1_mm")},
            "bottom_m": 0.3,
            "length_m": 3.0,
        },
        n,
    )
    if name.startswith("copy"):
        logs = list(study.logs.values_list("pk", flat=True))
        Flitch.objects.bulk_create(Flitch(study=study, log_id=pk, code="1") for pk in logs)
    return study, steward


def clear(study: Any) -> None:
    """Take the run's boards out again, so that the table does not grow from run to run."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM sawing_board WHERE study_id = %s", [study.pk])


def peak_kb(rows: int) -> int:
    """Peak memory in kB of a process that checks and stores a tally of that many rows."""
    out = subprocess.run(
        [sys.executable, __file__, "--memory-of", str(rows)], check=True, capture_output=True, text=True
    )
    return int(out.stdout.split()[-1])


if __name__ == "__main__":
    main()

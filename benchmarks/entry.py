"""How long do entries take from the queues of many phones to rows, beside a bare COPY of the same rows?

`python benchmarks/entry.py [--entries 100000] [--phones 20] [--runs 3]`. Each phone has measured two traits on
trees of its own part of one site and sends its queue in batches of 200, the phones in turn, through
`receive_entries`: every batch in a transaction of its own, with its checks, locks and standings. The last tenth
of the batches is sent twice, as after a lost answer. Beside it the same rows go by plain psycopg COPY into the
same table: same constraints and triggers.
"""

import argparse
import statistics
import sys
import time
import uuid
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from benchmarks.setting import spread, start

AT_ONCE = 200
TRAITS = (("dbh_mm", 0), ("height_m", 1))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=100_000)
    parser.add_argument("--phones", type=int, default=20)
    parser.add_argument("--runs", type=int, default=3)
    options = parser.parse_args()
    start()
    received, batches, repeats, copied = [], [], [], []
    for _ in range(options.runs):
        assessment, steward = make_assessment(options.entries // len(TRAITS))
        queues = phone_queues(assessment, options.entries, options.phones)
        each, again = receive(queues, steward)
        check_stored(assessment, options.entries)
        received.append(sum(each))
        batches += each
        repeats += again
        clear(assessment)
        copied.append(bare_copy(assessment, steward, queues))
        clear(assessment)
    print(
        f"{options.entries} entries of {options.phones} phones: {spread(received)} s,"
        f" {options.entries / statistics.median(received):.0f} a second; bare COPY {spread(copied)} s"
    )
    print(f"receive ÷ bare COPY: {spread([r / c for r, c in zip(received, copied, strict=True)])}")
    ninety_ninth = statistics.quantiles(batches, n=100)[98] if len(batches) > 1 else batches[0]
    print(
        f"a batch of {AT_ONCE}: median {statistics.median(batches) * 1000:.0f} ms, 99th percentile"
        f" {ninety_ninth * 1000:.0f} ms; sent again: median {statistics.median(repeats) * 1000:.0f} ms"
    )
    tenth = max(1, len(batches) // 10 // options.runs)
    first, last = (
        batches[:tenth],
        batches[len(batches) // options.runs - tenth : len(batches) // options.runs],
    )
    growth = statistics.median(last) / statistics.median(first)
    print(f"last tenth of the batches of a run ÷ first tenth: {growth:.2f}")


def receive(queues: list[tuple[uuid.UUID, list[list[Any]]]], steward: Any) -> tuple[list[float], list[float]]:
    """Seconds of each batch, and of each one sent again."""
    from trials.entries.actions import receive_entries

    devices = [device for device, _ in queues]
    rounds = zip(*(batches for _, batches in queues), strict=True)
    turns = [turn for batches in rounds for turn in zip(devices, batches, strict=True)]
    times, again = [], []
    for number, (device, batch) in enumerate(turns):
        began = time.perf_counter()
        receive_entries(device=device, entries=batch, by=steward)
        times.append(time.perf_counter() - began)
        if number >= len(turns) * 0.9:
            began = time.perf_counter()
            receive_entries(device=device, entries=batch, by=steward)
            again.append(time.perf_counter() - began)
    return times, again


def phone_queues(assessment: Any, entries: int, phones: int) -> list[tuple[uuid.UUID, list[list[Any]]]]:
    """The queue of each phone as batches of JSON objects, all of the same length."""
    per_phone = entries // phones
    queues = []
    for phone in range(phones):
        queue = [
            {
                "id": str(uuid.uuid4()),
                "assessment": assessment.pk,
                "tree": f"T{(phone * per_phone + i) // len(TRAITS)}",
                "trait": TRAITS[i % len(TRAITS)][0],
                "kind": "value",
                "number": 200.0 + i % 150 if i % 2 == 0 else 15.0 + i % 100 / 10,
                "text": None,
                "confirmed": False,
                "corrects": None,
                "sequence": i,
                "entered_at": "2026-05-04T10:30:00Z",
            }
            for i in range(per_phone)
        ]
        queues.append((uuid.uuid4(), [queue[i : i + AT_ONCE] for i in range(0, per_phone, AT_ONCE)]))
    return queues


def bare_copy(assessment: Any, steward: Any, queues: list[tuple[uuid.UUID, list[list[Any]]]]) -> float:
    """Seconds for psycopg to COPY the same rows, ids looked up beforehand, into the same table."""
    from django.db import connection, transaction

    trees = dict(assessment.site.trees.values_list("code", "pk"))
    traits = dict(assessment.traits.values_list("code", "pk"))
    rows = [
        (e["id"], assessment.pk, trees[e["tree"]], traits[e["trait"]], "value", e["number"], "current", device,
         e["sequence"], e["entered_at"], steward.pk)
        for device, batches in queues for batch in batches for e in batch
    ]  # fmt: skip
    columns = "client_id, assessment_id, tree_id, trait_id, kind, number, standing, device, sequence, entered_at, by_id"
    began = time.perf_counter()
    sql = f"COPY trials_entry ({columns}) FROM STDIN"
    with transaction.atomic(), connection.cursor() as cursor, cursor.copy(sql) as copy:
        for row in rows:
            copy.write_row(row)
    return time.perf_counter() - began


def make_assessment(trees: int) -> tuple[Any, Any]:
    """An open assessment of two traits on a site of that many trees."""
    import datetime as dt

    import pandas as pd

    from portal.models import User
    from portal.uploads.bulk import copy_columns
    from trials.entries.actions import open_assessment
    from trials.models import Block, Clone, Plot, Site, Trait, Tree, Trial

    steward, _ = User.objects.get_or_create(username="bench", defaults={"is_superuser": True})
    trial = Trial.objects.create(code=f"bench-{time.time_ns()}", name="Benchmark")
    site = Site.objects.create(trial=trial, code="S")
    plot = Plot.objects.create(block=Block.objects.create(site=site, code="1"), code="1")
    clone = Clone.objects.create(trial=trial, code="K")
    numbers = pd.Series(range(trees))
    copy_columns(
        Tree,
        {
            "trial_id": trial.pk,
            "site_id": site.pk,
            "plot_id": plot.pk,
            "clone_id": clone.pk,
            "code": "T" + numbers.astype(str),
            "row": numbers // 200,
            "col": numbers % 200,
        },
        trees,
    )
    made = [Trait.objects.create(trial=trial, code=code, name=code, decimals=n) for code, n in TRAITS]
    day = dt.date(2026, 5, 4)
    return open_assessment(site=site, name="Bench", measured_from=day, traits=made, by=steward), steward


def check_stored(assessment: Any, entries: int) -> None:
    stored = assessment.entries.filter(standing="current").count()
    if stored != entries:
        raise SystemExit(f"expected {entries} entries that stand, found {stored}")


def clear(assessment: Any) -> None:
    """Take the run's entries out again, so that the table does not grow from run to run."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM trials_entry WHERE assessment_id = %s", [assessment.pk])


if __name__ == "__main__":
    main()

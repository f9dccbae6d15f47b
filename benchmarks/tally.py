"""Twenty scanners at one saw at the same time: is every board there once, and how long does it take?

`python benchmarks/tally.py [--scanners 20] [--boards 200] [--runs 1]`. A real server process (`manage.py serve`) with
its own database; each scanner is a process of its own that signs in and sends its boards over HTTP in batches of
10, as the page at the saw does after a spell without a network. One batch in five breaks off: the connection is
closed before the answer is read, and the batch is sent again, as are a tenth of those that were answered. At the end
every board must be there once, with its codes, whatever was sent how often; else the benchmark fails. Beside it the
same entries, boards and codes go by plain psycopg COPY into the same tables: same constraints and triggers.
"""

import argparse
import http.client
import json
import multiprocessing
import os
import random
import signal
import socket
import statistics
import subprocess
import sys
import time
import uuid
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from benchmarks.setting import spread, start

ROOT = Path(__file__).resolve().parent.parent
AT_ONCE = 10
BROKEN, AGAIN = 0.2, 0.1
BOARDS_A_LOG = 10
PATIENCE_S = 120.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scanners", type=int, default=20)
    parser.add_argument("--boards", type=int, default=200)
    parser.add_argument("--runs", type=int, default=1)
    options = parser.parse_args()
    start()
    total = options.scanners * options.boards
    with Served() as port:
        took, copied, sends, waits = [], [], [], []
        for _ in range(options.runs):
            study, steward = make_study(total // BOARDS_A_LOG)
            queues = scanner_queues(study, options.scanners, options.boards)
            seconds, found = tally_at_once(port, study, steward, queues)
            check(study, queues)
            took.append(seconds)
            sends.append(sum(len(f) for f in found))
            waits += [wait for f in found for wait in f]
            copied.append(bare_copy(make_study(total // BOARDS_A_LOG)[0], steward, queues))
    ninety_ninth = statistics.quantiles(waits, n=100)[98]
    print(
        f"{options.scanners} scanners at once, {options.boards} boards each: {total} boards, none lost, none doubled,"
        f" in {spread(took)} s ({total / statistics.median(took):.0f} a second), {spread(sends)} sends"
    )
    print(
        f"an answered send of {AT_ONCE}: median {statistics.median(waits) * 1000:.0f} ms, 99th percentile"
        f" {ninety_ninth * 1000:.0f} ms; bare COPY of the same rows {spread(copied)} s;"
        f" tally ÷ COPY: {spread([t / c for t, c in zip(took, copied, strict=True)])}"
    )


class Served:
    """`manage.py serve` on a free port, on this process's database."""

    def __enter__(self) -> int:
        from django.db import connection

        connection.ensure_connection()
        info = connection.connection.info
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = int(free.getsockname()[1])
        from urllib.parse import quote

        address = f"postgres://{info.user}@{quote(str(info.host), safe='')}/{info.dbname}"
        self.process = subprocess.Popen(
            [sys.executable, "manage.py", "serve", "--port", str(port), "--no-jobs"],
            cwd=ROOT,
            env={**os.environ, "DATABASE_URL": address},
            start_new_session=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            try:
                ask(port, "GET", "/sign-in/")
                return port
            except OSError:
                time.sleep(0.2)
        raise SystemExit("the server does not answer")

    def __exit__(self, *_: object) -> None:
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


def ask(
    port: int, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None
) -> tuple[int, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
    try:
        connection.request(method, path, body, headers or {})
        response = connection.getresponse()
        return response.status, response.read()
    finally:
        connection.close()


def tally_at_once(
    port: int, study: Any, steward: Any, queues: list[tuple[str, list[Any]]]
) -> tuple[float, list[list[float]]]:
    """Seconds until the last scanner is through, and the seconds of each answered send of each scanner."""
    path = f"/sawing/api/{study.trial.code}/{study.code}/tally/"
    cookies = [session_cookie(steward) for _ in queues]
    context = multiprocessing.get_context("spawn")
    ready, results = context.Barrier(len(queues) + 1), context.Queue()
    processes = [
        context.Process(target=scan, args=(port, path, cookie, device, entries, seed, ready, results))
        for seed, (cookie, (device, entries)) in enumerate(zip(cookies, queues, strict=True))
    ]
    for process in processes:
        process.start()
    ready.wait(PATIENCE_S)
    began = time.perf_counter()
    found = [results.get(timeout=600) for _ in processes]
    seconds = time.perf_counter() - began
    for process in processes:
        process.join()
    return seconds, found


def scan(
    port: int, path: str, cookie: str, device: str, entries: list[Any], seed: int, ready: Any, results: Any
) -> None:
    """One scanner: sends until everything was answered for, over a line that breaks."""
    draw = random.Random(seed)
    status, body = ask(port, "GET", "/field/api/session/", headers={"Cookie": cookie})
    assert status == 200, body
    token = json.loads(body)["csrf"]
    headers = {
        "Cookie": f"{cookie}; {CSRF_COOKIE}={token}",
        "X-CSRFToken": token,
        "Content-Type": "application/json",
    }
    ready.wait(PATIENCE_S)
    waits = []
    waiting = [entries[i : i + AT_ONCE] for i in range(0, len(entries), AT_ONCE)]
    while waiting:
        batch = waiting[0]
        content = json.dumps({"device": device, "entries": batch})
        if draw.random() < BROKEN:
            break_off(port, path, content, headers, after_s=draw.random() * 0.05)
            continue
        began = time.perf_counter()
        status, body = ask(port, "POST", path, content, headers)
        waits.append(time.perf_counter() - began)
        if status != 200:
            raise SystemExit(f"the server answered {status}: {body[:300]!r}")
        assert all(answer["taken"] for answer in json.loads(body)["answers"])
        if draw.random() >= AGAIN:
            waiting.pop(0)
    results.put(waits)


CSRF_COOKIE = "csrftoken"


def break_off(port: int, path: str, content: str, headers: dict[str, str], after_s: float) -> None:
    """Send the whole request, or half of it, and hang up without reading the answer."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
    try:
        data = content.encode()
        sent = data if after_s > 0.02 else data[: len(data) // 2]
        connection.putrequest("POST", path)
        for name, value in {**headers, "Content-Length": str(len(data))}.items():
            connection.putheader(name, value)
        connection.endheaders(sent)
        time.sleep(after_s)
    except OSError:
        pass
    finally:
        connection.close()


def session_cookie(user: Any) -> str:
    from django.conf import settings
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.contrib.sessions.backends.db import SessionStore

    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.create()
    return f"{settings.SESSION_COOKIE_NAME}={session.session_key}"


def scanner_queues(study: Any, scanners: int, boards: int) -> list[tuple[str, list[Any]]]:
    """Each scanner's boards: three codes each, ten boards from a log that two scanners share in part."""
    from sawing.calc.label_code import encode

    serials = list(study.logs.order_by("pk").values_list("serials__number", flat=True))
    queues = []
    for scanner in range(scanners):
        entries = []
        for n in range(boards):
            # Neighbouring scanners take turns on the same logs, each its own rows of the label.
            at = (scanner // 2 * 2 * boards + n * 2 + scanner % 2) // BOARDS_A_LOG
            place = (n * 2 + scanner % 2) % BOARDS_A_LOG
            codes = [encode(serials[at], 0, 8 + 3 * place, col) for col in (14, 20, 26)]
            entries.append(
                {
                    "id": str(uuid.uuid4()),
                    "kind": "board",
                    "codes": codes,
                    "flitch": str(place + 1),
                    "thickness_mm": 20,
                    "width_mm": 100,
                    "length_m": 3,
                    "confirmed": False,
                    "sequence": n + 1,
                    "entered_at": "2026-05-04T10:30:00Z",
                }
            )
        queues.append((str(uuid.uuid4()), entries))
    return queues


def check(study: Any, queues: list[tuple[str, list[Any]]]) -> None:
    """Every board there once, as it was said; anything else ends the benchmark."""
    from sawing.models import BoardCode

    wanted = {e["id"]: e["codes"] for _, entries in queues for e in entries}
    stored = {str(i): codes for i, codes in study.tally_entries.values_list("client_id", "codes")}
    boards = sorted(study.boards.values_list("code", flat=True))
    problems = []
    if stored != wanted:
        problems.append(f"{len(wanted)} entries made, {len(stored)} stored")
    if boards != sorted(codes[0] for codes in wanted.values()):
        problems.append(
            f"{len(wanted)} boards scanned, {len(boards)} there, {len(set(boards))} of them different"
        )
    if (n := BoardCode.objects.filter(board__study=study).count()) != 3 * len(wanted):
        problems.append(f"{3 * len(wanted)} codes read, {n} on boards")
    if study.held_tallies.exists() or study.tally_entries.exclude(standing="current").exists():
        problems.append("some entries are held, or do not stand")
    if problems:
        raise SystemExit("; ".join(problems))


def bare_copy(study: Any, steward: Any, queues: list[tuple[str, list[Any]]]) -> float:
    """Seconds for psycopg to COPY the same entries, boards and codes, ids known beforehand, into the same tables."""
    from django.db import connection, transaction

    from sawing.models import LabelSheet

    logs = list(study.logs.order_by("pk").values_list("pk", flat=True))
    sheets = dict(LabelSheet.objects.filter(serial__log__in=logs).values_list("serial__log_id", "pk"))
    entries = [(device, entry) for device, listed in queues for entry in listed]
    with (
        connection.cursor() as cursor
    ):  # from the table's own sequence, so that later boards find theirs free
        numbers = "SELECT nextval(pg_get_serial_sequence('sawing_board', 'id')) FROM generate_series(1, %s)"
        cursor.execute(numbers, [len(entries)])
        ids = [pk for (pk,) in cursor.fetchall()]
    boards, said, codes = [], [], []
    for n, (device, entry) in enumerate(entries):
        log, pk = logs[n // BOARDS_A_LOG], ids[n]
        sizes = (entry["thickness_mm"], entry["width_mm"], entry["length_m"])
        boards.append((pk, study.pk, log, f"{n}", *sizes, "sawn"))
        said.append(
            (str(uuid.uuid4()), study.pk, "board", log, pk, f"{n}", entry["flitch"], "", json.dumps(entry["codes"]),
             *sizes, "", "[]", False, "current", device, entry["sequence"], entry["entered_at"], steward.pk)
        )  # fmt: skip
        codes += [(pk, sheets[log], n % BOARDS_A_LOG, col, "scanner", steward.pk) for col in (14, 20, 26)]
    tables = (
        ("sawing_board (id, study_id, log_id, code, thickness_mm, width_mm, length_m, state)", boards),
        (
            "sawing_tallyentry (client_id, study_id, kind, log_id, board_id, board_code, flitch_code, piece, codes,"
            " thickness_mm, width_mm, length_m, text, warnings, confirmed, standing, device, sequence, entered_at,"
            " by_id)",
            said,
        ),
        ("sawing_boardcode (board_id, sheet_id, row, col, read_by, by_id)", codes),
    )
    began = time.perf_counter()
    with transaction.atomic(), connection.cursor() as cursor:
        for into, rows in tables:
            with cursor.copy(f"COPY {into} FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
    return time.perf_counter() - began


def make_study(logs: int) -> tuple[Any, Any]:
    """A study with that many labelled logs, and who tallies in it."""
    from portal.models import User
    from sawing.models import Felling, LabelSheet, Log, LogSerial, Study
    from trials.models import Block, Clone, Plot, Site, Tree, Trial

    steward, _ = User.objects.get_or_create(username="bench", defaults={"is_superuser": True})
    trial = Trial.objects.create(code=f"bench-{time.time_ns()}", name="Benchmark")
    site = Site.objects.create(trial=trial, code="S")
    plot = Plot.objects.create(block=Block.objects.create(site=site, code="1"), code="1")
    clone = Clone.objects.create(trial=trial, code="K")
    tree = Tree.objects.create(trial=trial, site=site, plot=plot, clone=clone, code="T", row=1, col=1)
    study = Study.objects.create(
        trial=trial, code="saw", name="Saw", headsaw_kerf_mm=4, thicknesses_mm=[20], widths_mm=[100]
    )
    felling = Felling.objects.create(study=study, tree=tree)
    made = Log.objects.bulk_create(
        Log(study=study, felling=felling, code=f"L{n:05d}", bottom_m=0, length_m=3, sed1_mm=320, led1_mm=350)
        for n in range(logs)
    )
    highest = LogSerial.objects.order_by("-number").values_list("number", flat=True).first() or 0
    serials = LogSerial.objects.bulk_create(
        LogSerial(number=highest + 1 + n, log=log) for n, log in enumerate(made)
    )
    LabelSheet.objects.bulk_create(
        LabelSheet(
            serial=serial, end="butt", rows=45, cols=45, dots=7, pitch_mm=8.3, diameter_mm=350, thickness_mm=20,
            width_mm=100, torn_mm=1, fewest_codes=8, pith_row=22, pith_col=22,
        )
        for serial in serials
    )  # fmt: skip
    return study, steward


if __name__ == "__main__":
    main()

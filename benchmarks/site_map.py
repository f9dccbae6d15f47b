"""How long does the map of a site take at 2,000, 5,000 and 20,000 trees, how many bytes go out, and how does it grow?

`python benchmarks/site_map.py [--trees 2000,5000,20000] [--runs 7] [--browser]`. Each site has as many trees as said
in plots of four, 40 clones, and an assessment with a diameter on every tree. Asked for are the page and its data,
coloured by clone and by the diameter, through the whole of the portal but the network; bytes also as gzip would send
them. With `--browser` the page is opened once a size in the system's Chromium against a served portal: from asking to
the picture standing, and the drawing alone.
"""

import argparse
import datetime as dt
import gzip
import math
import shutil
import socket
import statistics
import subprocess
import sys
import time
import urllib.error
import urllib.request
import uuid
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from benchmarks.setting import spread, start

COLUMNS = 200
CLONES = 40
FLAGS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trees", default="2000,5000,20000")
    parser.add_argument("--runs", type=int, default=7)
    parser.add_argument("--browser", action="store_true")
    options = parser.parse_args()
    start()
    sizes = [int(size) for size in options.trees.split(",")]
    client, steward = signed_in()
    times: dict[str, list[float]] = {}
    addresses = []
    for size in sizes:
        page, data = make_site(size, steward)
        addresses.append(page)
        for what, url in (("page", page), ("data by clone", data[0]), ("data by diameter", data[1])):
            seconds, content = asked(client, url, options.runs)
            times.setdefault(what, []).append(statistics.median(seconds))
            print(
                f"{size} trees, {what}: {spread([1000 * s for s in seconds])} ms; "
                f"{len(content) / 1024:.0f} KiB, {len(gzip.compress(content)) / 1024:.0f} KiB as gzip"
            )
    for what, medians in times.items():
        if len(sizes) > 1 and sizes[-1] > sizes[0]:
            power = math.log(medians[-1] / medians[0]) / math.log(sizes[-1] / sizes[0])
            print(
                f"{what}: from {sizes[0]} to {sizes[-1]} trees time grows as trees to the power {power:.2f}"
            )
    if options.browser:
        in_browser(addresses, sizes, steward)


def signed_in() -> tuple[Any, Any]:
    """A client of the portal, and the steward it is signed in as."""
    from django.conf import settings
    from django.test import Client

    from portal.models import User

    settings.ALLOWED_HOSTS = ["*"]
    steward, _ = User.objects.get_or_create(username="bench", defaults={"is_superuser": True})
    client = Client()
    client.force_login(steward, backend="django.contrib.auth.backends.ModelBackend")
    return client, steward


def make_site(trees: int, steward: Any) -> tuple[str, tuple[str, str]]:
    """A measured site of that many trees; addresses of its map, of its data by clone and by diameter."""
    import pandas as pd
    from django.urls import reverse

    from portal.uploads.bulk import copy_columns
    from trials.entries.actions import open_assessment
    from trials.models import Block, Clone, Entry, Plot, Site, Trait, Tree, Trial

    trial = Trial.objects.create(code=f"map-{time.time_ns()}", name="Benchmark")
    site = Site.objects.create(trial=trial, code="S", spacing_m="3 × 2")
    blocks = Block.objects.bulk_create(Block(site=site, code=str(n)) for n in range(10))
    n_plots = trees // 4
    plots = Plot.objects.bulk_create(
        Plot(block=blocks[n * 10 // n_plots], code=str(n)) for n in range(n_plots)
    )
    clones = Clone.objects.bulk_create(Clone(trial=trial, code=f"K{n}", colour=n) for n in range(CLONES))
    numbers = pd.Series(range(trees))
    copy_columns(
        Tree,
        {
            "trial_id": trial.pk,
            "site_id": site.pk,
            "plot_id": numbers.map(lambda n: plots[min(n // 4, n_plots - 1)].pk),
            "clone_id": numbers.map(lambda n: clones[n // 4 * 7 % CLONES].pk),
            "code": "S-" + (numbers // COLUMNS).astype(str) + "-" + (numbers % COLUMNS).astype(str),
            "row": numbers // COLUMNS,
            "col": numbers % COLUMNS,
        },
        trees,
    )
    trait = Trait.objects.create(trial=trial, code="dbh_mm", name="Diameter", unit="mm")
    visit = open_assessment(
        site=site, name="Bench", measured_from=dt.date(2026, 5, 4), traits=[trait], by=steward
    )
    Entry.objects.bulk_create(
        (
            Entry(
                client_id=uuid.uuid4(),
                assessment=visit,
                tree_id=pk,
                trait=trait,
                number=150 + pk % 200,
                by=steward,
            )
            for pk in site.trees.values_list("pk", flat=True)
        ),
        batch_size=2000,
    )
    data = reverse("trials:site_map_data", args=[trial.code, "S"])
    page = reverse("trials:site_map", args=[trial.code, "S"])
    return page, (data, f"{data}?colour={visit.pk}.dbh_mm")


def asked(client: Any, url: str, runs: int) -> tuple[list[float], bytes]:
    """Seconds of each asking but the first, and what came."""
    seconds, content = [], b""
    for _ in range(runs + 1):
        began = time.perf_counter()
        response = client.get(url)
        seconds.append(time.perf_counter() - began)
        if response.status_code != 200:
            raise SystemExit(f"{url}: {response.status_code}")
        content = response.content
    return seconds[1:], content


def in_browser(addresses: list[str], sizes: list[int], steward: Any) -> None:
    """Open each map once and say how long it takes until it stands."""
    from playwright.sync_api import sync_playwright

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    cookie = session_of(steward, f"http://127.0.0.1:{port}")
    served = subprocess.Popen(
        [sys.executable, "manage.py", "serve", "--port", str(port)],
        cwd=Path(__file__).resolve().parent.parent,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        wait_for(f"http://127.0.0.1:{port}/sign-in/")
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
            for size, address in zip(sizes, addresses, strict=True):
                context = browser.new_context(viewport={"width": 1280, "height": 900})
                context.add_cookies([cookie])
                page = context.new_page()
                page.set_default_timeout(60_000)
                began = time.perf_counter()
                page.goto(f"http://127.0.0.1:{port}{address}")
                page.wait_for_selector("[data-drawn]")
                whole = time.perf_counter() - began
                drawn = page.get_attribute("[data-drawn]", "data-drawn")
                print(
                    f"{size} trees in Chromium: the picture stands after {whole:.2f} s, drawing alone {drawn} ms"
                )
                context.close()
            browser.close()
    finally:
        served.terminate()
        served.wait()


def session_of(steward: Any, url: str) -> Any:
    """The cookie of a signed-in steward."""
    from django.conf import settings
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.contrib.sessions.backends.db import SessionStore

    session = SessionStore()
    session[SESSION_KEY] = str(steward.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = steward.get_session_auth_hash()
    session.create()
    return {"name": settings.SESSION_COOKIE_NAME, "value": str(session.session_key), "url": url}


def wait_for(url: str, patience_s: float = 60.0) -> None:
    """Return once the served portal answers."""
    deadline = time.monotonic() + patience_s
    while time.monotonic() < deadline:
        try:
            with urllib.request.urlopen(url, timeout=5):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    raise SystemExit("the served portal does not answer")


if __name__ == "__main__":
    main()

"""`manage.py serve`: the portal behind a production web server on one address."""

import subprocess
import sys
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand


class Command(BaseCommand):
    help = (
        "Serve the portal (granian, one process with several threads), with a worker for long jobs beside it."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--address", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--workers", type=int, default=1, help="processes that answer pages")
        parser.add_argument(
            "--no-jobs", action="store_true", help="no worker: jobs wait for `manage.py work`"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        from granian.constants import Interfaces
        from granian.server import Server

        server = Server(
            "portal.wsgi:application",
            address=options["address"],
            port=options["port"],
            interface=Interfaces.WSGI,
            workers=options["workers"],
            blocking_threads=8,
            log_access=False,
        )
        worker = None if options["no_jobs"] else _start_worker()
        try:
            server.serve()
        finally:
            if worker is not None:
                worker.terminate()


def _start_worker() -> "subprocess.Popen[bytes]":
    manage = settings.BASE_DIR / "manage.py"
    return subprocess.Popen([sys.executable, str(manage), "work", "--with-parent"])

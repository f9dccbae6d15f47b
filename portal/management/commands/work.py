"""`manage.py work`: a worker that does the jobs people asked for. Any number may run, on any number of machines."""

import os
import threading
import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand


class Command(BaseCommand):
    help = "Do the jobs in the queue, until stopped."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--until-empty", action="store_true", help="end when the queue is empty")
        parser.add_argument(
            "--with-parent", action="store_true", help="end when the process that began it has"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        from procrastinate.contrib.django import app

        if options["with_parent"]:
            threading.Thread(target=_end_with, args=(os.getppid(),), daemon=True).start()
        with app.replace_connector(app.connector.get_worker_connector()):  # type: ignore[attr-defined]
            app.run_worker(
                queues=["portal"],
                concurrency=1,
                wait=not options["until_empty"],
                listen_notify=not options["until_empty"],
                delete_jobs="always",
                shutdown_graceful_timeout=2,
            )


def _end_with(parent: int) -> None:
    """Leave when the server that began this worker is gone, however it went."""
    while os.getppid() == parent:
        time.sleep(2)
    os._exit(0)

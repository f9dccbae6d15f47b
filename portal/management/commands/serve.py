"""`manage.py serve`: the portal behind a production web server on one address."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand


class Command(BaseCommand):
    help = "Serve the portal (granian, one process with several threads)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--address", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--workers", type=int, default=1)

    def handle(self, *args: Any, **options: Any) -> None:
        from granian.constants import Interfaces
        from granian.server import Server

        Server(
            "portal.wsgi:application",
            address=options["address"],
            port=options["port"],
            interface=Interfaces.WSGI,
            workers=options["workers"],
            blocking_threads=8,
            log_access=False,
        ).serve()

"""The portal as a process of its own on the tests' database, so that a test may kill it."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from types import TracebackType
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.db import connection

SESSIONS = "portal_of_a_journey"


def database_address() -> str:
    """DATABASE_URL of the database that the tests use."""
    known = connection.settings_dict
    connection.ensure_connection()
    host = quote(str(connection.connection.info.host), safe="")
    return f"postgres://{known['USER']}@{host}/{known['NAME']}?application_name={SESSIONS}"


def end_sessions() -> None:
    """End what a killed process left open at the database, so that the database can be dropped.

    Of this database alone: tests that run beside these have portals of their own on the same server.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            " WHERE application_name = %s AND datname = current_database()",
            [SESSIONS],
        )


class PortalProcess:
    """`manage.py serve` on a port that stays the same over deaths."""

    def __init__(self) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.url = f"http://localhost:{self.port}"
        self.process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> "PortalProcess":
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.kill()

    def start(self, patience_s: float = 40.0) -> None:
        """Serve, and return once it answers."""
        environment: dict[str, Any] = {**os.environ, "DATABASE_URL": database_address()}
        command = [sys.executable, "manage.py", "serve", "--port", str(self.port)]
        self.process = subprocess.Popen(
            command, cwd=settings.BASE_DIR, env=environment, start_new_session=True
        )
        deadline = time.monotonic() + patience_s
        while time.monotonic() < deadline:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/sign-in/", timeout=5):
                    return
            except (urllib.error.URLError, OSError):
                time.sleep(0.1)
        raise TimeoutError("the portal's process does not answer")

    def kill(self) -> None:
        """End it as a power cut would: no farewell to anybody."""
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None
            end_sessions()

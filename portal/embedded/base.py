"""PostgreSQL backend that starts the embedded server when the first connection is asked for.

Commands that need no database (`manage.py recovery`) therefore never start one.
"""

from typing import Any

from django.db.backends.postgresql import base

from portal.embedded.server import socket_folder


class DatabaseWrapper(base.DatabaseWrapper):
    """Django's own PostgreSQL backend, pointed at the embedded server's socket."""

    def get_connection_params(self) -> dict[str, Any]:
        params = super().get_connection_params()
        params["host"] = socket_folder(self.settings_dict["PGDATA"])
        return params

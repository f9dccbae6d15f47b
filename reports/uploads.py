"""The files of this room, for the shared upload machine."""

from portal.models import Role
from portal.uploads.registry import UploadKind, register
from reports import actions, queries
from reports.columns import PRICES


def register_kinds() -> None:
    register(
        UploadKind(
            PRICES,
            "trial",
            frozenset({Role.MANAGER}),
            queries.known_for_prices,
            queries.stored_prices,
            actions.insert_prices,
            whole=True,
        )
    )

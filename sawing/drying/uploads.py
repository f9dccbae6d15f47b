"""The file of moisture readings, for the shared upload machine."""

from portal.models import Role
from portal.uploads.registry import UploadKind, register
from sawing.drying import queries
from sawing.drying.actions.readings import insert_moisture, replace_moisture
from sawing.drying.columns import MOISTURE


def register_kinds() -> None:
    register(
        UploadKind(
            MOISTURE,
            "study",
            frozenset({Role.MILL, Role.MANAGER}),
            queries.known_for_moisture,
            queries.stored_moisture,
            insert_moisture,
            replace_moisture,
        )
    )

"""The file of features, for the shared upload machine."""

from grading.bench import queries
from grading.bench.feature_rows import insert_features, replace_features
from grading.columns import FEATURES
from portal.models import Role
from portal.uploads.registry import UploadKind, register

WRITERS = frozenset({Role.GRADER, Role.MANAGER})


def register_kinds() -> None:
    register(
        UploadKind(
            FEATURES,
            "study",
            WRITERS,
            queries.known_for_features,
            queries.stored_features,
            insert_features,
            replace_features,
        )
    )

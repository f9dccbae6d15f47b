"""The file of features, for the shared upload machine."""

from grading.bench import queries
from grading.bench.feature_rows import insert_features, replace_features
from grading.columns import FEATURES
from grading.graders import GRADERS
from portal.uploads.registry import UploadKind, register


def register_kinds() -> None:
    register(
        UploadKind(
            FEATURES,
            "study",
            GRADERS,
            queries.known_for_features,
            queries.stored_features,
            insert_features,
            replace_features,
        )
    )

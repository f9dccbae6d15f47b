"""The file of taps, for the shared upload machine."""

from grading.graders import GRADERS
from grading.stiffness import queries
from grading.stiffness.actions import insert_taps, replace_taps
from grading.stiffness.columns import STIFFNESS
from portal.uploads.registry import UploadKind, register


def register_kinds() -> None:
    register(
        UploadKind(
            STIFFNESS,
            "study",
            GRADERS,
            queries.known_for_stiffness,
            queries.stored_stiffness,
            insert_taps,
            replace_taps,
        )
    )

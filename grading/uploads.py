"""The files of this room, for the shared upload machine."""

from grading import actions, queries
from grading.bench.uploads import register_kinds as register_features
from grading.columns import GRADES
from grading.graders import GRADERS
from grading.stiffness.uploads import register_kinds as register_stiffness
from portal.uploads.registry import UploadKind, register


def register_kinds() -> None:
    register_features()
    register(
        UploadKind(
            GRADES,
            "study",
            GRADERS,
            queries.known_for_grades,
            queries.stored_grades,
            actions.insert_grades,
            actions.replace_grades,
        )
    )
    register_stiffness()

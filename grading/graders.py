"""Who grades in a trial, and which boards still wait for it."""

from typing import Final

from portal.models import Role

GRADERS: Final = frozenset({Role.GRADER, Role.MANAGER})
UNGRADED: Final = ("sawn", "in_stack", "dry")
"""States of boards that a first grade moves on to "graded"."""

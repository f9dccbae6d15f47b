"""History: every insert, change and deletion of a tracked table is kept by database triggers.

Triggers fire once per statement and copy from the transition tables, so bulk loads keep their history too.
"""

from typing import Any, TypeVar

import pghistory
import pgtrigger

T = TypeVar("T")


def tracked(model: type[T]) -> type[T]:
    """Class decorator: keep the history of a model's rows in an append-only `<Model>Event` table."""
    decorate: Any = pghistory.track(
        pghistory.InsertEvent("added"),
        pghistory.UpdateEvent("changed"),
        pghistory.DeleteEvent("deleted"),
        level=pgtrigger.Statement,
    )
    return decorate(model)

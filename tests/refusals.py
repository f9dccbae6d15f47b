"""What the database itself refuses: asked at SQL level, past every check in Python."""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import DatabaseError, connection, models, transaction

Attempt = Callable[[Any], Any]

NOT_POSITIVE = (0.0, -1.0, float("nan"), float("inf"), float("-inf"))
NEGATIVE = (-1.0, float("nan"), float("inf"), float("-inf"))

HISTORY_TRIGGERS = {"added_insert", "changed_update", "deleted_delete"}


@contextmanager
def refused(by: str) -> Iterator[None]:
    """The database must refuse what happens inside, in the name of that rule; what it did so far is undone."""
    with pytest.raises(DatabaseError, match=by), transaction.atomic():  # noqa: PT012
        yield
        connection.check_constraints()  # the deferred ones, which would speak at the end of the transaction


def rules_of(app: str) -> set[str]:
    """Names of an app's CHECK, UNIQUE and several-column FOREIGN KEY rules, and of its triggers but history's.

    Read from the catalogue of the database, so that a rule nobody has tested is found out.
    """
    tables = f"^{app}_(?!user|.*event$)"
    rules = """
        SELECT index.relname FROM pg_index
            JOIN pg_class index ON index.oid = indexrelid JOIN pg_class owner ON owner.oid = indrelid
            WHERE indisunique AND NOT indisprimary AND owner.relname ~ %(tables)s
        UNION SELECT conname FROM pg_constraint JOIN pg_class owner ON owner.oid = conrelid
            WHERE (contype = 'c' OR contype = 'f' AND array_length(conkey, 1) > 1) AND owner.relname ~ %(tables)s
    """
    triggers = """
        SELECT tgname FROM pg_trigger JOIN pg_class owner ON owner.oid = tgrelid
            WHERE NOT tgisinternal AND owner.relname ~ %(tables)s
    """
    with connection.cursor() as cursor:
        cursor.execute(rules, {"tables": tables})
        found = {name for (name,) in cursor.fetchall()}
        cursor.execute(triggers, {"tables": tables})
        own = {re.sub(r"^pgtrigger_|_[0-9a-f]{5}$", "", name) for (name,) in cursor.fetchall()}
    return found | (own - HISTORY_TRIGGERS)


def numbers_refused(model: type[models.Model], ending: str, names: str, values: tuple[Any, ...]) -> list[Any]:
    """Test cases (model, field, value, rule) for the size fields of a model, every bad value of each."""
    prefix = model._meta.db_table
    return [
        pytest.param(model, name, value, f"{prefix}_{name}_{ending}", id=f"{prefix}.{name}={value}")
        for name in names.split()
        for value in values
    ]


def rules_named(cases: list[Any]) -> set[str]:
    """The rules that such cases try."""
    return {case.values[-1] for case in cases}


def one(model: type[Any], **changes: Any) -> Any:
    """A stored row as a new, unsaved object with some values changed: an otherwise sound row to insert."""
    row = model._base_manager.order_by("pk").first()
    assert row is not None, f"no {model.__name__} to copy"
    row.pk = None
    for name, value in changes.items():
        setattr(row, name, value)
    return row


def insert(model: type[Any], **changes: Any) -> None:
    """Insert a changed copy of a stored row without any validation in Python."""
    model._base_manager.bulk_create([one(model, **changes)])


def update(model: type[Any], where: dict[str, Any] | None = None, **changes: Any) -> None:
    """Change stored rows at SQL level."""
    rows = model._base_manager.filter(**(where or {}))
    assert rows.update(**changes), f"no {model.__name__} to change"

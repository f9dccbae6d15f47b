"""Bulk writes through COPY. Triggers, constraints and history of the table hold as for any other insert."""

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from django.db import connection, models
from psycopg.types.json import Jsonb

WORTH_A_LOOK = 50
"""Rows written at once from which on the database is asked to look at the table."""
NOT_NOTES = frozenset({"held_row", "problem"})
"""Extra columns that a downloaded list of held rows carries; they say nothing of the row itself."""


def copy_columns(model: type[models.Model], columns: Mapping[str, Any], length: int) -> int:
    """COPY rows into the table of a model.

    :param columns: attribute name of the model ("log_id") to a Series of `length` values, or to one value for all.
        Missing values (NaN, NaT, None) become NULL.
    :returns: number of rows written.
    :raises django.db.IntegrityError: a constraint refused a row; nothing of the call is then written.
    """
    if length == 0:
        return 0
    fields = {f.attname: f.column for f in model._meta.concrete_fields}
    names = [connection.ops.quote_name(fields[name]) for name in columns]
    lists = [python_values(v, length) for v in columns.values()]
    table = connection.ops.quote_name(model._meta.db_table)
    # Django's cursor wrapper turns driver errors into django.db errors only for execute(); do it here for COPY.
    with connection.wrap_database_errors, connection.cursor() as cursor:
        # The history's context (who, in which request) rides on execute() and holds for the transaction.
        cursor.execute("DO 'BEGIN END'")
        with cursor.copy(f"COPY {table} ({', '.join(names)}) FROM STDIN") as copy:
            for row in zip(*lists, strict=True):
                copy.write_row(row)
        written = int(cursor.rowcount)
        _tell_the_planner(cursor, table, written)
        return written


def _tell_the_planner(cursor: Any, table: str, written: int) -> None:
    """Let the database look at a table that has grown by a tenth or more.

    It would do so by itself within a minute or so; until then it plans for the table as it was, and a join of tables it
    takes for empty can run for minutes.
    """
    if written < WORTH_A_LOOK:
        return
    cursor.execute("SELECT reltuples FROM pg_class WHERE oid = %s::regclass", [table])
    if written * 10 >= max(0.0, cursor.fetchone()[0]):
        cursor.execute(f"ANALYZE {table}")


def python_values(values: Any, length: int) -> Sequence[Any]:
    """A list of plain Python values, missing ones as None; a single value is repeated."""
    if not isinstance(values, pd.Series):
        return [values] * length
    as_objects = values.astype(object)
    return as_objects.where(values.notna(), None).tolist()


def json_notes(rows: pd.DataFrame) -> pd.Series:
    """The extra columns of each row as JSON for the database; None where there are none."""
    if "_notes" not in rows:
        return pd.Series(None, rows.index, dtype=object)
    cleaned = [
        {k: v for k, v in n.items() if k not in NOT_NOTES} if isinstance(n, dict) else None
        for n in rows["_notes"]
    ]
    return pd.Series([Jsonb(n) if n else None for n in cleaned], rows.index, dtype=object)

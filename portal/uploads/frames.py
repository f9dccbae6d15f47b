"""Querysets as DataFrames with the column names of the files."""

from collections.abc import Mapping
from typing import Any

import pandas as pd
from django.db.models import QuerySet


def frame(rows: "QuerySet[Any]", columns: Mapping[str, str]) -> pd.DataFrame:
    """A queryset as a DataFrame.

    :param columns: {column of the frame: field path of the query}, e.g. {"tree": "felling__tree__code"}.
    """
    values = list(rows.values_list(*columns.values()))
    return pd.DataFrame.from_records(values, columns=list(columns))


def codes_to_ids(rows: "QuerySet[Any]", code: str = "code") -> dict[str, int]:
    """{code: primary key} of a queryset."""
    return dict(rows.values_list(code, "pk"))

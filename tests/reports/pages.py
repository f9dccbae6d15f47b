"""Reading pages with figures as a person, or a spreadsheet, would."""

import csv
import io
import re
from typing import Any

from django.test import Client
from django.urls import reverse


def study_page(client: Client, **query: str) -> str:
    response = client.get(reverse("reports:study", args=["small", "first"]), query)
    assert response.status_code == 200
    return plain(response)


def plain(response: Any) -> str:
    """The page's text with ordinary spaces, for finding words in it."""
    return re.sub(r"[\u00a0\u202f]", " ", response.content.decode())


def percent(share: float) -> str:
    return f"{100 * share:.1f}"


def table_of(client: Client, url: str, table: str = "", **query: str) -> dict[str, dict[str, str]]:
    """A page's table as downloaded: {first column: {head: raw value}}. `table` names one that is not its first."""
    response = client.get(url, {**query, f"{table}download": "csv"})
    rows = list(csv.reader(io.StringIO(response.content.decode("utf-8-sig"))))
    return {row[0]: dict(zip(rows[0], row, strict=True)) for row in rows[1:]}

"""Writing a rule set document as TOML, so that what comes down goes up again unchanged."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from typing import Any, Final

TOP: Final = ("code", "version", "title", "purpose", "edition", "origin", "caution")
GRADE: Final = ("code", "title", "reject", "min_length_mm", "description")
LIMIT: Final = (
    "kinds",
    "place",
    "metric",
    "window_mm",
    "below_mm",
    "when_margin_above",
    "over_mm",
    "per_width_mm",
    "limit",
    "clause",
    "origin",
    "source",
)
PRICE: Final = ("grade", "price_per_m3", "min_width_mm", "max_width_mm", "min_thickness_mm")
TABLES: Final = {"grades": GRADE, "limits": LIMIT, "prices": PRICE}


def rules_as_toml(content: Mapping[str, Any]) -> str:
    """The TOML text of a document: what stands in it, its keys in the order of this module, others by name after.

    Texts, numbers, true and false, lists and tables of these; raises TypeError for anything else (None too).
    """
    lines = [
        f"{_key(n)} = {_value(content[n])}" for n in _ordered(content, TOP) if n not in (*TABLES, "piece")
    ]
    order = [g["code"] for g in content.get("grades", []) if "code" in g]
    for name in ("grades", "piece", "limits", "prices"):
        tables = content.get(name)
        if tables is None:
            continue
        head = "[piece]" if name == "piece" else f"[[{name}]]"
        for table in [tables] if name == "piece" else tables:
            lines += ["", head]
            for key in _ordered(table, TABLES.get(name, ())):
                value = table[key]
                if key == "limit":
                    value = {g: value[g] for g in _ordered(value, order)}
                lines.append(f"{_key(key)} = {_value(value)}")
    return "\n".join(lines) + "\n"


def _ordered(table: Mapping[str, Any], first: Iterable[str]) -> list[str]:
    known = [name for name in first if name in table]
    return [*known, *sorted(set(table) - set(known))]


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _text(name)


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    raise TypeError(f"{value!r} has no place in a rule set document")

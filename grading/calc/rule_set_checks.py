"""Whether a document brought to the portal can be a rule set: read from text, then everything wrong with it at once."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from typing import Any, Final

from grading.calc.rule_reading import RuleProblems, read_rules
from grading.calc.rule_writing import GRADE, TABLES, TOP

PURPOSES: Final = ("appearance", "structural", "other")
LONGEST: Final = {"code": 64, "title": 200, "origin": 400}
LONGEST_GRADE: Final = {"code": 64, "title": 200}
LARGEST_BYTES: Final = 1_000_000
TAKEN: Final = ("new", "shipped", "write", "document")
"""Codes that are addresses of pages."""

Problems = list[tuple[str, str]]


def read_text(text: str, *, as_json: bool | None = None) -> dict[str, Any]:
    """A document from TOML or JSON; by its first character when it is not said which. ValueError says what is wrong."""
    if as_json is None:
        as_json = text.lstrip().startswith("{")
    try:
        content = json.loads(text, parse_constant=_no_constant) if as_json else tomllib.loads(text)
    except (tomllib.TOMLDecodeError, json.JSONDecodeError) as error:
        raise ValueError(f"this is no {'JSON' if as_json else 'TOML'}: {error}") from None
    except RecursionError:
        raise ValueError("tables within tables, too deep to be a rule set") from None
    if not isinstance(content, dict):
        raise ValueError("expected a table with code, title, grades and limits")
    return content


def document_problems(content: Mapping[str, Any]) -> Problems:
    """Everything that keeps a document from being a rule set that grades: pairs of a key and a sentence."""
    try:
        json.dumps(content, allow_nan=False)
    except (TypeError, ValueError, RecursionError):
        return [("document", "dates, infinite numbers and the like have no place in a rule set")]
    if "\\u0000" in json.dumps(content):
        return [("document", "holds a character that no text has (code 0)")]
    try:
        read_rules({**content, "version": 1})
        problems: Problems = []
    except RuleProblems as found:
        problems = list(found.problems)
    return [*_top(content), *_grades(content.get("grades")), *problems]


def _top(content: Mapping[str, Any]) -> Problems:
    known = [*TOP, *TABLES, "piece"]
    found = [(n, f"unknown; known are {', '.join(known)}") for n in sorted(set(content) - set(known))]
    code = content.get("code")
    if isinstance(code, str) and code.strip():
        if not re.fullmatch(r"[A-Za-z0-9_-]+", code):
            found.append(("code", "letters without accents, digits, - and _ only"))
        elif code in TAKEN:
            found.append(("code", f"{code} is the address of a page: choose another"))
    if content.get("purpose", "other") not in PURPOSES:
        found.append(("purpose", f"found {content['purpose']!r}; expected one of {', '.join(PURPOSES)}"))
    for name in ("edition", "origin", "caution"):
        if not isinstance(content.get(name, ""), str):
            found.append((name, "expected a text"))
    for name, most in LONGEST.items():
        if isinstance(content.get(name), str) and len(content[name]) > most:
            found.append((name, f"at most {most} characters, found {len(content[name])}"))
    return found


def _grades(grades: object) -> Problems:
    found: Problems = []
    tables = grades if isinstance(grades, list) else []
    for at, table in enumerate(tables, start=1):
        if not isinstance(table, Mapping):
            continue
        for name in sorted(set(table) - set(GRADE)):
            found.append((f"grades {at}, {name}", f"unknown; known are {', '.join(GRADE)}"))
        for name, most in LONGEST_GRADE.items():
            if isinstance(table.get(name), str) and len(table[name]) > most:
                found.append((f"grades {at}, {name}", f"at most {most} characters"))
        for name in ("title", "description"):
            if not isinstance(table.get(name, ""), str):
                found.append((f"grades {at}, {name}", "expected a text"))
        if not isinstance(table.get("reject", False), bool):
            found.append((f"grades {at}, reject", "expected true or false"))
    return found


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no number of a rule set")

"""A rule set as it stands in the form: texts of every field, to and from the document."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from grading.calc.rule_limits import PieceSizes

TOP: Final = ("code", "title", "purpose", "edition", "origin", "caution")
GRADE: Final = ("code", "title", "description", "reject", "min_length_mm")
NUMBERS: Final = ("window_mm", "below_mm", "when_margin_above", "over_mm", "per_width_mm")
LIMIT: Final = ("kinds", "place", "metric", *NUMBERS, "origin", "source", "clause")
PIECE: Final = tuple(PieceSizes.__dataclass_fields__)
SWITCHES: Final = frozenset(n for n, f in PieceSizes.__dataclass_fields__.items() if f.type == "bool")
NEW_LIMIT: Final = {"place": "any", "metric": "size_mm", "origin": "own"}

Row = dict[str, str]


@dataclass
class Edited:
    """Rows of the form. A limit's values by grade stand under "value-0", "value-1" … in the order of `grades`."""

    top: Row = field(default_factory=dict)
    grades: list[Row] = field(default_factory=list)
    limits: list[Row] = field(default_factory=list)
    piece: Row = field(default_factory=dict)

    def document(self, beside: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """The document; `beside`: one whose parts that the form does not show (prices) are kept."""
        kept = {n: v for n, v in (beside or {}).items() if n == "prices"}
        return {
            **kept,
            **{n: v.strip() for n, v in self.top.items() if v.strip() or n in ("code", "title")},
            "grades": [_grade(row) for row in self.grades if _filled(row)],
            "piece": {
                n: _piece(n, self.piece.get(n, "")) for n in PIECE if n in SWITCHES or self.piece.get(n)
            },
            "limits": [self._limit(row) for row in self.limits if _filled(row, NEW_LIMIT)],
        }

    def _limit(self, row: Row) -> dict[str, Any]:
        values = {
            g["code"].strip(): _typed(row.get(f"value-{at}", ""))
            for at, g in enumerate(self.grades)
            if g.get("code", "").strip() and not g.get("reject")
        }
        kinds = [re.sub(r"[\s-]+", "_", k.strip()) for k in row.get("kinds", "").split(",") if k.strip()]
        given = {n: _typed(row[n]) for n in NUMBERS if row.get(n, "").strip()}
        words = {n: row.get(n, "").strip() for n in ("place", "metric", "origin", "source", "clause")}
        return {"kinds": kinds, **words, **given, "limit": values}

    def place_of(self, key: str) -> str:
        """The name of the field that a problem of the document belongs to; "" when it is none of the form's."""
        part, _, rest = key.partition(", ")
        word, _, number = part.partition(" ")
        if word == "piece" and rest in PIECE:
            return f"piece-{rest}"
        if word in TOP and not number:
            return word
        rows = {"grades": self.grades, "limits": self.limits}.get(word)
        if rows is None or not number.isdigit():
            return ""
        blank = NEW_LIMIT if word == "limits" else {}
        shown = [at for at, row in enumerate(rows) if _filled(row, blank)]
        at = shown[int(number) - 1]
        name, _, grade = rest.partition(", ")
        if name == "limit":
            codes = [g.get("code", "").strip() for g in self.grades]
            column = codes.index(grade) if grade in codes else 0
            return f"limit-{at}-value-{column}"
        return f"{word[:-1]}-{at}-{name}"

    def changed(self, do: str) -> str:
        """Do what a button says (add-grade, remove-limit-2, up-grade-1 …). Returns the field to stand in afterwards."""
        match = re.fullmatch(r"(add|remove|up)-(grade|limit)(?:-(\d{1,4}))?", do)
        if match is None:
            return ""
        verb, what, number = match.groups()
        rows = self.grades if what == "grade" else self.limits
        first = "code" if what == "grade" else "kinds"
        at = int(number) if number else len(rows)
        if verb == "add":
            at = len(rows)
            rows.append({} if what == "grade" else dict(NEW_LIMIT))
        elif at >= len(rows):
            return ""
        elif verb == "remove":
            del rows[at]
            if what == "grade":
                self._columns([n for n in range(len(rows) + 1) if n != at])
            at = min(at, len(rows) - 1)
        elif at > 0:
            rows[at - 1], rows[at] = rows[at], rows[at - 1]
            order = list(range(len(rows)))
            order[at - 1], order[at] = at, at - 1
            if what == "grade":
                self._columns(order)
            at -= 1
        return f"{what}-{at}-{first}" if at >= 0 else ""

    def _columns(self, order: list[int]) -> None:
        """Put the values of the limits in a new order of grades."""
        for row in self.limits:
            values = [row.pop(f"value-{n}", "") for n in range(max(order, default=0) + 2)]
            row |= {f"value-{to}": values[old] for to, old in enumerate(order)}


def edited_document(content: Mapping[str, Any]) -> Edited:
    """The rows of the form from a document that reads."""
    grades = [
        {**{n: _shown(g.get(n)) for n in GRADE if n != "reject"}, "reject": "on" if g.get("reject") else ""}
        for g in content.get("grades", [])
    ]
    limits = []
    for limit in content.get("limits", []):
        values = limit.get("limit", {})
        row = {n: _shown(limit.get(n)) for n in LIMIT}
        row["place"] = row["place"] or "any"
        for at, grade in enumerate(grades):
            row[f"value-{at}"] = _shown(values.get(grade["code"], values.get("all")))
        limits.append(row)
    sizes = PieceSizes()
    piece = {}
    for name in PIECE:
        value = content.get("piece", {}).get(name, getattr(sizes, name))
        piece[name] = ("on" if value else "") if name in SWITCHES else _shown(value)
    return Edited({n: _shown(content.get(n)) for n in TOP}, grades, limits, piece)


def edited_post(data: Mapping[str, str]) -> Edited:
    """The rows of the form as they were sent."""
    return Edited(
        {n: data.get(n, "") for n in TOP},
        _rows(data, "grade"),
        _rows(data, "limit"),
        {n: data.get(f"piece-{n}", "") for n in PIECE},
    )


def _rows(data: Mapping[str, str], what: str) -> list[Row]:
    found: dict[int, Row] = {}
    for name in data:
        match = re.fullmatch(rf"{what}-(\d{{1,4}})-([a-z_]+(?:-\d{{1,4}})?)", name)
        if match:
            found.setdefault(int(match[1]), {})[match[2]] = data[name]
    return [found[at] for at in sorted(found)]


def _filled(row: Row, usual: Mapping[str, str] | None = None) -> bool:
    return any(v.strip() and v != (usual or {}).get(n) for n, v in row.items())


def _grade(row: Row) -> dict[str, Any]:
    found: dict[str, Any] = {"code": row.get("code", "").strip(), "reject": bool(row.get("reject"))}
    found |= {n: row[n].strip() for n in ("title", "description") if row.get(n, "").strip()}
    if row.get("min_length_mm", "").strip():
        found["min_length_mm"] = _typed(row["min_length_mm"])
    return found


def _piece(name: str, text: str) -> Any:
    if name in SWITCHES:
        return bool(text)
    if name == "widths_mm":
        return [_typed(w) for w in re.split(r"[;\s]+|,(?=\s|$)|,(?=\d{2,}\b)", text) if w.strip()]
    return _typed(text)


def _typed(text: str) -> Any:
    """A number where the text is one (decimal comma too), else the text for the reader to judge."""
    text = text.strip()
    if re.fullmatch(r"\d{1,9}", text):
        return int(text)
    if re.fullmatch(r"-?\d{1,9}([.,]\d{1,9})?", text):
        return float(text.replace(",", "."))
    return text


def _shown(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, list | tuple):
        return ", ".join(_shown(v) for v in value)
    return repr(value).removesuffix(".0") if isinstance(value, float) else str(value)

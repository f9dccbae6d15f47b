"""Held tally entries: as a person reads and mends them, and back into what a scanner would send."""

from collections.abc import Mapping
from typing import Any

from sawing.models import HeldTally

TEXTS = ("log", "board", "flitch", "piece")
SIZES = ("thickness_mm", "width_mm", "length_m")
FIELDS = (*TEXTS, "codes", *SIZES)
LABELS = {
    "log": "Log",
    "board": "Board, when not called by its label",
    "flitch": "Flitch",
    "piece": "Piece",
    "codes": "Label codes",
    "thickness_mm": "Thickness, mm",
    "width_mm": "Width, mm",
    "length_m": "Length, m",
}


def as_typed(held: HeldTally) -> dict[str, Any]:
    """A held entry for the page: its fields as text, and why it waits."""
    content = held.content if isinstance(held.content, dict) else {}
    problems = held.problems if isinstance(held.problems, list) else [str(held.problems)]
    is_board = content.get("kind") not in ("withdraw", "note")
    shown = [name for name in FIELDS if is_board or name in ("log", "board", "codes")]
    fields = [{"name": name, "label": LABELS[name], "value": _text(content.get(name))} for name in shown]
    # Only that a board has gone on from the saw can be overruled as it is; everything else has to be mended.
    overrule = is_board and any("expected a board still at the saw" in str(p) for p in problems)
    return {
        "held": held,
        "kind": content.get("kind"),
        "text": content.get("text"),
        "problems": problems,
        "fields": fields,
        "overrule": overrule,
    }


def changes_from(typed: Mapping[str, str], held: HeldTally) -> dict[str, Any]:
    """The fields of a scanner's entry from the form's fields of one held entry. What the form does not hold stays."""
    changes: dict[str, Any] = {}
    for name in FIELDS:
        text = typed.get(f"{name}-{held.pk}")
        if text is None:
            continue
        text = text.strip()
        if name == "codes":
            changes[name] = text.replace(",", " ").split()
        elif name in SIZES:
            changes[name] = _number(text)
        else:
            changes[name] = text or None
    content = held.content if isinstance(held.content, dict) else {}
    sequence = content.get("sequence")
    if isinstance(sequence, bool) or not isinstance(sequence, int) or sequence < 0:
        changes["sequence"] = 0  # only the scanner knew it, and nobody could type it
    return changes


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, list):
        return " ".join(str(v) for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _number(text: str) -> float | str | None:
    """A number with a point or a comma; what is none stays text, so that it is refused with its own words."""
    try:
        return float(text.replace(",", ".")) if text else None
    except ValueError:
        return text

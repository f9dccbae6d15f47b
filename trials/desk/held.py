"""Entries that could not be stored: as a person reads and mends them, and back into what a phone would send."""

import uuid
from collections.abc import Mapping
from typing import Any

from trials.models import Assessment, EntryKind, HeldEntry, Trait, TraitKind

LONGEST = 18  # digits of an assessment's number


def as_typed(held: HeldEntry) -> dict[str, Any]:
    """A held entry for the page: what was sent as kind, tree, trait and value, and why it waits."""
    content = held.content if isinstance(held.content, dict) else {}
    value = content.get("number") if content.get("number") is not None else content.get("text")
    problems = held.problems if isinstance(held.problems, list) else [str(held.problems)]
    return {
        "held": held,
        "problems": problems,
        "kind": content.get("kind"),
        "tree": content.get("tree"),
        "trait": content.get("trait"),
        "value": f"{value:g}" if isinstance(value, float) else value,
    }


def changes_from(typed: Mapping[str, str], held: HeldEntry, assessment: Assessment | None) -> dict[str, Any]:
    """The fields of a phone's entry from the form's kind, tree, trait and value of one held entry.

    What only a phone knows (its count, its clock, what it corrects) is left out where it cannot be read: nobody
    could type it.
    """

    def said(name: str) -> str:
        return typed.get(f"{name}-{held.pk}", "").strip()

    kind, number = said("kind"), said("assessment")
    place = (
        assessment.pk if assessment else int(number) if number.isdecimal() and len(number) <= LONGEST else 0
    )
    changes: dict[str, Any] = {"assessment": place, "kind": kind, "tree": said("tree")}
    changes |= _value(kind, said("trait"), said("value"), place)
    return changes | _readable(held)


def _value(kind: str, trait: str, value: str, assessment: int) -> dict[str, Any]:
    if kind != EntryKind.VALUE:
        return {"trait": None, "number": None, "text": value or None}
    found = Trait.objects.filter(assessments=assessment, code=trait).first()
    is_text = found is not None and found.kind == TraitKind.TEXT
    try:
        number = None if is_text else float(value.replace(",", "."))
    except ValueError:
        number = None
    return {"trait": trait or None, "number": number, "text": value if number is None else None}


def _readable(held: HeldEntry) -> dict[str, Any]:
    content = held.content if isinstance(held.content, dict) else {}
    sequence, corrects = content.get("sequence"), content.get("corrects")
    changes: dict[str, Any] = {}
    if isinstance(sequence, bool) or not isinstance(sequence, int) or not 0 <= sequence < 2**63:
        changes["sequence"] = 0
    try:
        uuid.UUID(corrects or str(uuid.UUID(int=0)))
    except (ValueError, AttributeError, TypeError):
        changes["corrects"] = None
    if any(str(p).startswith("entered_at") for p in held.problems):
        changes["entered_at"] = None
    if not isinstance(content.get("confirmed"), bool):
        changes["confirmed"] = False
    return changes

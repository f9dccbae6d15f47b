"""Reading entries as a phone sends them: JSON objects from outside, of which nothing is taken on trust.

What can be read becomes an `EntryRead`; what cannot keeps its reasons, in words for the person who will settle
it. Whether the tree, the trait and the assessment exist, and whether a value suits its trait, is asked later.
"""

import datetime as dt
import math
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

KINDS = ("value", "dead", "missing", "skipped", "second_leader", "note")
LONGEST_TEXT = 4_000
LONGEST_CODE = 200
MOST_NUMBER = 1e9
MOST_INTEGER = 2**63 - 1
EARLIEST, LATEST = dt.datetime(1900, 1, 1, tzinfo=dt.UTC), dt.datetime(2200, 1, 1, tzinfo=dt.UTC)
YES_NO = {"yes": 1.0, "no": 0.0}


@dataclass(frozen=True)
class TraitRule:
    """What may stand in a trait: its kind, the described points of an ordinal scale."""

    kind: str
    points: tuple[float, ...] = ()


@dataclass(frozen=True)
class EntryRead:
    """An entry in its types. A value has `trait` and one of `number` and `text`."""

    id: uuid.UUID
    assessment: int
    tree: str
    trait: str | None
    kind: str
    number: float | None
    text: str | None
    confirmed: bool
    corrects: uuid.UUID | None
    sequence: int
    entered_at: dt.datetime | None


def read_id(value: object) -> uuid.UUID | None:
    """A UUID in its usual spelling; None for anything else."""
    if not isinstance(value, str) or len(value) != 36:
        return None
    try:
        return uuid.UUID(value)
    except ValueError:
        return None


def read_time(value: object) -> dt.datetime | None:
    """A time of a phone's clock with its zone (UTC where none is said); None for anything else, and beyond 1900 to
    2200."""
    if not isinstance(value, str):
        return None
    try:
        found = dt.datetime.fromisoformat(value)
        found = found if found.tzinfo else found.replace(tzinfo=dt.UTC)
        return found if EARLIEST <= found <= LATEST else None
    except (ValueError, OverflowError):
        return None


def plain_json(value: Any) -> Any:
    """The same JSON value without what no database text or JSON column holds: NUL, half characters, infinities.

    They are shown as signs, so that a person sees that something stood there. RecursionError when nested deeper
    than Python reads.
    """
    if isinstance(value, str):
        return value.replace("\x00", "\u2400").encode("utf-8", "replace").decode("utf-8")
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if isinstance(value, list):
        return [plain_json(v) for v in value]
    if isinstance(value, dict):
        return {plain_json(str(k)): plain_json(v) for k, v in value.items()}
    return value


def read_entry(sent: Mapping[str, Any], identity: uuid.UUID) -> tuple[EntryRead | None, list[str]]:
    """The entry and no problems, or None and every problem found."""
    problems: list[str] = []
    kind = sent.get("kind")
    if kind not in KINDS:
        problems.append(f"kind: found {_shown(kind)}, expected one of {', '.join(KINDS)}")
    read = EntryRead(
        id=identity,
        assessment=_integer(sent, "assessment", problems),
        tree=_code(sent, "tree", problems) or "",
        trait=_code(sent, "trait", problems, needed=kind == "value"),
        kind=str(kind),
        number=_number(sent, problems),
        text=_text(sent, problems),
        confirmed=_truth(sent, problems),
        corrects=_corrected(sent, problems),
        sequence=_integer(sent, "sequence", problems),
        entered_at=_time(sent, problems),
    )
    problems += _kind_problems(read)
    return (None, problems) if problems else (read, [])


def value_of(read: EntryRead, rule: TraitRule) -> tuple[float | None, str | None, str | None]:
    """(number, text, None) as it is stored in a trait, or (None, None, problem).

    Yes and no may come as 1 and 0 or as these words; they are stored as 1 and 0. Limits are not looked at: they
    are asked about where the value is typed.
    """
    if rule.kind == "text":
        if read.text is None:
            return None, None, f"value: found {_shown(read.number)}, expected a text"
        return None, read.text, None
    number = read.number
    if rule.kind == "yes_no" and number is None and read.text is not None:
        number = YES_NO.get(read.text.strip().casefold())
    if number is None:
        wanted = "yes or no" if rule.kind == "yes_no" else "a number"
        return None, None, f"value: found {_shown(read.text)}, expected {wanted}"
    if rule.kind == "yes_no" and number not in (0.0, 1.0):
        return None, None, f"value: found {number:g}, expected yes (1) or no (0)"
    if rule.kind == "ordinal" and number not in (rule.points or (round(number),)):
        points = ", ".join(f"{p:g}" for p in rule.points) or "a whole number"
        return None, None, f"value: found {number:g}, expected a point of the scale: {points}"
    return number, None, None


def _kind_problems(read: EntryRead) -> list[str]:
    if read.kind == "value":
        if (read.number is None) == (read.text is None):
            return ["value: expected a number or a text, one of them"]
        return []
    problems = []
    if read.trait is not None:
        problems.append(f"trait: found {_shown(read.trait)}, expected none for “{read.kind}”")
    if read.number is not None:
        problems.append(f"number: found {read.number:g}, expected none for “{read.kind}”")
    if read.kind == "note" and not (read.text or "").strip():
        problems.append("text: found nothing, expected the words of the note")
    return problems


def _integer(sent: Mapping[str, Any], name: str, problems: list[str]) -> int:
    value = sent.get(name)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= MOST_INTEGER:
        problems.append(f"{name}: found {_shown(value)}, expected a whole number, not negative")
        return 0
    return value


def _code(sent: Mapping[str, Any], name: str, problems: list[str], needed: bool = True) -> str | None:
    value = sent.get(name)
    if value is None and not needed:
        return None
    if not isinstance(value, str) or not 0 < len(value) <= LONGEST_CODE:
        problems.append(f"{name}: found {_shown(value)}, expected the code of a {name}")
        return None
    return value


def _number(sent: Mapping[str, Any], problems: list[str]) -> float | None:
    value = sent.get("number")
    if value is None:
        return None
    # An integer of a thousand digits does not fit a float: compare first.
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < MOST_NUMBER:
        problems.append(f"number: found {_shown(value)}, expected a number")
        return None
    return float(value)


def _text(sent: Mapping[str, Any], problems: list[str]) -> str | None:
    value = sent.get("text")
    if value is not None and not isinstance(value, str):
        problems.append(f"text: found {_shown(value)}, expected a text")
        return None
    if value is not None and len(value) > LONGEST_TEXT:
        problems.append(f"text: found {len(value)} characters, expected at most {LONGEST_TEXT}")
        return None
    return value


def _truth(sent: Mapping[str, Any], problems: list[str]) -> bool:
    value = sent.get("confirmed")
    if value is not None and not isinstance(value, bool):
        problems.append(f"confirmed: found {_shown(value)}, expected true or false")
    return value is True


def _corrected(sent: Mapping[str, Any], problems: list[str]) -> uuid.UUID | None:
    value = sent.get("corrects")
    found = read_id(value)
    if value is not None and found is None:
        problems.append(f"corrects: found {_shown(value)}, expected the id of an entry")
    return found


def _time(sent: Mapping[str, Any], problems: list[str]) -> dt.datetime | None:
    """The phone's clock. Wrong is no matter, unreadable is."""
    value = sent.get("entered_at")
    found = read_time(value)
    if value is not None and found is None:
        problems.append(f"entered_at: found {_shown(value)}, expected a time such as 2026-05-04T10:30:00Z")
    return found


def _shown(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, int) and abs(value) > MOST_INTEGER:
        return "a number too large"
    text = repr(value) if not isinstance(value, Sequence | Mapping) or isinstance(value, str) else "a list"
    return text if len(text) <= 60 else text[:60] + "…"

"""Reading tally entries as a scanner's page sends them: JSON objects from outside, of which nothing is taken on trust.

What can be read becomes a `TallyRead`; what cannot keeps its reasons, in words for the person who will settle it.
Whether the log, the label and the board exist is asked later.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sawing.calc.label_code import LabelCode, LabelCodeError, decode
from sawing.columns import LONGEST_LOG_M, SHORTEST_M, THICKNESS_MM, WIDTH_MM
from trials.calc.entry_reading import EARLIEST, LATEST, LONGEST_TEXT, MOST_INTEGER, read_id

__all__ = ["KINDS", "SIZES", "TallyRead", "read_id", "read_tally"]

KINDS = ("board", "withdraw", "note")
LONGEST_NAME = 64
MOST_CODES = 64
SIZES = {"thickness_mm": THICKNESS_MM, "width_mm": WIDTH_MM, "length_m": (SHORTEST_M, LONGEST_LOG_M)}


@dataclass(frozen=True)
class TallyRead:
    """An entry in its types. A board has all three sizes and a log, a code or a name of its own; `board` is the
    whole code of the board when it was typed, None when it follows from the label."""

    id: uuid.UUID
    kind: str
    log: str | None
    board: str | None
    flitch: str | None
    piece: str | None
    codes: tuple[LabelCode, ...]
    thickness_mm: float | None
    width_mm: float | None
    length_m: float | None
    text: str
    confirmed: bool
    sequence: int
    entered_at: dt.datetime | None


def read_tally(sent: Mapping[str, Any], identity: uuid.UUID) -> tuple[TallyRead | None, list[str]]:
    """The entry and no problems, or None and every problem found."""
    problems: list[str] = []
    kind = sent.get("kind")
    if kind not in KINDS:
        problems.append(f"kind: found {_shown(kind)}, expected one of {', '.join(KINDS)}")
    sizes = {name: _size(sent, name, problems) if kind == "board" else None for name in SIZES}
    read = TallyRead(
        id=identity,
        kind=str(kind),
        log=_name(sent, "log", problems),
        board=_name(sent, "board", problems),
        flitch=_name(sent, "flitch", problems),
        piece=_name(sent, "piece", problems),
        codes=_codes(sent, problems),
        **sizes,
        text=_text(sent, problems),
        confirmed=_truth(sent, problems),
        sequence=_sequence(sent, problems),
        entered_at=_time(sent, problems),
    )
    problems += _kind_problems(read)
    return (None, problems) if problems else (read, [])


def _kind_problems(read: TallyRead) -> list[str]:
    problems = []
    if read.kind in ("board", "withdraw") and read.board is None and not read.codes:
        problems.append("board: found neither a label's code nor a typed one, expected one of them")
    if read.kind == "board" and read.log is None and not read.codes:
        problems.append("log: found nothing, expected the code of a log or a label's code")
    if read.kind == "note" and not read.text.strip():
        problems.append("text: found nothing, expected the words of the note")
    return problems


def _size(sent: Mapping[str, Any], name: str, problems: list[str]) -> float | None:
    low, high = SIZES[name]
    value = sent.get(name)
    # An integer of a thousand digits does not fit a float: the comparison comes first.
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        problems.append(f"{name}: found {_shown(value)}, expected a number from {low:g} to {high:g}")
        return None
    return float(value)


def _name(sent: Mapping[str, Any], name: str, problems: list[str]) -> str | None:
    value = sent.get(name)
    if value is None or value == "":
        return None
    if not isinstance(value, str) or not value.strip() or len(value.strip()) > LONGEST_NAME:
        problems.append(f"{name}: found {_shown(value)}, expected a code of at most {LONGEST_NAME} letters")
        return None
    return value.strip()


def _codes(sent: Mapping[str, Any], problems: list[str]) -> tuple[LabelCode, ...]:
    """The label's codes in the order read, each once; a scanner may read the same twice."""
    value = sent.get("codes")
    if value is None:
        return ()
    if not isinstance(value, list) or len(value) > MOST_CODES:
        problems.append(f"codes: expected a list of at most {MOST_CODES} label codes")
        return ()
    found: dict[LabelCode, None] = {}
    for text in value:
        try:
            found[decode(text if isinstance(text, str) else _shown(text))] = None
        except LabelCodeError as error:
            problems.append(f"codes: {error}")
    if len({code.serial for code in found}) > 1:
        problems.append("codes: found labels of several logs, expected those of one board")
    return tuple(found)


def _text(sent: Mapping[str, Any], problems: list[str]) -> str:
    value = sent.get("text")
    if value is None:
        return ""
    if not isinstance(value, str) or len(value) > LONGEST_TEXT:
        problems.append(f"text: expected a text of at most {LONGEST_TEXT} letters")
        return ""
    return value


def _truth(sent: Mapping[str, Any], problems: list[str]) -> bool:
    value = sent.get("confirmed")
    if value is not None and not isinstance(value, bool):
        problems.append(f"confirmed: found {_shown(value)}, expected true or false")
    return value is True


def _sequence(sent: Mapping[str, Any], problems: list[str]) -> int:
    value = sent.get("sequence")
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= MOST_INTEGER:
        problems.append(f"sequence: found {_shown(value)}, expected a whole number, not negative")
        return 0
    return value


def _time(sent: Mapping[str, Any], problems: list[str]) -> dt.datetime | None:
    """The scanner's clock. Wrong is no matter, unreadable is."""
    value = sent.get("entered_at")
    if value is None:
        return None
    try:
        found = dt.datetime.fromisoformat(value)
        found = found if found.tzinfo else found.replace(tzinfo=dt.UTC)
        if EARLIEST <= found <= LATEST:
            return found
    except (TypeError, ValueError, OverflowError):
        pass
    problems.append(f"entered_at: found {_shown(value)}, expected a time such as 2026-05-04T10:30:00Z")
    return None


def _shown(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, list | dict):
        return "a list"
    if isinstance(value, int) and abs(value) > MOST_INTEGER:
        return "a number too large"
    text = repr(value)
    return text if len(text) <= 60 else text[:60] + "…"

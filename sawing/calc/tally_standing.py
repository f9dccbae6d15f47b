"""Which tally entries stand: the rules for what several scanners said of one board.

The standings are a function of all that was said, not of the order in which it came, but that of several scanners
that agree the one that stood goes on standing. A lane is one voice: a scanner, or the file that a board came by.
In a lane the latest entry speaks. A scanner that withdraws what it said itself falls silent; one that withdraws what
only others said contradicts them. Lanes that say the same repeat each other; lanes that differ are in dispute until
a person sets one of them aside. Our own rules; no outside source.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass

BOARD, WITHDRAW = "board", "withdraw"
CURRENT, REPLACED, REPEATED = "current", "replaced", "repeated"
DISPUTED, WITHDRAWN, SET_ASIDE = "disputed", "withdrawn", "set_aside"
COUNTS = frozenset({CURRENT, REPEATED, DISPUTED})
"""Standings of an entry for whose sake there is a board."""


@dataclass(frozen=True)
class Said:
    """One entry of a board as the rules see it.

    `arrived` orders entries as the server took them, `sequence` as the lane made them. `value` is comparable: see
    `comparable`. `standing` is what it was so far, None for a new entry.
    """

    id: Hashable
    kind: str
    value: Hashable
    lane: Hashable
    sequence: int
    arrived: int
    standing: str | None = None


def comparable(thickness_mm: float, width_mm: float, length_m: float) -> tuple[float, float, float]:
    """Sizes as two scanners are compared: to 0.1 mm, and the length to the millimetre. Rounded, not subtracted, so
    that "the same" holds between any number of scanners."""
    return round(thickness_mm, 1), round(width_mm, 1), round(length_m, 3)


def standings(entries: Iterable[Said]) -> dict[Hashable, str]:
    """The standing of every entry of one board, by id.

    Entries set aside stay so, and still replace what their lane said before them; only a person changes that, by
    giving them another `standing` before asking again.
    """
    lanes: dict[Hashable, list[Said]] = {}
    for entry in entries:
        lanes.setdefault(entry.lane, []).append(entry)
    result: dict[Hashable, str] = {}
    boards: list[Said] = []
    contradictions: list[Said] = []
    for lane in lanes.values():
        lane.sort(key=lambda e: (e.sequence, e.arrived))
        *earlier, head = lane
        result |= {e.id: SET_ASIDE if e.standing == SET_ASIDE else REPLACED for e in earlier}
        if head.standing == SET_ASIDE:
            result[head.id] = SET_ASIDE
        elif head.kind == BOARD:
            boards.append(head)
        elif own := [e for e in earlier if e.kind == BOARD and e.standing != SET_ASIDE]:
            result[own[-1].id] = WITHDRAWN
            result[head.id] = CURRENT
        else:
            contradictions.append(head)
    return result | _between_lanes(boards, contradictions)


def _between_lanes(boards: Sequence[Said], contradictions: Sequence[Said]) -> dict[Hashable, str]:
    """Standings of what the lanes are left with: boards, and withdrawals of what only others said."""
    heads = [*boards, *contradictions]
    if not heads:
        return {}
    if (boards and contradictions) or len({e.value for e in boards}) > 1:
        return {e.id: DISPUTED for e in heads}
    first = min(heads, key=lambda e: (e.standing != CURRENT, e.arrived))
    return {e.id: CURRENT if e.id == first.id else REPEATED for e in heads}

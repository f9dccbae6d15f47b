"""What can be seen on a board, as words: kinds of features, their groups, and the surfaces they lie on.

The vocabulary is that of the trade and of the open standards: sound, dead and bark-encased knots, pockets,
checks, splits, shakes, wane, slope of grain and so on; the names of the surfaces are our own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

Measure = Literal["across", "along", "percent", "mm", "warp", "presence"]
"""What a kind's governing size is: its extent across or along the grain, a percentage, another number of mm
(ring width), a deviation from straight, or nothing but its being there."""

FACES: Final = ("face1", "face2", "edge1", "edge2", "piece")
"""face1 and face2: the wide faces; edge1: the edge at y = 0; edge2: the edge at y = width; piece: all of the board,
or no surface in particular."""


@dataclass(frozen=True)
class FeatureKind:
    """One kind of feature. `look`: what a person looks for when finding it; one look settles all kinds that share
    it, so a board with a row for a dead knot has been looked over for knots of every kind."""

    code: str
    title: str
    group: str
    measure: Measure
    look: str


def _kinds(group: str, measure: Measure, look: str | None, *titles: str) -> tuple[FeatureKind, ...]:
    codes = [title.replace(" ", "_").replace("-", "_") for title in titles]
    return tuple(FeatureKind(c, t, group, measure, look or c) for c, t in zip(codes, titles, strict=True))


KINDS: Final = (
    *_kinds("knots", "across", "knots", "sound knot", "dead knot", "encased knot", "loose knot", "knot hole"),
    *_kinds("fissures", "along", None, "check", "split", "end split", "ring shake", "lightning shake"),
    *_kinds("pockets", "along", None, "resin pocket", "bark pocket"),
    *_kinds("outline", "across", None, "wane"),
    *_kinds("wood", "presence", None, "pith", "resin wood", "compression wood", "curly grain", "top rupture"),
    *_kinds("wood", "percent", None, "slope of grain"),
    *_kinds("wood", "mm", None, "ring width"),
    *_kinds("wood", "across", None, "sapwood"),
    *_kinds("rot", "presence", "rot", "decay", "soft rot"),
    *_kinds("stain", "presence", "stain", "surface blue stain", "deep blue stain", "firm discolouration"),
    *_kinds("insects", "across", None, "insect hole"),
    *_kinds("warp", "warp", None, "bow", "spring", "twist", "cup"),
)
"""Every kind, in the order of the choices on pages and files."""

BY_CODE: Final = {kind.code: kind for kind in KINDS}
NUMBER_OF: Final = {kind.code: number for number, kind in enumerate(KINDS)}
GROUPS: Final = tuple(dict.fromkeys(kind.group for kind in KINDS))
NAMES: Final = (*BY_CODE, *GROUPS)
"""What may stand in a column of kinds: kinds, and groups (in rows that say nothing was found)."""


def members(name: str) -> tuple[str, ...]:
    """The kinds that a name stands for: the kind itself, or every kind of a group. ValueError for another word."""
    if name in BY_CODE:
        return (name,)
    if name in GROUPS:
        return tuple(kind.code for kind in KINDS if kind.group == name)
    raise ValueError(f"{name!r} is no kind of feature; one of: {', '.join(NAMES)}")


def members_of(names: Iterable[str]) -> tuple[str, ...]:
    """The kinds that several names stand for, each once, in the order of `KINDS`. ValueError for another word."""
    found = {code for name in names for code in members(name)}
    return tuple(kind.code for kind in KINDS if kind.code in found)


def looked_for(names: Iterable[str]) -> frozenset[str]:
    """Every kind that is settled once these kinds or groups were looked for. ValueError for another word."""
    looks = {BY_CODE[code].look for code in members_of(names)}
    return frozenset(kind.code for kind in KINDS if kind.look in looks)


def title_of(code: str) -> str:
    """A kind in words: "resin_pocket" gives "resin pocket"."""
    return BY_CODE[code].title

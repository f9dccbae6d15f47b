"""Features as typed at the bench: one line each, short words for kinds and surfaces.

`ek 22 1240 f1 62` is an encased knot of 22 mm, 1240 mm from the butt on face 1, 62 mm from edge 1. After the kind come
numbers in the order size, place along, place across; f1, f2, e1, e2 name the surface, l180 a length along the grain.
`no ek` says that the kind was looked for and not found. Full names and groups (`no knots`) do as well.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any, Final

from grading.calc.feature_kinds import BY_CODE, GROUPS, FeatureKind

SHORT: Final = {
    "sk": "sound_knot",
    "dk": "dead_knot",
    "ek": "encased_knot",
    "lk": "loose_knot",
    "kh": "knot_hole",
    "ch": "check",
    "sp": "split",
    "es": "end_split",
    "rs": "ring_shake",
    "ls": "lightning_shake",
    "rp": "resin_pocket",
    "bp": "bark_pocket",
    "wa": "wane",
    "pi": "pith",
    "rw": "resin_wood",
    "cw": "compression_wood",
    "cg": "curly_grain",
    "tr": "top_rupture",
    "sg": "slope_of_grain",
    "ri": "ring_width",
    "sw": "sapwood",
    "de": "decay",
    "so": "soft_rot",
    "bs": "surface_blue_stain",
    "db": "deep_blue_stain",
    "fd": "firm_discolouration",
    "ih": "insect_hole",
    "bo": "bow",
    "sr": "spring",
    "tw": "twist",
    "cu": "cup",
}
"""Short word of each kind, our own."""
SHORT_OF: Final = {code: short for short, code in SHORT.items()}
SURFACES: Final = {"f1": "face1", "f2": "face2", "e1": "edge1", "e2": "edge2", "p": "piece"}
NEEDS_A_PLACE: Final = frozenset({"knots", "pockets", "insects"})
ON_THE_PIECE: Final = frozenset({"percent", "mm", "warp", "presence"})
NUMBER: Final = re.compile(r"\d+(?:[.,]\d+)?")


class NotUnderstood(ValueError):
    """A line that cannot be read; the text says what was expected."""


@dataclass(frozen=True)
class Sizes:
    """The board a line is about, in mm: what its places are held against."""

    length_mm: float
    width_mm: float
    thickness_mm: float


def read_line(line: str, board: Sizes) -> dict[str, Any]:
    """One typed line as a row of a features file, without its board; absent columns were not given.

    :raises NotUnderstood: with what was expected.
    """
    words = line.casefold().replace(";", " ").split()
    if not words:
        raise NotUnderstood("an empty line")
    if words[0] == "no":
        return _none_found(words[1:])
    kind = _kind(words[0])
    row: dict[str, Any] = {"kind": kind.code}
    given: list[float] = []
    for word in words[1:]:
        if word in SURFACES:
            row["face"] = SURFACES[word]
        elif word.startswith("l") and NUMBER.fullmatch(word[1:]):
            row["length_mm"] = _number(word[1:])
        elif NUMBER.fullmatch(word.removesuffix("%").removesuffix("mm")):
            given.append(_number(word.removesuffix("%").removesuffix("mm")))
        else:
            raise NotUnderstood(
                f"“{word}” is no number, no surface ({', '.join(SURFACES)}) and no length such as l180"
            )
    _measures(row, kind, given)
    _face(row, kind)
    _within(row, kind, board)
    return row


def written(row: dict[str, Any]) -> str:
    """A row of a features file as the line that gives it."""
    kind = str(row["kind"])
    if row.get("size_mm") == 0:
        return f"no {SHORT_OF.get(kind, kind)}"
    size = next((row[n] for n in ("size_mm", "width_mm", "percent", "length_mm") if _there(row.get(n))), None)
    surface = {v: k for k, v in SURFACES.items()}[str(row["face"])]
    values = [SHORT_OF[kind], size, row.get("x_mm"), surface, row.get("y_mm")]
    return " ".join(v if isinstance(v, str) else f"{v:g}" for v in values if _there(v))


def _there(value: object) -> bool:
    return value is not None and not (isinstance(value, float) and math.isnan(value))


def _none_found(words: list[str]) -> dict[str, Any]:
    if len(words) != 1:
        raise NotUnderstood("“no” and then one kind or group, for example “no knots”")
    name = SHORT.get(words[0], words[0].replace("-", "_"))
    if name not in BY_CODE and name not in GROUPS:
        raise NotUnderstood(f"“{words[0]}” is no kind and no group of kinds")
    return {"kind": name, "face": "piece", "size_mm": 0.0}


def _kind(word: str) -> FeatureKind:
    code = SHORT.get(word, word.replace("-", "_"))
    if code in GROUPS:
        raise NotUnderstood(
            f"name the kind: {', '.join(k for k, v in SHORT.items() if BY_CODE[v].group == code)}"
        )
    if code not in BY_CODE:
        raise NotUnderstood(f"“{word}” is no kind of feature")
    return BY_CODE[code]


def _number(word: str) -> float:
    return float(word.replace(",", "."))


def _measures(row: dict[str, Any], kind: FeatureKind, given: list[float]) -> None:
    """Put the numbers where a features file has them: a size first, unless the kind has none."""
    names = ["x_mm", "y_mm"]
    if kind.measure != "presence":
        name = {"percent": "percent", "along": "length_mm"}.get(kind.measure, "size_mm")
        if name == "length_mm" and "length_mm" in row:
            raise NotUnderstood(f"the first number of a {kind.title} is its length already")
        names.insert(0, name)
        if not given:
            raise NotUnderstood(f"a size for {kind.title}, then its place: size, along, surface, across")
    if len(given) > len(names):
        raise NotUnderstood(f"at most {len(names)} numbers for {kind.title}")
    row.update(zip(names, given, strict=False))
    if kind.group == "knots" and "size_mm" in row:
        row["width_mm"] = row.pop("size_mm")
    if (kind.group in NEEDS_A_PLACE or kind.code == "check") and "x_mm" not in row:
        raise NotUnderstood(f"where along the board the {kind.title} is, in mm from the butt end")
    if any(row.get(n) == 0 for n in ("size_mm", "width_mm", "length_mm")):
        raise NotUnderstood(
            f"a size above 0; “no {SHORT_OF[kind.code]}” when it was looked for and not found"
        )


def _face(row: dict[str, Any], kind: FeatureKind) -> None:
    if "face" not in row:
        whole = kind.measure in ON_THE_PIECE or kind.code in ("split", "end_split")
        row["face"] = "edge1" if kind.code == "wane" else "piece" if whole else "face1"


def _within(row: dict[str, Any], kind: FeatureKind, board: Sizes) -> None:
    """Places and sizes that the board has no room for."""
    across = board.thickness_mm if row["face"].startswith("edge") else board.width_mm
    for name, most, what in (
        ("x_mm", board.length_mm, "the board is {:g} mm long"),
        ("y_mm", across, "the surface is {:g} mm wide"),
        ("width_mm", across, "the surface is {:g} mm wide"),
        ("length_mm", board.length_mm, "the board is {:g} mm long"),
        ("percent", 100.0, "at most {:g} %"),
    ):
        if row.get(name, 0.0) > most + 0.5:
            raise NotUnderstood(f"{row[name]:g} is too much: {what.format(most)}")
    if kind.code == "wane" and row["size_mm"] > board.thickness_mm + 0.5:
        raise NotUnderstood(f"wane of {row['size_mm']:g} mm: the board is {board.thickness_mm:g} mm thick")

"""Grading rules as data: grades, limits on features, sizes of pieces. Checked when they are read.

A document (TOML, or the same as JSON) has `grades`, best first; `limits`, each a table of the limit by grade for some
kinds of features; and `piece`, the sizes a piece may have. A limit's value is a number or fraction ("1/3"), "any"
(no limit), "none" (the feature is not allowed), or "" (not filled in: the grade then cannot be given). Each limit
carries its origin (found, from memory, own …), its source and its clause.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final, Literal

Place = Literal["any", "face", "better_face", "edge", "margin"]
Metric = Literal[
    "presence",
    "size_mm",
    "length_mm",
    "dimension_ratio",
    "thickness_ratio",
    "depth_ratio",
    "area_ratio",
    "percent",
    "count",
    "length_share",
    "warp_mm",
]
PLACES: Final = ("any", "face", "better_face", "edge", "margin")
METRICS: Final[dict[str, str]] = {
    "presence": "",
    "size_mm": "mm",
    "length_mm": "mm",
    "dimension_ratio": "of the surface it lies on",
    "thickness_ratio": "of the thickness",
    "depth_ratio": "of the thickness",
    "area_ratio": "of the cross-section",
    "percent": "%",
    "count": "",
    "length_share": "of the length",
    "warp_mm": "mm",
}
"""Metric and its unit in words. presence: it is there. size_mm: governing size. length_mm: length along the grain.
dimension_ratio: size / width of the piece on its faces, size / thickness on its edges. thickness_ratio: size /
thickness. depth_ratio: depth below the surface / thickness. area_ratio: projected area / cross-section. percent: as
written. count: number of features. length_share: share of the piece's length over which it runs. warp_mm: deviation
from straight."""

ORIGINS: Final = ("found", "computed", "from memory", "common practice", "own")
WARP_KINDS: Final = ("bow", "spring", "twist", "cup")


@dataclass(frozen=True)
class Limit:
    """One limit of one grade.

    `limit`: inf is no limit, NaN is not filled in, and presence has 0 or inf. `window_mm`: when given, the sum (or
    the number) of all features that touch a window of this length counts, 0 meaning one cross-section; otherwise each
    feature counts alone. `below_mm`: smaller features are ignored. `when_margin_above`: the limit holds only where the
    features fill more than this share of an outer quarter of the width. `over_mm`: warp is meant over this length, or
    over the piece's own where it is shorter or this is not given; `per_width_mm`: the warp limit is meant for each so
    much width.
    """

    grade: str
    kinds: tuple[str, ...]
    place: Place
    metric: Metric
    limit: float
    origin: str
    source: str
    clause: str
    window_mm: float | None = None
    below_mm: float = 0.0
    when_margin_above: float | None = None
    over_mm: float | None = None
    per_width_mm: float | None = None

    @property
    def unlimited(self) -> bool:
        """Whether it lets everything pass."""
        return math.isinf(self.limit)

    @property
    def filled_in(self) -> bool:
        """Whether it has a value at all."""
        return not math.isnan(self.limit)

    def text(self) -> str:
        """The limit in words, for example "at most 25 mm", "none"."""
        if not self.filled_in:
            return "not filled in"
        if self.unlimited:
            return "any"
        if self.metric == "presence" or (self.limit == 0 and self.window_mm is None):
            return "none"
        value = f"{100 * self.limit:g} %" if self.metric.endswith(("ratio", "share")) else f"{self.limit:g}"
        words = ["at most", value, METRICS[self.metric]]
        if self.window_mm == 0:
            words.append("in one cross-section")
        elif self.window_mm is not None:
            words.append(f"in any {self.window_mm:g} mm")
        if self.per_width_mm:
            words.append(f"per {self.per_width_mm:g} mm of width")
        if self.over_mm:
            words.append(f"over {self.over_mm / 1000:g} m")
        return " ".join(word for word in words if word)


@dataclass(frozen=True)
class GradeRule:
    """A grade by name; `reject` accepts nothing and has no limits; pieces are at least `min_length_mm` long."""

    code: str
    title: str
    description: str
    reject: bool
    min_length_mm: float


@dataclass(frozen=True)
class PieceSizes:
    """Sizes a piece may have.

    Its length is a multiple of `length_module_mm` and takes `length_allowance_mm` more of the board; it starts at a
    multiple of `cut_step_mm` from the butt end. Its width is one of `widths_mm`, for which it takes
    width × (1 + `width_allowance_share`) + `width_allowance_mm` of the board; without `widths_mm` any strip between
    two lines of the rip lattice. With `keep_full_width` the board's own full width is always one choice; without
    `may_rip` the only one. Strips start at a multiple of `rip_step_mm` from edge 1, or end at edge 2.
    `margin_share`: the part of the piece's width on each side that is its margin. `may_split`: a board may give several
    pieces one behind the other, `kerf_mm` apart.
    """

    length_module_mm: float = 100.0
    cut_step_mm: float = 50.0
    min_length_mm: float = 900.0
    length_allowance_mm: float = 0.0
    widths_mm: tuple[float, ...] = ()
    width_allowance_mm: float = 0.0
    width_allowance_share: float = 0.0
    min_width_mm: float = 50.0
    rip_step_mm: float = 25.0
    keep_full_width: bool = True
    may_rip: bool = True
    margin_share: float = 0.25
    may_split: bool = False
    kerf_mm: float = 4.0


@dataclass(frozen=True)
class Price:
    """Price per m3 of a grade for booked widths from `min_width_mm` (included) to `max_width_mm` (not included), for
    thicknesses from `min_thickness_mm` up."""

    grade: str
    price_per_m3: float
    min_width_mm: float = -math.inf
    max_width_mm: float = math.inf
    min_thickness_mm: float = -math.inf


@dataclass(frozen=True)
class GradingRules:
    """A rule set that can grade: grades best first, limits, sizes of pieces, and prices if it brings its own."""

    code: str
    title: str
    version: int
    grades: tuple[GradeRule, ...]
    limits: tuple[Limit, ...]
    piece: PieceSizes
    prices: tuple[Price, ...] = ()
    purpose: str = "other"
    origin: str = ""
    caution: str = ""
    edition: str = ""
    by_grade: dict[str, tuple[Limit, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        table = {g.code: tuple(m for m in self.limits if m.grade == g.code) for g in self.grades}
        object.__setattr__(self, "by_grade", table)

    @property
    def accepting(self) -> tuple[GradeRule, ...]:
        """The grades that accept something, best first."""
        return tuple(g for g in self.grades if not g.reject)

    @property
    def reject(self) -> str | None:
        """The first grade that rejects, if there is one."""
        return next((g.code for g in self.grades if g.reject), None)

    @property
    def gradable(self) -> bool:
        """Whether at least one grade has all of its limits filled in."""
        return any(not self.unfilled(g.code) for g in self.accepting)

    @property
    def from_memory(self) -> bool:
        """Whether a limit comes from memory: caution C12 then stands beside its grades."""
        return any(limit.origin == "from memory" for limit in self.limits)

    def unfilled(self, grade: str) -> tuple[Limit, ...]:
        """The limits of a grade that have no value yet."""
        return tuple(limit for limit in self.by_grade[grade] if not limit.filled_in)

    def needed(self, grade: str) -> frozenset[str]:
        """The kinds that must have been looked for before a board can have this grade: those it limits."""
        return frozenset(k for limit in self.by_grade[grade] if not limit.unlimited for k in limit.kinds)

"""Grading the slow and obvious way: every piece that can be cut and ripped is held against every limit.

Written apart from the compiled search, from the words of docs/methods.md, on plain rows of a features file.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from grading.calc.rule_limits import GradeRule, GradingRules, Limit, Price

Row = dict[str, Any]
ALONG = ("check", "split", "end_split", "ring_shake", "lightning_shake", "resin_pocket", "bark_pocket")
ROUND = ("sound_knot", "dead_knot", "encased_knot", "loose_knot", "knot_hole", "insect_hole")
ACROSS = (*ROUND, "wane", "sapwood")
WARP = ("bow", "spring", "twist", "cup")
SLACK = 1e-7


@dataclass(frozen=True)
class Board:
    length: float
    width: float
    thickness: float


@dataclass(frozen=True)
class Cut:
    """A piece: from, to along the board and across it, and its booked width."""

    x0: float
    x1: float
    y0: float
    y1: float
    booked: float


@dataclass(frozen=True)
class Seen:
    """A row of a file as it lies on a board."""

    kind: str
    face: str
    x: tuple[float, float]
    y: tuple[float, float]
    size: float | None
    length: float
    row: Row


def seen(row: Row, board: Board) -> Seen | None:
    """Where a row lies, None when it says that nothing was found."""
    kind, face = row["kind"], row["face"]
    size, length, width = row.get("size_mm"), row.get("length_mm"), row.get("width_mm")
    if size == 0:
        return None
    if size is None and kind in ACROSS:
        size = width
    if size is None and kind in ALONG:
        size = length
    if length is None and kind in (*ROUND, *ALONG):
        length = size
    if width is None:
        width = size if kind in ACROSS else 1.0 if kind in ALONG else None
    x, y = row.get("x_mm"), row.get("y_mm")
    along = (0.0, board.length)
    if x is not None and length is not None and kind not in WARP:
        along = (x - max(length, 1) / 2, x + max(length, 1) / 2)
    across = (0.0, board.width)
    if y is not None and width is not None and face != "piece" and kind not in WARP:
        across = (y - max(width, 1) / 2, y + max(width, 1) / 2)
    depth = row.get("depth_mm") or 1e-6
    if face == "edge1":
        across = (-1.0, depth)
    if face == "edge2":
        across = (board.width - depth, board.width + 1)
    return Seen(kind, face, along, across, size, board.length if length is None else length, row)


def _touch(a: tuple[float, float], low: float, high: float) -> bool:
    return a[0] < high and a[1] > low


def _cut_through(f: Seen, cut: Cut, board: Board) -> bool:
    """Whether a feature of a wide face is cut by an edge that ripping makes."""
    if f.face not in ("face1", "face2"):
        return False
    new = [y for y, old in ((cut.y0, 0.0), (cut.y1, board.width)) if abs(y - old) > SLACK]
    return any(f.y[0] < y < f.y[1] for y in new)


def concerned(limit: Limit, f: Seen, cut: Cut, board: Board, better: str, share: float) -> bool:
    """Whether a limit looks at a feature of a piece."""
    if f.kind not in limit.kinds or (f.size is not None and f.size < limit.below_mm):
        return False
    if not _touch(f.y, cut.y0, cut.y1) or not _touch(f.x, cut.x0, cut.x1):
        return False
    edge = f.face in ("edge1", "edge2")
    if limit.place == "face":
        return not edge
    if limit.place == "better_face":
        return f.face in (better, "piece")
    if limit.place == "edge":
        return edge or _cut_through(f, cut, board)
    if limit.place == "margin":
        margin = share * (cut.y1 - cut.y0)
        return edge or f.y[0] < cut.y0 + margin or f.y[1] > cut.y1 - margin
    return True


def measure(limit: Limit, f: Seen, cut: Cut, board: Board) -> float:
    """What a feature counts under a limit; 0 where its measure is missing."""
    width, size = cut.y1 - cut.y0, f.size
    if limit.metric in ("presence", "count"):
        return 1.0
    if limit.metric == "length_mm":
        return f.length
    if limit.metric == "depth_ratio":
        return (f.row.get("depth_mm") or 0.0) / board.thickness
    if limit.metric == "percent":
        return f.row.get("percent") or 0.0
    if limit.metric == "area_ratio":
        return min(1.0, (f.row.get("percent") or 0.0) / 100 * board.width / width)
    if size is None:
        return 0.0
    if limit.metric == "size_mm":
        return size
    if limit.metric == "thickness_ratio" or f.face in ("edge1", "edge2"):
        return size / board.thickness
    new_edge = min(size, board.thickness) / board.thickness if _cut_through(f, cut, board) else 0.0
    if limit.place == "edge":
        return new_edge
    return max(size / width, new_edge if limit.place == "any" else 0.0)


def aside(f: Seen, cut: Cut, board: Board) -> float:
    """Share of an outer quarter of the width that a feature fills; all of it when not known."""
    known = f.row.get("margin_percent")
    return 1.0 if known is None or cut.y1 - cut.y0 < board.width - SLACK else known / 100


def windows(limit: Limit, on: Sequence[Seen], cut: Cut) -> Iterator[list[Seen]]:
    """The features that touch each window within the piece; every different set comes up."""
    assert limit.window_mm is not None
    long = cut.x1 - cut.x0
    if long <= limit.window_mm:
        yield list(on)
        return
    places = {cut.x0, cut.x1 - limit.window_mm}
    for f in on:
        places |= {f.x[1] - 0.125, f.x[0] - limit.window_mm + 0.125}
    for s in places:
        if cut.x0 <= s <= cut.x1 - limit.window_mm:
            ends = max(s + limit.window_mm, s + 1e-9)
            yield [f for f in on if f.x[0] < ends and f.x[1] > s]
    if limit.window_mm == 0:
        yield from ([f] for f in on)


def holds(limit: Limit, features: Sequence[Seen], cut: Cut, board: Board, better: str, share: float) -> bool:
    """Whether a piece keeps a limit."""
    most = limit.limit + SLACK
    if limit.metric == "warp_mm":
        return _warp(limit, features, cut, board)
    on = [f for f in features if concerned(limit, f, cut, board, better, share)]
    if limit.metric == "length_share":
        covered = sum(any(f.x[0] < x + 0.25 < f.x[1] for f in on) * 0.5 for x in _halves(cut.x0, cut.x1))
        return covered / (cut.x1 - cut.x0) <= most
    sets = [[f] for f in on] if limit.window_mm is None else windows(limit, on, cut)
    for chosen in sets:
        beyond = sum(measure(limit, f, cut, board) for f in chosen) > most
        if limit.when_margin_above is not None:
            beyond = beyond and sum(aside(f, cut, board) for f in chosen) > limit.when_margin_above + SLACK
        if beyond:
            return False
    return True


def _halves(low: float, high: float) -> list[float]:
    return [low + i / 2 for i in range(round(2 * (high - low)))]


def _warp(limit: Limit, features: Sequence[Seen], cut: Cut, board: Board) -> bool:
    width, long = cut.y1 - cut.y0, cut.x1 - cut.x0
    over = long if limit.over_mm is None else min(long, limit.over_mm)
    most = limit.limit * (1 if limit.per_width_mm is None else width / limit.per_width_mm) + SLACK
    for f in features:
        if f.kind not in limit.kinds or f.size is None or f.size < limit.below_mm:
            continue
        grown = {
            "bow": (over / f.length) ** 2,
            "spring": (over / f.length) ** 2,
            "twist": over / f.length * width / board.width,
            "cup": (width / board.width) ** 2,
        }[f.kind]
        if f.size * grown > most:
            return False
    return True


def cuts(board: Board, rules: GradingRules, shortest: float) -> Iterator[Cut]:
    """Every piece that the sizes of a rule set allow."""
    p = rules.piece
    strips: dict[tuple[float, float], float] = {}
    if p.may_rip:
        lattice = [i * p.rip_step_mm for i in range(1 + int(board.width / p.rip_step_mm))]
        for booked in p.widths_mm:
            taken = booked * (1 + p.width_allowance_share) + p.width_allowance_mm
            for y0 in [*lattice, board.width - taken]:
                if y0 >= 0 and y0 + taken <= board.width + SLACK:
                    strips[round(y0, 6), round(y0 + taken, 6)] = max(booked, strips.get((y0, y0 + taken), 0))
        if not p.widths_mm:
            for y0 in lattice:
                for y1 in [*lattice, board.width]:
                    if y1 > y0:
                        strips[y0, y1] = y1 - y0
    if p.keep_full_width or not p.may_rip:
        strips[0.0, board.width] = board.width
    for (y0, y1), booked in strips.items():
        if y1 - y0 < p.min_width_mm:
            continue
        for i in range(int(board.length / p.cut_step_mm) + 1):
            k = max(1, math.ceil(shortest / p.length_module_mm))
            x0 = i * p.cut_step_mm
            while (x1 := x0 + k * p.length_module_mm + p.length_allowance_mm) <= board.length + SLACK:
                yield Cut(x0, x1, y0, y1, booked)
                k += 1


def passes(grade: GradeRule, features: Sequence[Seen], cut: Cut, board: Board, rules: GradingRules) -> bool:
    """Whether a piece keeps every limit of a grade, with one and the same better face."""
    limits = [m for m in rules.limits if m.grade == grade.code and not math.isinf(m.limit)]
    share = rules.piece.margin_share
    return any(
        all(holds(m, features, cut, board, face, share) for m in limits) for face in ("face1", "face2")
    )


def price(prices: Sequence[Price], grade: str, booked: float) -> float:
    found = [p for p in prices if p.grade == grade and p.min_width_mm <= booked < p.max_width_mm]
    assert len(found) == 1
    return found[0].price_per_m3


def candidates(
    board: Board, rules: GradingRules, prices: Sequence[Price]
) -> list[tuple[tuple[float, ...], GradeRule, Cut]]:
    """Every grade and piece, the most wanted first; what is wanted is the first entry."""
    found = []
    for rank, grade in enumerate(rules.accepting):
        for cut in cuts(board, rules, grade.min_length_mm):
            long = cut.x1 - cut.x0 - rules.piece.length_allowance_mm
            area = round(long * 10) * round(cut.booked * 10)
            first = (round(price(prices, grade.code, cut.booked) * 100) * area,) if prices else (-rank, area)
            key = (*first, -rank, long, round(cut.y1 - cut.y0, 6), -cut.x0, -cut.y0)
            found.append((key, grade, cut))
    return sorted(found, key=lambda c: c[0], reverse=True)


def best(
    board: Board, rows: Sequence[Row], rules: GradingRules, prices: Sequence[Price]
) -> tuple[GradeRule, Cut] | None:
    """The best grade and piece, None when there is no piece of any grade."""
    features = [f for f in (seen(r, board) for r in rows) if f is not None]
    for _, grade, cut in candidates(board, rules, prices):
        if passes(grade, features, cut, board, rules):
            return grade, cut
    return None


def best_row_of_pieces(
    board: Board, rows: Sequence[Row], rules: GradingRules, prices: Sequence[Price]
) -> float:
    """The most that pieces one behind the other are worth, in price × booked area, by trying every row of pieces."""
    features = [f for f in (seen(r, board) for r in rows) if f is not None]
    worth: dict[tuple[float, float], float] = {}
    for key, grade, cut in candidates(board, rules, prices):
        if (cut.x0, cut.x1) not in worth and passes(grade, features, cut, board, rules):
            worth[cut.x0, cut.x1] = key[0]

    def from_here(x: float) -> float:
        later = [
            value + from_here(x1 + rules.piece.kerf_mm)
            for (x0, x1), value in worth.items()
            if x0 >= x - SLACK
        ]
        return max(later, default=0.0)

    return from_here(0.0)

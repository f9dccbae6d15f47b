"""Dock and edge: the best boards from one flitch, exact over the positions of cuts.

Cuts stand every grid step from the butt end and from the top end. The widest strip of every interval is exact
(dock_strips), every plan on these positions is tried (dock_plans). With keep_end "each" every board keeps one of
the flitch's own ends, so at most two boards come out, and their lengths need no grid: exact over all cuts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sawing.calc.dock_edges import bound_area, bound_local, reach
from sawing.calc.dock_flitch import Flitch
from sawing.calc.dock_plans import best_halves, best_plans, cut_positions, knots_with
from sawing.calc.dock_results import Docked, DockedBoard, DockStatus
from sawing.calc.dock_rules import Rules
from sawing.calc.dock_strips import best_boards, widest_strip
from sawing.calc.dock_worth import Worths, worths_for

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MOST_INTERVALS = 20_000_000
SAME_MM = 1e-6


@dataclass(frozen=True)
class _Piece:
    """A chosen interval: start from the butt end, length, pattern, worth."""

    start: float
    length: float
    pattern: int
    worth: int


@dataclass(frozen=True)
class _Choice:
    """Worths with at most 1, 2, ... boards, the best plan's pieces, and the worth when docked at half length."""

    worths: tuple[int, ...]
    pieces: tuple[_Piece, ...]
    at_middle: int


def dock(flitch: Flitch, rules: Rules) -> Docked:
    """The best plan for a flitch, with its worth for each number of docks and its bounds.

    Raises:
        ValueError: where step, lengths or widths give more cases than can be tried.
    """
    worths = worths_for(rules, flitch.thickness_mm)
    possible = worths.lengths_mm[worths.lengths_mm <= flitch.length_mm + SAME_MM]
    choice = _Choice((0,) * (rules.max_docks + 1), (), 0)
    if possible.size:
        choose = _keeping_ends if rules.keep_end == "each" else _on_positions
        choice = choose(flitch, rules, worths, possible, 0)
    status: DockStatus = "too short" if not possible.size else "ok" if choice.pieces else "no board fits"
    return Docked(
        flitch.flitch,
        flitch.log,
        flitch.thickness_mm,
        status,
        choice.worths,
        choice.at_middle if rules.max_docks else None,
        tuple(_placed(flitch, rules, worths, piece) for piece in choice.pieces),
        bound_local(flitch, rules, worths),
        bound_area(flitch, rules, worths),
    )


def bound_for_any_cut(flitch: Flitch, rules: Rules) -> int | None:
    """A worth that no plan passes wherever it cuts, with the rules' number of docks; None where it does not hold.

    A board on [p, p + L] holds the interval from the next position on, one step shorter, and gaps do not shrink:
    so the same choice among boards one step shorter, each worth its full length, is an upper bound. With keep_end
    "each" the plan itself is exact. Needs boards longer than a step.
    """
    worths = worths_for(rules, flitch.thickness_mm)
    possible = worths.lengths_mm[worths.lengths_mm <= flitch.length_mm + SAME_MM]
    if not possible.size:
        return 0
    if rules.keep_end == "each":
        return _keeping_ends(flitch, rules, worths, possible, 0).worths[-1]
    if possible[0] <= rules.grid_step_mm + SAME_MM:
        return None
    return _on_positions(flitch, rules, worths, possible, 1).worths[-1]


def _on_positions(flitch: Flitch, rules: Rules, worths: Worths, lengths: Floats, shorter: int) -> _Choice:
    """The best plan over all cut positions; boards `shorter` steps shorter than they count, for the bound."""
    total = flitch.length_mm
    positions, stride = cut_positions(total, float(rules.grid_step_mm))
    if positions.size * lengths.size > MOST_INTERVALS:
        raise ValueError(
            f"flitch {flitch.flitch}: {positions.size:,} positions and {lengths.size:,} lengths; expected a larger "
            "grid_step_mm or length_module_mm"
        )
    steps = np.rint(lengths / rules.grid_step_mm).astype(np.int64) - shorter
    shift = steps * stride
    starts = positions.size - int(shift[0])
    x = flitch.x_mm - flitch.x_mm[0]
    value, choice = _best(x, flitch.edges_mm, rules, worths, positions, starts, shift)
    boards = rules.max_docks + 1
    found, first, length, count = best_plans(positions, shift, value, float(rules.crosscut_kerf_mm), boards)
    pieces = [
        _Piece(float(positions[s]), float(lengths[j]), int(choice[s, j]), int(value[s, j]))
        for s, j in zip(first[: count[0]].tolist(), length[: count[0]].tolist(), strict=True)
    ]
    at_middle = best_halves(positions, shift, value, float(rules.crosscut_kerf_mm))
    return _Choice(tuple(found.tolist()), tuple(pieces), at_middle)


def _best(
    x: Floats, stations: Floats, rules: Rules, worths: Worths, positions: Floats, starts: int, shift: Ints
) -> tuple[Ints, Ints]:
    """Best worth and its pattern for each start and length; x and positions rise from 0, stations are the edges."""
    knots, edges, station, place = knots_with(x, stations, positions)
    value = np.zeros((starts, shift.size), np.int64)
    choice = np.full((starts, shift.size), -1, np.int64)
    for table in worths.tables:
        best_boards(
            knots,
            *reach(edges, rules, table.narrowest_mm),
            station,
            place,
            starts,
            shift,
            rules.slope_limit,
            table.need,
            table.worth,
            table.which,
            value,
            choice,
        )
    return value, choice


def _keeping_ends(flitch: Flitch, rules: Rules, worths: Worths, lengths: Floats, shorter: int) -> _Choice:
    """Best board at the butt end, at the top end, or one at each."""
    total = flitch.length_mm
    ends = []
    positions = np.concatenate([[0.0], np.minimum(lengths, total)])
    steps = np.arange(1, lengths.size + 1)
    x, edges = flitch.x_mm - flitch.x_mm[0], flitch.edges_mm
    for at, seen in ((x, edges), (total - x[::-1], np.ascontiguousarray(edges[:, ::-1]))):
        value, choice = _best(at, seen, rules, worths, positions, 1, steps)
        ends.append((value[0], choice[0]))
    (butt, butt_pattern), (top, top_pattern) = ends
    a, b = int(butt.argmax()), int(top.argmax())
    at_butt = _Piece(0.0, float(lengths[a]), int(butt_pattern[a]), int(butt[a]))
    at_top = _Piece(total - float(lengths[b]), float(lengths[b]), int(top_pattern[b]), int(top[b]))
    single = at_butt if at_butt.worth >= at_top.worth else at_top
    room = total - rules.crosscut_kerf_mm - lengths + SAME_MM
    fitting = np.searchsorted(lengths, room, side="right") - 1
    best_top = np.maximum.accumulate(top)
    both = np.where((fitting >= 0) & (butt > 0), butt + best_top[np.maximum(fitting, 0)], 0)
    c = int(both.argmax())
    pair_worth = int(both[c]) if rules.max_docks else 0
    pieces: tuple[_Piece, ...] = (single,) if single.worth > 0 else ()
    if pair_worth > single.worth:
        d = int(top[: fitting[c] + 1].argmax())
        pieces = (
            _Piece(0.0, float(lengths[c]), int(butt_pattern[c]), int(butt[c])),
            _Piece(total - float(lengths[d]), float(lengths[d]), int(top_pattern[d]), int(top[d])),
        )
    best = max(single.worth, pair_worth)
    half = lengths <= total / 2 - rules.crosscut_kerf_mm / 2 + SAME_MM
    at_middle = int(butt[half].max(initial=0)) + int(top[half].max(initial=0))
    return _Choice((single.worth, *(best,) * rules.max_docks), pieces, at_middle)


def _placed(flitch: Flitch, rules: Rules, worths: Worths, piece: _Piece) -> DockedBoard:
    """A chosen piece with the strip it is edged from."""
    x = flitch.x_mm - flitch.x_mm[0]
    ends = np.array([piece.start, min(piece.start + piece.length, float(x[-1]))])
    knots, edges, _, place = knots_with(x, flitch.edges_mm, ends)
    inside = slice(int(place[0]), int(place[1]) + 1)
    widths = worths.patterns[piece.pattern]
    left, right = reach(edges[:, inside], rules, min(widths))
    available, slope, intercept = widest_strip(knots[inside], left, right, rules.slope_limit)
    first = float(flitch.x_mm[0])
    return DockedBoard(
        first + piece.start,
        first + piece.start + piece.length,
        piece.length,
        tuple(sorted(widths, reverse=True)),
        available,
        slope,
        intercept - slope * first,
        piece.worth,
    )

"""What cannot well be of a board at the saw, and what is odd about the boards of a log: asked about, never refused.

Heights and places are those of `label_place`: in mm from the pith, looking along the log from the butt. A board of
which one code was read lies anywhere within its own thickness of that code; all limits allow for it, so that what
is asked about cannot be explained by where in the board the code sat. The limits are our own, common practice where
they are tolerances. The page at the saw has the same rules in tally/warnings.js; a test holds them together.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from sawing.calc.label_place import End, SheetOnLog

LENGTH_ALLOWANCE_M = 0.05
CHORD_ALLOWANCE_MM = (
    10.0  # the pith is seldom in the middle of the log, and diameters are read to the nearest 5 mm
)
THICKNESS_ALLOWANCE_MM = 2.0
WIDTH_ALLOWANCE_MM = 4.0
APART_PITCHES = 3.0  # so far apart must codes be to tell how the width runs
ROUNDING = 1e-9
TEXTS = {
    "more_wood": "more wood out than in",
    "longer": "longer than its log",
    "wider": "wider than the log at that height",
    "same_cell": "two boards in one cell",
    "missing": "a board may be missing between",
    "thicker": "thicker than planned",
    "width": "width not in the set",
}


@dataclass(frozen=True)
class Plan:
    """Sizes a study saws: nominal thicknesses and widths in mm, and what green boards have over them."""

    thicknesses_mm: tuple[float, ...] = ()
    widths_mm: tuple[float, ...] = ()
    oversize_thickness_mm: float = 0.0
    oversize_width_pct: float = 0.0
    kerf_mm: float = 0.0

    def green_thickness_mm(self, nominal_mm: float) -> float:
        return nominal_mm + self.oversize_thickness_mm

    def green_width_mm(self, nominal_mm: float) -> float:
        return nominal_mm * (1 + self.oversize_width_pct / 100)

    def nominal_of(self, thickness_mm: float, width_mm: float) -> tuple[float | None, float | None]:
        """The planned sizes that green ones stand for, within the allowances; None where there is none."""
        thick = [
            t
            for t in self.thicknesses_mm
            if abs(self.green_thickness_mm(t) - thickness_mm) <= THICKNESS_ALLOWANCE_MM
        ]
        wide = [w for w in self.widths_mm if abs(self.green_width_mm(w) - width_mm) <= WIDTH_ALLOWANCE_MM]
        return (
            min(thick, key=lambda t: abs(self.green_thickness_mm(t) - thickness_mm), default=None),
            min(wide, key=lambda w: abs(self.green_width_mm(w) - width_mm), default=None),
        )


@dataclass(frozen=True)
class EndAtSaw:
    """A log's end under bark, and the sheet on it where there is one."""

    size: End
    sheet: SheetOnLog | None = None


@dataclass(frozen=True)
class LogAtSaw:
    """A log on its way through the saw. `volume_m3` is NaN where it is not known; `ends` by 0 butt, 1 top."""

    code: str
    length_m: float
    volume_m3: float
    ends: Mapping[int, EndAtSaw] = field(default_factory=dict)


@dataclass(frozen=True)
class BoardAtSaw:
    """A board as tallied; `cells` are (end, row, column) of the codes read on it. Nominal sizes where somebody stated
    them: then it is these that must be of the plan."""

    code: str
    thickness_mm: float
    width_mm: float
    length_m: float
    flitch: str | None = None
    cells: tuple[tuple[int, int, int], ...] = ()
    nominal_thickness_mm: float | None = None
    nominal_width_mm: float | None = None

    @property
    def volume_m3(self) -> float:
        return self.thickness_mm * self.width_mm * self.length_m / 1e6


@dataclass(frozen=True)
class TallyWarning:
    """One thing to ask about: its kind, and words with the numbers in it."""

    kind: str
    text: str

    def to_dict(self) -> dict[str, str]:
        return {"kind": self.kind, "text": self.text}


def board_warnings(
    log: LogAtSaw, plan: Plan, board: BoardAtSaw, others: Sequence[BoardAtSaw]
) -> list[TallyWarning]:
    """What is odd about a board beside the other boards of its log. One of its own code among them does not count."""
    rest = [other for other in others if other.code != board.code]
    return [
        *_more_wood(log, [*rest, board]),
        *_of_board(log, plan, board),
        *(w for other in rest for w in _same_cell(board, other)),
        *_missing_beside(log, plan, board, rest),
    ]


def log_warnings(
    log: LogAtSaw, plan: Plan, boards: Sequence[BoardAtSaw]
) -> list[tuple[str | None, TallyWarning]]:
    """What is odd about a log's boards as they stand, each with the board it is about (None: the log)."""
    found: list[tuple[str | None, TallyWarning]] = [(None, w) for w in _more_wood(log, boards)]
    for board in boards:
        found += [(board.code, w) for w in _of_board(log, plan, board)]
    for at, board in enumerate(boards):
        found += [(board.code, w) for other in boards[:at] for w in _same_cell(board, other)]
    numbered = sorted((b for b in boards if _number(b) is not None), key=lambda b: _number(b) or 0)
    for lower, upper in pairwise(numbered):
        found += [(upper.code, w) for w in _skipped(lower, upper)]
    for end in (0, 1):
        placed = sorted(_heights(log, boards, end), key=lambda pair: pair[0])
        for (low, lower), (high, upper) in pairwise(placed):
            found += [(upper.code, w) for w in _room_between(plan, lower, upper, high - low)]
    return _each_once(found)


def chord_mm(end: End, distance_mm: float, angle_deg: float = 0.0) -> float:
    """Width of a log end along a line at that distance from its middle, the line `angle_deg` against x; 0 beside it.

    Of an ellipse with half axes a and b: 2ab√(r² - d²)/r², with r² = a² sin² + b² cos² of the angle; of a circle
    2√(r² - d²).
    """
    turn = math.radians(angle_deg)
    a, b = end.along_x_mm, end.along_y_mm
    squared = (a * math.sin(turn)) ** 2 + (b * math.cos(turn)) ** 2
    left = squared - distance_mm**2
    return 2 * a * b * math.sqrt(left) / squared if left > 0 else 0.0


def _more_wood(log: LogAtSaw, boards: Iterable[BoardAtSaw]) -> list[TallyWarning]:
    out = sum(board.volume_m3 for board in boards)
    if not out > log.volume_m3 * (1 + ROUNDING):  # NaN: not judged
        return []
    return [TallyWarning("more_wood", f"{out:.4f} m³ of boards from a log of {log.volume_m3:.4f} m³")]


def _of_board(log: LogAtSaw, plan: Plan, board: BoardAtSaw) -> list[TallyWarning]:
    found = []
    if board.length_m > log.length_m + LENGTH_ALLOWANCE_M:
        found.append(TallyWarning("longer", f"{board.length_m:.2f} m long, its log {log.length_m:.2f} m"))
    return [*found, *_wider(log, board), *_beyond_plan(plan, board)]


def _beyond_plan(plan: Plan, board: BoardAtSaw) -> list[TallyWarning]:
    found = []
    thickest = max((plan.green_thickness_mm(t) for t in plan.thicknesses_mm), default=math.inf)
    is_planned = board.nominal_thickness_mm in plan.thicknesses_mm
    if not is_planned and board.thickness_mm > thickest + THICKNESS_ALLOWANCE_MM:
        text = f"{board.thickness_mm:.1f} mm thick, planned at most {thickest:.1f} mm"
        found.append(TallyWarning("thicker", text))
    if not plan.widths_mm or board.nominal_width_mm in plan.widths_mm:
        return found
    nearest = min((plan.green_width_mm(w) for w in plan.widths_mm), key=lambda g: abs(g - board.width_mm))
    if abs(nearest - board.width_mm) > WIDTH_ALLOWANCE_MM:
        text = f"{board.width_mm:.0f} mm wide, the nearest of the set is {nearest:.0f} mm"
        found.append(TallyWarning("width", text))
    return found


def _wider(log: LogAtSaw, board: BoardAtSaw) -> list[TallyWarning]:
    """Against the end on which most codes were read."""
    for end in sorted({cell[0] for cell in board.cells}, key=lambda e: (-_count(board, e), e)):
        at = log.ends.get(end)
        if at is None or at.sheet is None:
            continue
        places = [at.sheet.place(row, col) for e, row, col in board.cells if e == end]
        angle = _direction(places, at.sheet.pitch_mm)
        turn = math.radians(angle)
        heights = [y * math.cos(turn) - x * math.sin(turn) for x, y in places]
        height = abs(sum(heights) / len(heights))
        # Its wide face lies up to a thickness nearer to the pith than the code.
        widest = chord_mm(at.size, max(height - board.thickness_mm, 0.0), angle)
        if board.width_mm > widest + CHORD_ALLOWANCE_MM:
            text = f"{board.width_mm:.0f} mm wide, and the log is {widest:.0f} mm at {height:.0f} mm from the pith"
            return [TallyWarning("wider", text)]
        return []
    return []


def _direction(places: Sequence[tuple[float, float]], pitch_mm: float) -> float:
    """How the board's width runs against x, in degrees: along its two furthest codes, else level."""
    ordered = sorted(places)
    first, last = max(
        ((p, q) for i, p in enumerate(ordered) for q in ordered[i:]), key=lambda pair: math.dist(*pair)
    )
    if math.dist(first, last) < APART_PITCHES * pitch_mm:
        return 0.0
    return math.degrees(math.atan2(last[1] - first[1], last[0] - first[0]))


def _count(board: BoardAtSaw, end: int) -> int:
    return sum(cell[0] == end for cell in board.cells)


def _same_cell(board: BoardAtSaw, other: BoardAtSaw) -> list[TallyWarning]:
    shared = sorted(set(board.cells) & set(other.cells))
    if not shared:
        return []
    end, row, col = shared[0]
    cell = f"{'BT'[end]}-{row:02d}-{col:02d}"
    return [TallyWarning("same_cell", f"cell {cell} was read on board {other.code} too")]


def _missing_beside(
    log: LogAtSaw, plan: Plan, board: BoardAtSaw, others: Sequence[BoardAtSaw]
) -> list[TallyWarning]:
    """Room or skipped numbers between a board and the nearest ones tallied, to both sides."""
    found: list[TallyWarning] = []
    own = _number(board)
    if own is not None:
        numbered = [b for b in others if _number(b) is not None]
        below = max(
            (b for b in numbered if (_number(b) or 0) < own), key=lambda b: _number(b) or 0, default=None
        )
        above = min(
            (b for b in numbered if (_number(b) or 0) > own), key=lambda b: _number(b) or 0, default=None
        )
        if all(_number(b) != own for b in numbered):
            found += _skipped(below, board) if below else []
            found += _skipped(board, above) if above else []
    for end in (0, 1):
        mine = _heights(log, [board], end)
        if not mine:
            continue
        height = mine[0][0]
        placed = sorted(_heights(log, others, end), key=lambda pair: pair[0])
        under = [pair for pair in placed if pair[0] <= height][-1:]
        over = [pair for pair in placed if pair[0] > height][:1]
        for other_height, other in [*under, *over]:
            found += _room_between(plan, other, board, abs(height - other_height))
    return list(dict.fromkeys(found))


def _skipped(lower: BoardAtSaw, upper: BoardAtSaw) -> list[TallyWarning]:
    low, high = _number(lower) or 0, _number(upper) or 0
    if high - low < 2:
        return []
    which = f"flitch {low + 1}" if high - low == 2 else f"flitches {low + 1} to {high - 1}"
    return [TallyWarning("missing", f"no board of {which}, between {lower.code} and {upper.code}")]


def _room_between(plan: Plan, one: BoardAtSaw, other: BoardAtSaw, apart_mm: float) -> list[TallyWarning]:
    """Neighbours can have codes at their outer faces; further apart than that, something lies between them."""
    first, second = _number(one), _number(other)
    if first is not None and second is not None:
        return []  # numbers of flitches tell better
    if apart_mm <= one.thickness_mm + other.thickness_mm + plan.kerf_mm:
        return []
    text = f"{apart_mm:.0f} mm from {one.code} to {other.code}: room for another board"
    return [TallyWarning("missing", text)]


def _heights(log: LogAtSaw, boards: Iterable[BoardAtSaw], end: int) -> list[tuple[float, BoardAtSaw]]:
    """Boards with a code on that end, with their height over the pith: the mean of their codes'."""
    at = log.ends.get(end)
    if at is None or at.sheet is None:
        return []
    found = []
    for board in boards:
        heights = [at.sheet.place(row, col)[1] for e, row, col in board.cells if e == end]
        if heights:
            found.append((sum(heights) / len(heights), board))
    return found


def _number(board: BoardAtSaw) -> int | None:
    text = board.flitch or ""
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 6 else None


def _each_once(
    found: Iterable[tuple[str | None, TallyWarning]],
) -> list[tuple[str | None, TallyWarning]]:
    return list(dict.fromkeys(found))

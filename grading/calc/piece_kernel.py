"""Compiled: the best graded piece of each board, exactly, over every cut and rip that the rules allow.

A piece is a rectangle [x0, x1] × [y0, y1] of the wide face. For one grade and one strip (y0, y1) every rule on single
features, sums or counts says: "no piece may touch all features of a set T", where a sum over a window of length W
concerns the sets whose rightmost start M lies less than W behind their leftmost end m. A piece touches all of T if
x0 < m and x1 > M, so with reach(x0) = the least M among sets with m > x0, the piece is allowed if x1 <= reach(x0).
Rules on shares of the length and on warp depend on the length itself and are asked for each length. So one pass over
the starts answers all lengths. All lengths in mm. The module is long because what is kept of a compiled loop is renewed
only when its own module changes (see `dock_compile`).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from grading.calc.piece_arrays import Board, Look, Room, Rules, Strips
from sawing.calc.dock_compile import compiled

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

LO, HI, YLO, YHI, SIZE, LENGTH, DEPTH, PERCENT, MARGIN = range(9)
"""Columns of the features' numbers; rows sorted by LO within a board."""
KIND, FACE = 0, 1
FACE1, FACE2, EDGE1, EDGE2, PIECE = range(5)
GRADE, METRIC, PLACE = range(3)
LIMIT, WINDOW, BELOW, WHEN_MARGIN, OVER, PER_WIDTH = range(6)
ANY, FACES, BETTER_FACE, EDGE, IN_MARGIN = range(5)
PRESENCE, SIZE_MM, LENGTH_MM, DIMENSION, THICKNESS, DEPTH_SHARE, AREA, PERCENTAGE, COUNT, SHARE, WARP = range(
    11
)
MODULE, STEP, ALLOWANCE, MARGIN_SHARE, KERF = range(5)
BOW, SPRING, TWIST, CUP = range(4)
"""Places, metrics and kinds of warp in the order of `rule_limits`."""
TOLERANCE = 1e-9
MOST_PIECES = 24
BEST_GRADE_STEP = 10**11


@compiled
def over(value: float, limit: float) -> bool:
    return bool(value > limit + TOLERANCE * max(1.0, limit))


@compiled
def _applies(
    place: int, face: int, variant: int, f: Floats, y0: float, y1: float, margin: float, cut: bool
) -> bool:
    """Whether a feature that touches the strip stands where a limit looks."""
    if place == FACES:
        return face != EDGE1 and face != EDGE2
    if place == BETTER_FACE:
        return face in (variant, PIECE)
    if place == EDGE:
        return face in (EDGE1, EDGE2) or cut
    if place == IN_MARGIN:
        return face in (EDGE1, EDGE2) or f[YLO] < y0 + margin or f[YHI] > y1 - margin
    return True


@compiled
def _weight(metric: int, place: int, face: int, cut: bool, f: Floats, strip: float, board: Board) -> float:
    """What a feature weighs under a metric on a strip of some width; 0 where its measure is missing."""
    value = 1.0
    if metric == AREA:  # min() takes a missing value for the other one
        return 0.0 if np.isnan(f[PERCENT]) else min(1.0, f[PERCENT] / 100.0 * board.width / strip)
    if metric == DIMENSION and np.isnan(f[SIZE]):
        return 0.0
    if metric == SIZE_MM:
        value = f[SIZE]
    elif metric == LENGTH_MM:
        value = f[LENGTH]
    elif metric == DIMENSION:
        on_new_edge = min(f[SIZE], board.thick) / board.thick
        if face in (EDGE1, EDGE2):
            value = f[SIZE] / board.thick
        elif cut and place == EDGE:
            value = on_new_edge
        else:
            value = f[SIZE] / strip
            if cut and place == ANY:
                value = max(value, on_new_edge)
    elif metric == THICKNESS:
        value = f[SIZE] / board.thick
    elif metric == DEPTH_SHARE:
        value = f[DEPTH] / board.thick
    elif metric == PERCENTAGE:
        value = f[PERCENT]
    return 0.0 if np.isnan(value) else value


@compiled
def _margin_weight(f: Floats, strip: float, width: float) -> float:
    """Share of an outer quarter that a feature fills; all of it where unknown, or where ripping moved the quarter."""
    return 1.0 if np.isnan(f[MARGIN]) or strip < width - 1e-6 else f[MARGIN] / 100.0


@compiled
def _bar(reach: Floats, step: float, ends: float, starts: float) -> None:
    """No piece that begins before `ends` may go beyond `starts`."""
    at = min(int(np.ceil(ends / step - TOLERANCE)) - 1, reach.size - 1)
    if at >= 0 and starts < reach[at]:
        reach[at] = starts


@compiled
def members(limit: int, look: Look, board: Board, rules: Rules, room: Room) -> int:
    """How many features a limit concerns on a strip; into `room` which, their weights and shares of the margin."""
    f, codes, y0, y1 = board.features, board.codes, look.y0, look.y1
    count, strip, place = 0, y1 - y0, rules.codes[limit, PLACE]
    for j in range(f.shape[0]):
        if (
            j == look.skip
            or not rules.kinds[limit, codes[j, KIND]]
            or f[j, SIZE] < rules.numbers[limit, BELOW]
        ):
            continue
        if f[j, YLO] >= y1 or f[j, YHI] <= y0:
            continue
        face = codes[j, FACE]
        cut = (face in (FACE1, FACE2)) and (
            (y0 > 0 and f[j, YLO] < y0 and f[j, YHI] > y0)
            or (y1 < board.width - 1e-6 and f[j, YLO] < y1 and f[j, YHI] > y1)
        )
        if not _applies(place, face, look.face, f[j], y0, y1, rules.sizes[MARGIN_SHARE] * strip, cut):
            continue
        room.which[count] = j
        room.weight[count] = _weight(rules.codes[limit, METRIC], place, face, cut, f[j], strip, board)
        room.aside[count] = _margin_weight(f[j], strip, board.width)
        count += 1
    return count


@compiled
def _bar_sets(limit: int, count: int, board: Board, rules: Rules, room: Room, reach: Floats) -> None:
    """Bar every set of features that a limit on single features, sums or counts forbids."""
    f, step = board.features, rules.sizes[STEP]
    most, when, window = (
        rules.numbers[limit, LIMIT],
        rules.numbers[limit, WHEN_MARGIN],
        rules.numbers[limit, WINDOW],
    )
    if np.isnan(window):
        for c in range(count):
            if over(room.weight[c], most) and (np.isnan(when) or over(room.aside[c], when)):
                _bar(reach, step, f[room.which[c], HI], f[room.which[c], LO])
        return
    for c in range(count):
        ends, total, beside = f[room.which[c], HI], 0.0, 0.0
        for d in range(count):
            j = room.which[d]
            if f[j, HI] < ends:
                continue
            total += room.weight[d]
            beside += room.aside[d]
            if over(total, most) and (np.isnan(when) or over(beside, when)):
                if f[j, LO] - ends < window:
                    _bar(reach, step, ends, f[j, LO])
                break


@compiled
def share_holds(most: float, x0: float, x1: float, features: Floats, which: Ints) -> bool:
    """Whether features (sorted by where they begin) cover at most a share of a piece's length."""
    covered, until = 0.0, x0
    for c in range(which.size):
        low, high = max(features[which[c], LO], until), min(features[which[c], HI], x1)
        if high > low:
            covered += high - low
            until = high
    return not over(covered / (x1 - x0), most)


@compiled
def warp_holds(limit: int, long: float, look: Look, board: Board, rules: Rules) -> bool:
    """Whether the deviations of a piece of some length and width stay within a limit on warp."""
    f, codes, numbers, strip = board.features, board.codes, rules.numbers, look.y1 - look.y0
    most = numbers[limit, LIMIT]
    if not np.isnan(numbers[limit, PER_WIDTH]):
        most *= strip / numbers[limit, PER_WIDTH]
    for j in range(f.shape[0]):
        kind = rules.warp[limit, codes[j, KIND]]
        if j == look.skip or kind < 0 or f[j, SIZE] < numbers[limit, BELOW] or np.isnan(f[j, SIZE]):
            continue
        part = (long if np.isnan(numbers[limit, OVER]) else min(long, numbers[limit, OVER])) / f[j, LENGTH]
        value = f[j, SIZE]
        if kind == TWIST:
            value *= part * strip / board.width
        elif kind == CUP:
            value *= (strip / board.width) ** 2
        else:
            value *= part * part
        if over(value, most):
            return False
    return True


@compiled
def _reach(
    grade: int, fewest: int, most: int, look: Look, board: Board, rules: Rules, room: Room, reach: Floats
) -> tuple[int, bool]:
    """Set how far pieces of a strip may go from each start; the most modules that warp allows; any shares to ask."""
    reach[:] = board.length
    top, asks = most, False
    for m in range(rules.first_limit[grade], rules.first_limit[grade + 1]):
        if rules.codes[m, METRIC] == WARP:
            while top >= fewest and not warp_holds(
                m, top * rules.sizes[MODULE] + rules.sizes[ALLOWANCE], look, board, rules
            ):
                top -= 1
            if top < fewest:
                return top, False
            continue
        count = members(m, look, board, rules, room)
        if rules.codes[m, METRIC] == SHARE:
            room.shared_count[m] = count
            room.shared[m, :count] = room.which[:count]
            asks = asks or count > 0
        elif count:
            _bar_sets(m, count, board, rules, room, reach)
    for i in range(reach.size - 2, -1, -1):
        if reach[i + 1] < reach[i]:
            reach[i] = reach[i + 1]
    return top, asks


@compiled
def _shares_hold(grade: int, x0: float, x1: float, board: Board, rules: Rules, room: Room) -> bool:
    for m in range(rules.first_limit[grade], rules.first_limit[grade + 1]):
        if rules.codes[m, METRIC] == SHARE:
            which = room.shared[m, : room.shared_count[m]]
            if not share_holds(rules.numbers[m, LIMIT], x0, x1, board.features, which):
                return False
    return True


@compiled
def _better(value: np.int64, grade: int, i: int, k: int, s: int, best: Ints, strips: Floats) -> bool:
    """Whether a piece comes before the best one so far (worth, grade, start, modules, strip)."""
    if value != best[0]:
        return bool(value > best[0])
    if grade != best[1]:
        return bool(grade < best[1])
    if k != best[3]:
        return bool(k > best[3])
    wider = (strips[s, 1] - strips[s, 0]) - (strips[best[4], 1] - strips[best[4], 0])
    if abs(wider) > 1e-9:
        return bool(wider > 0)
    return bool(i < best[2] or (i == best[2] and strips[s, 0] < strips[best[4], 0]))


@compiled
def _search(
    grade: int,
    s: int,
    base: np.int64,
    unit: np.int64,
    fewest: int,
    top: int,
    asks: bool,
    skip: int,
    board: Board,
    rules: Rules,
    room: Room,
    reach: Floats,
    strips: Floats,
    best: Ints,
    split: bool,
) -> None:
    """Try every start and length of a strip: into `best`, or into the table of starts and lengths when `split`.

    A feature left out matters to the pieces that touch it only.
    """
    module, step, allowance = rules.sizes[MODULE], rules.sizes[STEP], rules.sizes[ALLOWANCE]
    only = skip >= 0 and not split
    for i in range(reach.size):
        x0 = i * step
        if only and x0 >= board.features[skip, HI]:
            break
        k = min(top, int(np.floor((reach[i] - x0 - allowance) / module + TOLERANCE)))
        while k >= fewest:
            value = base + unit * k
            x1 = x0 + k * module + allowance
            if (not split and value < best[0]) or (only and x1 <= board.features[skip, LO]):
                break
            if not asks or _shares_hold(grade, x0, x1, board, rules, room):
                if split:
                    if value > room.worth[i, k]:
                        room.worth[i, k], room.how[i, k] = value, grade * strips.shape[0] + s
                else:
                    if _better(value, grade, i, k, s, best, strips):
                        best[0], best[1], best[2], best[3], best[4] = value, grade, i, k, s
                    break
            k -= 1


@compiled
def _in_a_row(starts: int, most: int, strips: int, rules: Rules, room: Room, answer: Ints) -> int:
    """The most worthy pieces one behind the other, from the table of the best piece by start and length."""
    module, step = rules.sizes[MODULE], rules.sizes[STEP]
    more = rules.sizes[ALLOWANCE] + rules.sizes[KERF]
    total, choice = np.zeros(starts + 1, np.int64), np.zeros(starts + 1, np.int64)
    for i in range(starts - 1, -1, -1):
        total[i] = total[i + 1]
        for k in range(most, 0, -1):
            if room.worth[i, k] < 0:
                continue
            after = int(np.ceil((i * step + k * module + more) / step - TOLERANCE))
            value = room.worth[i, k] + total[min(after, starts)]
            if value > total[i] or (value == total[i] and choice[i] == 0):
                total[i], choice[i] = value, k
    count, i = 0, 0
    while i < starts and count < MOST_PIECES:
        k = choice[i]
        if k == 0:
            i += 1
            continue
        answer[count, 0], answer[count, 3] = room.how[i, k] // strips, room.how[i, k] % strips
        answer[count, 1], answer[count, 2], answer[count, 4] = i, k, room.worth[i, k]
        count += 1
        i = int(np.ceil((i * step + k * module + more) / step - TOLERANCE))
    return count


@compiled
def _one_board(
    grades: Bools,
    skip: int,
    floor: int,
    board: Board,
    rules: Rules,
    strips: Strips,
    low: int,
    high: int,
    by_value: bool,
    split: bool,
    room: Room,
    answer: Ints,
) -> int:
    """The best piece or pieces of a board, on the strips from `low` to `high`; how many there are."""
    f, module, step = board.features, rules.sizes[MODULE], rules.sizes[STEP]
    most = int(np.floor((board.length - rules.sizes[ALLOWANCE]) / module + TOLERANCE))
    starts = int(np.floor(board.length / step + TOLERANCE)) + 1
    reach = room.reach[:starts]
    best = np.array([floor, -1, -1, -1, 0])
    if split:
        room.worth[:starts, : most + 1] = -1
    for grade in range(grades.size):
        fewest = max(1, int(np.ceil(rules.min_length[grade] / module - TOLERANCE)))
        if not grades[grade] or fewest > most:
            continue
        for s in range(low, high):
            y0, y1 = strips.places[s, 0], strips.places[s, 1]
            unit = np.int64(np.round(module * 10)) * np.int64(np.round(strips.places[s, 2] * 10))
            base = np.int64(0)
            if by_value:
                unit *= strips.prices[s, grade]
            else:
                base = np.int64(grades.size - grade) * BEST_GRADE_STEP
            bound = base + unit * most
            if not split and (bound < best[0] or (bound == best[0] and best[1] < 0)):
                continue
            if not split and skip >= 0 and (f[skip, YLO] >= y1 or f[skip, YHI] <= y0):
                continue
            for face in range(2 if rules.two_faces[grade] else 1):
                look = Look(y0, y1, face, skip)
                top, asks = _reach(grade, fewest, most, look, board, rules, room, reach)
                if top >= fewest:
                    _search(
                        grade, s, base, unit, fewest, top, asks, skip, board, rules, room, reach, strips.places,
                        best, split,
                    )  # fmt: skip
    if split:
        return _in_a_row(starts, most, strips.places.shape[0], rules, room, answer)
    answer[0, :3], answer[0, 3], answer[0, 4] = best[1:4], best[4], best[0]
    return 1 if best[1] >= 0 else 0


@compiled
def solve(
    job_board: Ints,
    job_skip: Ints,
    job_floor: Ints,
    job_grades: Bools,
    boards: Floats,
    first_feature: Ints,
    features: Floats,
    codes: Ints,
    group: Ints,
    rules: Rules,
    strips: Strips,
    room: Room,
    by_value: bool,
    split: bool,
    answers: Ints,
    counts: Ints,
) -> None:
    """The best piece (or pieces, when `split`) of each job: a board, a feature to leave out, a floor, and grades.

    boards (boards, 3): length, width, thickness. first_feature: where a board's features begin; group: its strips.
    With a feature left out (-1: none) only pieces that touch it are looked at, and only pieces worth more than the
    floor (-1: any); neither holds when `split`. Answers (jobs, pieces, 5): grade, start in steps, length in modules,
    strip, worth; the pieces from the butt on.
    """
    for job in range(job_board.size):
        b = job_board[job]
        low, high = first_feature[b], first_feature[b + 1]
        board = Board(boards[b, 0], boards[b, 1], boards[b, 2], features[low:high], codes[low:high])
        counts[job] = _one_board(
            job_grades[job], job_skip[job], job_floor[job], board, rules, strips, strips.first[group[b]],
            strips.first[group[b] + 1], by_value, split, room, answers[job],
        )  # fmt: skip


@compiled
def _judge_set(
    limit: int, x0: float, x1: float, count: int, board: Board, rules: Rules, room: Room
) -> tuple[float, int, int]:
    """The features of a piece that break a limit most, one alone or together: their sum, the largest, how many."""
    f, window = board.features, rules.numbers[limit, WINDOW]
    most, when = rules.numbers[limit, LIMIT], rules.numbers[limit, WHEN_MARGIN]
    found, worst, number = -1.0, -1, 0
    for c in range(count):
        ends = f[room.which[c], HI]
        if ends <= x0 or f[room.which[c], LO] >= x1:
            continue
        total, beside, largest, n = room.weight[c], room.aside[c], c, 1
        if not np.isnan(window):
            for d in range(count):
                j = room.which[d]
                if d == c or f[j, HI] < ends or f[j, LO] - ends >= window or f[j, LO] >= x1:
                    continue
                total += room.weight[d]
                beside += room.aside[d]
                n += 1
                if room.weight[d] > room.weight[largest]:
                    largest = d
        if over(total, most) and (np.isnan(when) or over(beside, when)) and total > found:
            found, worst, number = total, room.which[largest], n
    return found, worst, number


@compiled
def _judge_limit(
    limit: int, x0: float, x1: float, look: Look, board: Board, rules: Rules, room: Room
) -> tuple[float, int, int]:
    """What a piece has against a limit: the value found (-1: nothing), the worst feature, how many together."""
    f, found, worst, number = board.features, 0.0, -1, 0
    if rules.codes[limit, METRIC] == WARP:
        if warp_holds(limit, x1 - x0, look, board, rules):
            return -1.0, -1, 0
        for j in range(f.shape[0]):
            if rules.warp[limit, board.codes[j, KIND]] >= 0 and f[j, SIZE] > found:
                found, worst, number = f[j, SIZE], j, 1
        return found, worst, number
    count = members(limit, look, board, rules, room)
    if rules.codes[limit, METRIC] != SHARE:
        return _judge_set(limit, x0, x1, count, board, rules, room)
    if share_holds(rules.numbers[limit, LIMIT], x0, x1, f, room.which[:count]):
        return -1.0, -1, 0
    longest = 0.0
    for c in range(count):
        inside = min(f[room.which[c], HI], x1) - max(f[room.which[c], LO], x0)
        if inside > 0:
            found += inside / (x1 - x0)
            number += 1
        if inside > longest:
            longest, worst = inside, room.which[c]
    return min(found, 1.0), worst, number


@compiled
def judge(
    job_board: Ints,
    job_grade: Ints,
    places: Floats,
    boards: Floats,
    first_feature: Ints,
    features: Floats,
    codes: Ints,
    rules: Rules,
    room: Room,
    found: Floats,
    which: Ints,
) -> None:
    """What pieces (jobs, 4: x0, x1, y0, y1) of boards break of a grade's limits.

    found (jobs, limits): the value, NaN where the limit holds or is another grade's. which (jobs, limits, 2): the worst
    feature, counted on the board, and how many break it together. Limits on the better face are asked of the face that
    breaks fewer.
    """
    found[:] = np.nan
    for job in range(job_board.size):
        b, grade = job_board[job], job_grade[job]
        low, high = first_feature[b], first_feature[b + 1]
        board = Board(boards[b, 0], boards[b, 1], boards[b, 2], features[low:high], codes[low:high])
        x0, x1, y0, y1 = places[job, 0], places[job, 1], places[job, 2], places[job, 3]
        first, last = rules.first_limit[grade], rules.first_limit[grade + 1]
        fewest, chosen = 1 << 30, 0
        for face in range(2 if rules.two_faces[grade] else 1):
            broken = 0
            for m in range(first, last):
                value, _, _ = _judge_limit(m, x0, x1, Look(y0, y1, face, -1), board, rules, room)
                broken += value >= 0
            if broken < fewest:
                fewest, chosen = broken, face
        for m in range(first, last):
            value, worst, number = _judge_limit(m, x0, x1, Look(y0, y1, chosen, -1), board, rules, room)
            if value >= 0:
                found[job, m], which[job, m, 0], which[job, m, 1] = value, worst, number

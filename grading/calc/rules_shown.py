"""Rules as a person reads them: limits as a table, sizes of pieces in words, what differs between two versions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from grading.calc.feature_kinds import GROUPS, members, title_of
from grading.calc.rule_limits import GradingRules, Limit, PieceSizes

PLACE_WORDS: Final = {
    "any": "anywhere",
    "face": "on the faces",
    "better_face": "on the better face",
    "edge": "on the edges",
    "margin": "in the margins",
}
METRIC_WORDS: Final = {
    "presence": "being there",
    "size_mm": "size",
    "length_mm": "length along the grain",
    "dimension_ratio": "size by the surface it lies on",
    "thickness_ratio": "size by the thickness",
    "depth_ratio": "depth by the thickness",
    "area_ratio": "projected area by the cross-section",
    "percent": "percent as measured",
    "count": "how many",
    "length_share": "share of the length",
    "warp_mm": "off straight",
}
ORIGIN_WORDS: Final = {
    "found": "found in the source named",
    "computed": "computed",
    "from memory": "value from memory, check against the licensed copy",
    "common practice": "common practice, no published source",
    "own": "set by this project or the trial",
}


@dataclass(frozen=True)
class LimitRow:
    """Limits of several grades on the same thing. `cells`: each accepting grade's limit, None where it has none."""

    kinds: tuple[str, ...]
    what: str
    place: str
    metric: str
    note: str
    cells: tuple[Limit | None, ...]
    origin: str
    source: str
    clause: str


@dataclass(frozen=True)
class Difference:
    """What one version has otherwise than another: `change` is "changed", "added" or "gone"."""

    change: str
    what: str
    before: str
    after: str


def kinds_in_words(kinds: Sequence[str]) -> str:
    """Kinds as a list; a group by its name where all of its kinds are in it."""
    left, words = list(kinds), []
    for group in GROUPS:
        of_group = members(group)
        if len(of_group) > 1 and set(of_group) <= set(left):
            words.append(group)
            left = [k for k in left if k not in of_group]
    return ", ".join([*words, *map(title_of, left)])


def limit_rows(rules: GradingRules) -> list[LimitRow]:
    """The limits, one row for each thing and measure, in the order of the document."""
    grades = [g.code for g in rules.accepting]
    rows: list[tuple[Limit, dict[str, Limit]]] = []
    for limit in rules.limits:
        for first, cells in rows:
            if _thing(first) == _thing(limit) and limit.grade not in cells:
                cells[limit.grade] = limit
                break
        else:
            rows.append((limit, {limit.grade: limit}))
    return [
        LimitRow(
            first.kinds,
            kinds_in_words(first.kinds),
            PLACE_WORDS[first.place],
            METRIC_WORDS[first.metric],
            _note(first),
            tuple(cells.get(g) for g in grades),
            first.origin,
            first.source,
            first.clause,
        )
        for first, cells in rows
    ]


def _thing(limit: Limit) -> tuple[object, ...]:
    return (*_subject(limit), limit.origin, limit.source, limit.clause)


def _subject(limit: Limit) -> tuple[object, ...]:
    conditions = (limit.window_mm, limit.below_mm, limit.when_margin_above, limit.over_mm, limit.per_width_mm)
    return (limit.kinds, limit.place, limit.metric, *conditions)


def _note(limit: Limit) -> str:
    words = []
    if limit.below_mm:
        words.append(f"smaller than {limit.below_mm:g} mm ignored")
    if limit.when_margin_above is not None:
        words.append(f"where more than {100 * limit.when_margin_above:g} % of an outer quarter is filled")
    return "; ".join(words)


def subject_in_words(limit: Limit) -> str:
    """What a limit is on: kinds, place, measure, conditions."""
    words = [
        kinds_in_words(limit.kinds),
        PLACE_WORDS[limit.place],
        METRIC_WORDS[limit.metric],
        "together in one cross-section"
        if limit.window_mm == 0
        else f"together in any {limit.window_mm:g} mm"
        if limit.window_mm is not None
        else "",
        _note(limit),
        f"over {limit.over_mm:g} mm" if limit.over_mm else "",
        f"per {limit.per_width_mm:g} mm of width" if limit.per_width_mm else "",
    ]
    return ", ".join(word for word in words if word)


def piece_in_words(piece: PieceSizes) -> list[str]:
    """The sizes a piece may have, a sentence each."""
    more = f"; a piece takes {piece.length_allowance_mm:g} mm more" if piece.length_allowance_mm else ""
    said = [
        f"Lengths are multiples of {piece.length_module_mm:g} mm, from {piece.min_length_mm:g} mm up{more}.",
        f"A piece begins at a multiple of {piece.cut_step_mm:g} mm from the butt end.",
    ]
    if not piece.may_rip:
        said.append("Boards are docked only, never ripped: a piece has its board’s width.")
    else:
        said.append(_widths(piece))
        said.append(
            f"It begins at a multiple of {piece.rip_step_mm:g} mm from edge 1, or ends at edge 2, and is at least "
            f"{piece.min_width_mm:g} mm wide."
        )
        said.append(
            "The board’s own full width is always one choice."
            if piece.keep_full_width
            else "The board’s own full width counts only where it is one of these."
        )
    said.append(f"The margin is {100 * piece.margin_share:g} % of the width on each side.")
    said.append(
        f"A board may give several pieces, {piece.kerf_mm:g} mm of kerf between them."
        if piece.may_split
        else "A board gives one piece."
    )
    return said


def _widths(piece: PieceSizes) -> str:
    if not piece.widths_mm:
        return "Any strip of the board will do as a width."
    widths = ", ".join(f"{w:g}" for w in piece.widths_mm)
    parts = []
    if piece.width_allowance_share:
        parts.append(f"{100 * piece.width_allowance_share:g} %")
    if piece.width_allowance_mm:
        parts.append(f"{piece.width_allowance_mm:g} mm")
    more = f", each taking {' and '.join(parts)} more of the board" if parts else ""
    return f"Widths: {widths} mm{more}."


def differences(old: GradingRules, new: GradingRules) -> list[Difference]:
    """What the newer rules have otherwise: grades, limits of each grade, sizes of pieces. Origins are left aside."""
    found = _listed("order of grades", _order(old), _order(new))
    shared = {g.code for g in old.grades} & {g.code for g in new.grades}
    found += [Difference("gone", f"grade {g.code}", "", "") for g in old.grades if g.code not in shared]
    found += [Difference("added", f"grade {g.code}", "", "") for g in new.grades if g.code not in shared]
    before, after = _by_subject(old, shared), _by_subject(new, shared)
    for key in dict.fromkeys([*before, *after]):
        was, is_ = before.get(key), after.get(key)
        limit = is_ or was
        assert limit is not None
        what = f"{limit.grade}: {subject_in_words(limit)}"
        if was is None or is_ is None:
            change = "added" if was is None else "gone"
            found.append(Difference(change, what, was.text() if was else "", is_.text() if is_ else ""))
        elif not _equal(was.limit, is_.limit):
            found.append(Difference("changed", what, was.text(), is_.text()))
    lengths = {g.code: g.min_length_mm for g in old.grades}
    for grade in new.accepting:
        was_mm = lengths.get(grade.code, grade.min_length_mm)
        found += _listed(f"shortest piece of {grade.code}", f"{was_mm:g} mm", f"{grade.min_length_mm:g} mm")
    sentences = piece_in_words(old.piece), piece_in_words(new.piece)
    found += [Difference("gone", "pieces", s, "") for s in sentences[0] if s not in sentences[1]]
    return found + [Difference("added", "pieces", "", s) for s in sentences[1] if s not in sentences[0]]


def _order(rules: GradingRules) -> str:
    return ", ".join(g.code for g in rules.grades)


def _listed(what: str, before: str, after: str) -> list[Difference]:
    return [] if before == after else [Difference("changed", what, before, after)]


def _by_subject(rules: GradingRules, shared: set[str]) -> dict[tuple[object, ...], Limit]:
    """Limits of the grades both versions have; the second of two on one thing gets a number of its own."""
    found: dict[tuple[object, ...], Limit] = {}
    for limit in rules.limits:
        if limit.grade in shared:
            key: tuple[object, ...] = (limit.grade, *_subject(limit))
            again = sum(1 for k in found if k[:-1] == key)
            found[(*key, again)] = limit
    return found


def _equal(a: float, b: float) -> bool:
    return a == b or (math.isnan(a) and math.isnan(b))

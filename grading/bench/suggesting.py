"""What the rules say of one board with the features on record and those just typed."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from grading.calc.best_piece import GradingOptions, NotGradable, grade_boards
from grading.calc.feature_kinds import BY_CODE, KINDS, NAMES, looked_for
from grading.calc.graded_boards import GradedBoard, Piece, main_piece
from grading.calc.picture_board import GradedPiece, board_picture
from grading.calc.rule_limits import GradingRules
from grading.calc.typed_features import NotUnderstood, Sizes, read_line
from grading.gradable import feature_frame, gradable_boards, rules_of
from grading.models import RuleSet
from portal.calc.svg import NARROW, WIDE
from sawing.models import Board

TYPED = ("kind", "face", "x_mm", "y_mm", "length_mm", "width_mm", "size_mm", "percent")
MEASURED = frozenset({"percent", "mm"})


@dataclass(frozen=True)
class Suggested:
    """What a rule set suggests: `answer` is None where it has names of grades only; `why` says why."""

    rule_set: RuleSet
    rules: GradingRules | None
    answer: GradedBoard | None
    why: str = ""

    @property
    def grade(self) -> str | None:
        return self.answer.grade if self.answer else None

    @property
    def piece(self) -> Piece | None:
        """The piece that holds the grade: of several the one worth most, then the largest."""
        return main_piece(self.answer.pieces) if self.answer else None


@dataclass(frozen=True)
class TypedLine:
    """A line as it was understood; `wrong` says what was expected where it was not."""

    text: str
    row: dict[str, Any] | None
    wrong: str = ""


def sizes_of(board: Board) -> Sizes:
    """The sizes that places on a board are held against: dry where measured."""
    return Sizes(
        1000 * (board.dry_length_m or board.length_m),
        board.dry_width_mm or board.width_mm,
        board.dry_thickness_mm or board.thickness_mm,
    )


def read_lines(lines: list[str], board: Board) -> list[TypedLine]:
    """Lines as typed at the bench, each understood or refused in words; two of one place are refused."""
    sizes, found, places = sizes_of(board), [], set()
    for text in lines:
        try:
            row = read_line(text, sizes)
        except NotUnderstood as why:
            found.append(TypedLine(text, None, str(why)))
            continue
        place = tuple(row.get(n) for n in ("kind", "face", "x_mm", "y_mm"))
        again = place in places
        places.add(place)
        found.append(TypedLine(text, None if again else row, "the same place twice" if again else ""))
    return found


def typed_frame(rows: list[dict[str, Any]], board: Board) -> pd.DataFrame:
    """Typed rows in the columns of a features file."""
    frame = pd.DataFrame(rows, columns=list(TYPED)).assign(board=board.code)
    return frame.astype(dict.fromkeys(TYPED[2:], float))


def map_of(board: Board, rows: list[dict[str, Any]]) -> pd.DataFrame:
    """The features on record and those just typed; a feature that is there takes the place of "none found"."""
    stored = feature_frame(Board.objects.filter(pk=board.pk))
    typed = typed_frame(rows, board)
    there = {r["kind"] for r in rows if r.get("size_mm") != 0}
    looks = {BY_CODE[k].look for k in there}
    contradicted = (stored["size_mm"] == 0) & stored["kind"].map(lambda k: bool(looks & looks_of(k)))
    kept = stored[~contradicted]
    return pd.concat([f for f in (kept, typed) if len(f)], ignore_index=True) if len(rows) else kept


def looks_of(name: str) -> set[str]:
    """The looks that a kind or a group stands for."""
    return {k.look for k in KINDS if name in (k.code, k.group)}


def suggestions(board: Board, rule_sets: list[RuleSet], features: pd.DataFrame) -> list[Suggested]:
    """What each rule set suggests for the board, in their order."""
    boards = gradable_boards(Board.objects.filter(pk=board.pk))
    found = []
    for rule_set in rule_sets:
        rules = rules_of(rule_set)
        if rules is None:
            found.append(Suggested(rule_set, None, None, "It has names of grades only: grade by eye."))
            continue
        try:
            (answer,) = grade_boards(boards, features, rules, options=GradingOptions(mode="grade"))
        except NotGradable:
            found.append(Suggested(rule_set, rules, None, "Its limits are not filled in: grade by eye."))
            continue
        found.append(Suggested(rule_set, rules, answer))
    return found


def nothing_else(rule_sets: list[RuleSet], features: pd.DataFrame) -> list[str]:
    """Lines that say "none found" of all that the rule sets ask for and nobody looked for; measures stay open."""
    asked: set[str] = set()
    for rule_set in rule_sets:
        rules = rules_of(rule_set)
        for grade in rules.accepting if rules else ():
            asked |= rules.needed(grade.code) if rules else set()
    known = looked_for(k for k in features["kind"] if k in NAMES)
    looks = dict.fromkeys(k.look for k in KINDS if k.code in asked - known and k.measure not in MEASURED)
    return [f"no {look}" for look in looks]


def drawn(
    board: Board, features: pd.DataFrame, found: list[Suggested], *, name: str, title: str, note: str = ""
) -> tuple[str, str]:
    """The board unfolded with its features and the suggested pieces, what decides ringed: wide and narrow."""
    sizes = sizes_of(board)
    decided = {s.answer.deciding_feature.row for s in found if s.answer and s.answer.deciding_feature}
    wide, narrow = (
        board_picture(
            sizes.length_mm,
            sizes.width_mm,
            sizes.thickness_mm,
            features,
            _outlined(found),
            name=f"{name}-{layout}",
            title=title,
            note=note,
            deciding=frozenset(decided),
            width=width,
        )
        for layout, width in (("wide", WIDE), ("narrow", NARROW))
    )
    return wide, narrow


def _outlined(found: list[Suggested]) -> list[GradedPiece]:
    """The suggested pieces for the picture of the board."""
    return [
        GradedPiece(f"{s.rule_set.code}: {p.grade}", p.from_mm, p.to_mm, p.from_edge_mm, p.to_edge_mm)
        for s in found
        if s.answer
        for p in s.answer.pieces
    ]

"""What grading a board answers: its grade and pieces, what decided, what was not assessed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class Piece:
    """A graded piece: its grade, where it lies in the board (mm from the butt end and from edge 1), and the sizes it is
    booked with. `value` is None without prices."""

    grade: str
    from_mm: float
    to_mm: float
    from_edge_mm: float
    to_edge_mm: float
    graded_length_m: float
    graded_width_mm: float
    graded_thickness_mm: float
    price_per_m3: float | None
    value: float | None

    @property
    def volume_m3(self) -> float:
        """Booked volume."""
        return self.graded_length_m * self.graded_width_mm * self.graded_thickness_mm / 1e6


def main_piece(pieces: Sequence[Piece]) -> Piece | None:
    """The piece that stands for several: the one worth most, then the largest; None of none."""
    return max(pieces, key=lambda p: (p.value or 0.0, p.volume_m3), default=None)


@dataclass(frozen=True)
class FeatureNote:
    """A feature in an answer: its place in the frame of features (-1: made from the heartwood) and what it is."""

    row: int
    kind: str
    face: str
    x_mm: float
    y_mm: float
    size: float | None

    def text(self) -> str:
        """For example "dead knot 32 mm at 1240 mm on face1"."""
        size = f" {self.size:g} mm" if self.size else ""
        return f"{self.kind.replace('_', ' ')}{size} at {self.x_mm:.0f} mm on {self.face}"


@dataclass(frozen=True)
class GradedBoard:
    """The answer for one board and rule set.

    `grade`: the best that every feature it limits was looked for; None when that cannot be said; the reject grade when
    no piece holds any grade. `pieces`: what it is made of, from the butt on; none when rejected or not said.
    `provisional`: pieces if nothing more were found by looking for `not_assessed`. `whole_board_grade`: what the board
    holds without docking or ripping. `deciding_feature` and `reasons`: see `deciding`.
    """

    board: str
    rule_set: str
    grade: str | None
    pieces: tuple[Piece, ...]
    provisional_grade: str | None
    provisional: tuple[Piece, ...]
    not_assessed: tuple[str, ...]
    whole_board_grade: str | None = None
    deciding_feature: FeatureNote | None = None
    reasons: tuple[str, ...] = ()

    @property
    def value(self) -> float | None:
        """Value of all pieces; 0 when rejected, None without prices or without a grade."""
        if self.grade is None or any(p.value is None for p in self.pieces):
            return None
        return sum(p.value for p in self.pieces if p.value is not None)

    def to_dict(self) -> dict[str, Any]:
        """Plain values, ready for JSON. The sizes of the one or the most worthy piece stand on top."""
        first = main_piece(self.pieces)
        names = ("from_mm", "to_mm", "graded_length_m", "graded_width_mm", "from_edge_mm")
        feature = self.deciding_feature
        return {
            "board": self.board,
            "grade": self.grade,
            **{name: None if first is None else getattr(first, name) for name in names},
            "deciding_feature": None if feature is None else {**asdict(feature), "text": feature.text()},
            "value": self.value,
            "pieces": [asdict(p) for p in self.pieces],
            "not_assessed": list(self.not_assessed),
            "provisional_grade": self.provisional_grade,
            "provisional_pieces": [asdict(p) for p in self.provisional],
            "whole_board_grade": self.whole_board_grade,
            "reasons": list(self.reasons),
        }

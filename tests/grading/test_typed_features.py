"""Lines typed at the bench: read as a features file would have them, or refused in words."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grading.calc.feature_kinds import BY_CODE
from grading.calc.typed_features import SHORT, NotUnderstood, Sizes, read_line, written

BOARD = Sizes(3000.0, 150.0, 25.0)


@pytest.mark.parametrize(
    ("line", "row"),
    [
        (
            "ek 22 1240 f1 62",
            {"kind": "encased_knot", "face": "face1", "x_mm": 1240, "y_mm": 62, "width_mm": 22},
        ),
        ("DK 8,5 100 f2", {"kind": "dead_knot", "face": "face2", "x_mm": 100, "width_mm": 8.5}),
        ("ch 180 900 f1 40", {"kind": "check", "face": "face1", "x_mm": 900, "y_mm": 40, "length_mm": 180}),
        ("wa 6 400 e2 l300", {"kind": "wane", "face": "edge2", "x_mm": 400, "length_mm": 300, "size_mm": 6}),
        ("wa 6", {"kind": "wane", "face": "edge1", "size_mm": 6}),
        ("sg 8%", {"kind": "slope_of_grain", "face": "piece", "percent": 8}),
        ("ri 4.5", {"kind": "ring_width", "face": "piece", "size_mm": 4.5}),
        ("pi 1500 f2 75", {"kind": "pith", "face": "face2", "x_mm": 1500, "y_mm": 75}),
        ("pith", {"kind": "pith", "face": "piece"}),
        ("bo 9 l3000", {"kind": "bow", "face": "piece", "size_mm": 9, "length_mm": 3000}),
        ("no knots", {"kind": "knots", "face": "piece", "size_mm": 0}),
        ("no ek", {"kind": "encased_knot", "face": "piece", "size_mm": 0}),
        ("resin-pocket 30 800", {"kind": "resin_pocket", "face": "face1", "x_mm": 800, "length_mm": 30}),
    ],
)
def test_lines_that_are_understood(line: str, row: dict[str, object]) -> None:
    assert read_line(line, BOARD) == row


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("", "an empty line"),
        ("xx 22", "no kind of feature"),
        ("knots 22 100", "name the kind: sk, dk"),
        ("ek", "a size for encased knot"),
        ("ek 22", "where along the board"),
        ("ek 22 1240 62 5", "at most 3 numbers"),
        ("ek 22 3001.0 f1", "3001 is too much: the board is 3000 mm long"),
        ("ek 22 100 f1 151", "the surface is 150 mm wide"),
        ("ek 30 100 e1", "the surface is 25 mm wide"),
        ("ek 0 100", "“no ek” when"),
        ("ek -4 100", "“-4” is no number"),
        ("ek nan 100", "“nan” is no number"),
        ("wa 26", "25 mm thick"),
        ("sg 101", "at most 100 %"),
        ("ch 80 900 l90", "its length already"),
        ("no", "then one kind or group"),
        ("no gnarls", "no kind and no group"),
        ("ek 22 100 q1", "no surface"),
    ],
)
def test_lines_that_are_refused_say_what_was_expected(line: str, expected: str) -> None:
    with pytest.raises(NotUnderstood, match=expected):
        read_line(line, BOARD)


def test_every_kind_has_one_short_word() -> None:
    assert sorted(SHORT.values()) == sorted(BY_CODE)


@given(st.text(max_size=60))
def test_no_text_does_more_than_be_refused(text: str) -> None:
    try:
        row = read_line(text, BOARD)
    except NotUnderstood:
        return
    assert row["face"] in ("face1", "face2", "edge1", "edge2", "piece")
    assert all(math.isfinite(v) for v in row.values() if isinstance(v, float))


@given(
    st.sampled_from(["sk", "dk", "ek", "ch", "rp", "ih"]),
    st.integers(1, 100),
    st.integers(0, 3000),
    st.sampled_from(["f1", "f2"]),
    st.integers(0, 150),
)
def test_a_row_writes_the_line_that_gives_it(kind: str, size: int, x: int, face: str, y: int) -> None:
    line = f"{kind} {size} {x} {face} {y}"
    assert written(read_line(line, BOARD)) == line

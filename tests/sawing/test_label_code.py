"""Ten digits of a label: there and back, and everything that is refused."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixtures.demo_generator.labels import board_code
from sawing.calc.label_code import LabelCode, LabelCodeError, decode, encode, read_cell

PARTS = st.tuples(st.integers(1, 99_999), st.integers(0, 1), st.integers(0, 63), st.integers(0, 63))


@given(PARTS)
def test_there_and_back(parts: tuple[int, int, int, int]) -> None:
    text = encode(*parts)
    assert len(text) == 10
    assert decode(text) == LabelCode(*parts)


@given(PARTS)
def test_the_demo_files_generator_writes_the_same(parts: tuple[int, int, int, int]) -> None:
    """It was written apart from this module, before it."""
    assert encode(*parts) == board_code(*parts)


def test_boards_of_the_demo_say_in_words_what_their_codes_hold() -> None:
    with (Path(__file__).parents[2] / "fixtures/demo/boards.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            assert decode(row["board"]).cell == row["cell"]


def test_worked_by_hand() -> None:
    """((201 · 2 + 0) · 64 + 15) · 64 + 33 = 1 647 585: serial 201, butt, row 15, column 33."""
    assert encode(201, 0, 15, 33)[:9] == "001647585"
    code = decode(encode(201, 0, 15, 33))
    assert (code.end_word, code.cell) == ("butt", "B-15-33")


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ((0, 0, 0, 0), "serial number 0"),
        ((100_000, 0, 0, 0), "1 to 99999"),
        ((1, 2, 0, 0), "end 2"),
        ((1, -1, 0, 0), "end -1"),
        ((1, 0, 64, 0), "row 64"),
        ((1, 0, 0, -1), "column -1"),
    ],
)
def test_parts_out_of_range(parts: tuple[int, int, int, int], words: str) -> None:
    with pytest.raises(LabelCodeError, match=words):
        encode(*parts)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "ten digits"),
        ("AR-12-07-1", "ten digits"),
        ("164668385", "has 9 digits"),
        ("16466838580", "has 11 digits"),
        ("1646683859", "check digit"),
        ("1646638858", "check digit"),
        ("１646683858", "ten digits"),
        ("0000000006", "log number 0"),
        ("9999999991", "log number 122070"),
        ("x" * 500, "…”"),
    ],
)
def test_codes_that_are_none(text: str, words: str) -> None:
    with pytest.raises(LabelCodeError, match=words):
        decode(text)


@pytest.mark.parametrize("text", ["1646683858", " 164 668 385 8 ", "1646-683-858\n"])
def test_blanks_and_hyphens_do_not_count(text: str) -> None:
    assert decode(text) == decode("1646683858")


def test_every_tenth_digit_but_one_is_refused() -> None:
    taken = [d for d in "0123456789" if _decodes(f"164668385{d}")]
    assert taken == ["8"]


def test_cells() -> None:
    assert read_cell("B-15-33") == (0, 15, 33)
    assert read_cell(" t-1-0 ") == (1, 1, 0)
    for wrong in ("", "B-15", "C-15-33", "B-64-0", "B-15-64", "B-1-2-3"):
        with pytest.raises(LabelCodeError):
            read_cell(wrong)


def _decodes(text: str) -> bool:
    try:
        decode(text)
    except LabelCodeError:
        return False
    return True

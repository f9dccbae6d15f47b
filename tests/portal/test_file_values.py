"""From raw cells to values: numbers, dates, codes, texts, choices as people and spreadsheets write them."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.calc.file_numbers import number_text
from portal.calc.file_spec import Column
from portal.calc.file_table import RawTable
from portal.calc.file_values import TypedRows, plain_number, typed_rows
from tests.portal.tables import TODAY

WIDTH = Column("width_mm", "number", unit="mm", minimum=5, maximum=1_000, example="150")
LENGTH = Column("length_m", "number", unit="m", minimum=0.05, maximum=13)
MASS = Column("mass_kg", "number", unit="kg", minimum=0.1, maximum=30_000)
COUNT = Column("count", "integer", minimum=0, maximum=99_999)
DAY = Column("day", "date")
CODE = Column("code", "code")
TEXT = Column("text", "text", maximum=20)
STATE = Column("state", "choice", choices=("sound", "top broken"))


def typed(column: Column, *cells: object, beside: dict[Column, list[object]] | None = None) -> TypedRows:
    """Cells of one column (and of others beside it) as they come out of reading; rows count from 2."""
    columns = {column: list(cells), **(beside or {})}
    frame = pd.DataFrame({c.name: pd.Series(values, dtype=object) for c, values in columns.items()})
    rows = np.arange(2, 2 + len(cells))
    table = RawTable("file.csv", tuple(frame.columns), frame, rows, 1)
    return typed_rows(table, list(columns), TODAY)


def value(column: Column, cell: object, **more: object) -> object:
    """The only cell, which must be read without a problem."""
    result = typed(column, cell, **more)
    assert result.problems == []
    assert not result.bad.any()
    found = result.frame[column.name].iloc[0]
    return None if isinstance(found, float) and math.isnan(found) else found


def expected(column: Column, cell: object, **more: object) -> str:
    """What is expected instead of the only cell, which must be a problem."""
    result = typed(column, cell, **more)
    (problem,) = [p for p in result.problems if p.row == 2]
    assert (problem.file, problem.column) == ("file.csv", column.name)
    assert result.bad[0]
    return problem.expected


@pytest.mark.parametrize(
    ("cell", "number"),
    [
        ("152", 152),
        (" 152 ", 152),
        ("152.5", 152.5),
        ("152,5", 152.5),
        (".5e2", 50),
        ("1.5E+2", 150),
        ("+152", 152),
        ("152.", 152),
        ("\xa0152\xa0", 152),
        ("0152", 152),
        ("152 mm", 152),
        ("152MM", 152),
        (152, 152),
        (152.25, 152.25),
    ],
)
def test_numbers_are_read(cell: object, number: float):
    assert value(WIDTH, cell) == number


@pytest.mark.parametrize("cell", ["", "  ", "\xa0", None])
def test_a_blank_cell_is_missing_and_not_zero(cell: object):
    assert value(WIDTH, cell) is None
    assert value(CODE, cell) is None
    assert value(DAY, cell) is None


@pytest.mark.parametrize(
    ("cell", "number"),
    [
        ("1 152,5", 1152.5),
        ("1\u202f152.5", 1152.5),
        ("1'152.5", 1152.5),
        ("1’152", 1152),
        ("1.152,5", 1152.5),
        ("1,152.5", 1152.5),
        ("12 152", 12152),
    ],
)
def test_thousands_separators_are_read_where_only_one_reading_is_possible(cell: str, number: float):
    assert value(MASS, cell) == number


@pytest.mark.parametrize(
    "cell",
    ["ca. 28", "28-30", "-", "NA", "n/a", "inf", "-inf", "NaN", "0x1C", "1e999", "1_000", "１２", "28 28",
     "1 15", "1.1.1", "1,2,3", "1.152.5", "12 3456", ".", ",", "=12", "#DIV/0!", "TRUE", "9" * 61],
)  # fmt: skip
def test_what_is_no_number_is_a_problem(cell: str):
    assert "a number in mm, for example 150" in expected(WIDTH, cell)


@pytest.mark.parametrize(
    ("cell", "unit"), [("2.8 cm", "mm"), ("28 %", "mm"), ("28 mm2", "mm"), ("28 m", "mm")]
)
def test_another_unit_is_a_problem(cell: str, unit: str):
    assert f"a number in {unit}; convert it" in expected(WIDTH, cell)


def test_the_units_own_spelling_is_read_with_a_note():
    result = typed(MASS, "410 kg", "395KG", "400")
    assert result.frame["mass_kg"].tolist() == [410, 395, 400]
    assert result.notes == ["mass_kg: 2 numbers with the unit behind the number (“410 kg” as 410)"]


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        ("-152", "a number at least 5 mm, at most 1000 mm"),
        ("−152", "a number at least 5 mm"),
        ("0", "at least 5 mm"),
        ("1000.1", "at most 1000 mm"),
        (-1, "at least 5 mm"),
    ],
)
def test_a_number_beyond_the_limits_is_a_problem_naming_limit_and_unit(cell: object, told: str):
    assert told in expected(WIDTH, cell)


def test_limits_are_inclusive_unless_above():
    assert value(WIDTH, "5") == 5
    assert value(WIDTH, "1000") == 1000
    assert "above 0 m" in expected(Column("h", "number", unit="m", above=0), "0")


@pytest.mark.parametrize("cell", ["12.5", "12,5", 12.5])
def test_an_integer_must_be_whole(cell: object):
    assert expected(COUNT, cell) == "a whole number"
    assert value(COUNT, "12.0") == 12
    assert value(COUNT, 12.0) == 12


# --- the decimal sign ---


def test_a_comma_before_three_digits_is_asked_about_when_both_readings_are_possible():
    told = expected(MASS, "1,234")
    assert "could be 1234 or 1.234" in told


def test_a_comma_before_three_digits_is_read_by_the_limits_when_one_reading_lies_in_them():
    result = typed(LENGTH, "3,000", "2,400", "4")
    assert result.frame["length_m"].tolist() == [3.0, 2.4, 4.0]
    assert result.notes == [
        "length_m: 2 numbers with a doubtful point or comma, read by the limits of the column (“3,000” as 3)"
    ]


def test_a_comma_before_three_digits_is_asked_about_when_no_reading_lies_in_the_limits():
    assert "could be 1152 or 1.152" in expected(WIDTH, "1,152")


def test_the_rest_of_the_file_decides_what_a_comma_before_three_digits_means():
    commas = typed(MASS, "1,234", beside={LENGTH: ["3,5"]})
    points = typed(MASS, "1,234", beside={LENGTH: ["3.5"]})
    assert commas.frame["mass_kg"].tolist() == [1.234]
    assert points.frame["mass_kg"].tolist() == [1234]
    assert "decimal commas" in commas.notes
    assert any("read as the rest of the file is written (“1,234” as 1234)" in note for note in points.notes)


def test_a_point_before_three_digits_is_a_decimal_sign_unless_the_file_shows_decimal_commas():
    assert typed(MASS, "1.234").frame["mass_kg"].tolist() == [1.234]
    assert typed(MASS, "1.234", beside={LENGTH: ["3,5"]}).frame["mass_kg"].tolist() == [1234]
    assert typed(MASS, "1.234", "12,5").frame["mass_kg"].tolist() == [1234, 12.5]


def test_what_the_file_decides_is_still_held_to_the_limits():
    result = typed(LENGTH, "3,000", "3.5")
    assert result.bad.tolist() == [True, False]
    assert (
        "at most 13 m (read as 3000, as the other numbers of the file are written)"
        in result.problems[0].expected
    )


def test_a_file_with_both_decimal_signs_is_read_where_only_one_reading_is_possible():
    result = typed(MASS, "12,5", "12.5", "1,234", "1.234")
    assert result.frame["mass_kg"].tolist()[:2] == [12.5, 12.5]
    assert result.bad.tolist() == [False, False, True, True]
    assert "decimal commas and decimal points, both read" in result.notes


def test_grouped_numbers_show_the_decimal_sign_of_a_file():
    assert typed(MASS, "1.234", "12.345.678").frame["mass_kg"].tolist()[0] == 1234
    assert typed(MASS, "1,234", "12,345.6").frame["mass_kg"].tolist() == [1234, 12345.6]


def test_a_zero_before_the_sign_leaves_no_doubt():
    assert value(LENGTH, "0,234") == 0.234
    assert value(LENGTH, "0.234") == 0.234


def test_numbers_of_a_spreadsheet_show_nothing_about_the_decimal_sign():
    assert typed(MASS, "1,234", 12.5).bad.tolist() == [True, False]


# --- what a held row keeps ---


def test_numbers_read_by_the_rest_of_the_file_are_remembered_in_a_plain_form():
    result = typed(MASS, "1,234", "1.234", "7", beside={LENGTH: ["3,5", "3,5", "3,5"]})
    assert result.rewritten == {"mass_kg": {0: "1.2340", 1: "1234"}}


@given(st.floats(min_value=1e-6, max_value=1e9))
def test_the_plain_form_of_a_number_has_one_reading_and_that_is_the_number(number: float):
    seen = number_text(plain_number(number))
    assert seen.shape == "sure"
    assert seen.value == number


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_any_number_as_python_writes_it_is_read_back(number: float):
    seen = number_text(repr(number))
    assert number in (seen.value, seen.grouped)


@given(st.text(max_size=30))
def test_any_text_is_a_number_or_not_but_never_an_error(text: str):
    seen = number_text(text)
    assert (seen.shape == "no number") == math.isnan(seen.value)


# --- dates ---


@pytest.mark.parametrize(
    "cell",
    [
        "2025-03-14",
        "2025-3-14",
        "2025-03-14T09:30:00",
        "2025-03-14 00:00:00",
        "2025/03/14",
        "20250314",
        "14.03.2025",
        "14.3.2025",
        "14/03/2025",
        "03/14/2025",
        "14-03-2025",
        "45730",
        45730,
        45730.4,
        dt.datetime(2025, 3, 14, 9, 30),
        dt.date(2025, 3, 14),
    ],
)
def test_dates_are_read(cell: object):
    assert value(DAY, cell) == dt.date(2025, 3, 14)


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        ("03/04/2025", "one way only: 2025-04-03 or 2025-03-04?"),
        ("03-04-2025", "one way only"),
        ("31.02.2025", "a date of the calendar"),
        ("2025-13-01", "a date of the calendar"),
        ("14.03.25", "year-month-day"),
        ("14/03/25", "year-month-day"),
        ("March 2025", "year-month-day"),
        ("2025", "year-month-day"),
        (2025, "year-month-day"),
        ("1899-12-31", "a date from 1900 on"),
        ("2025-07-02", "not in the future (today is 2025-06-30)"),
        ("60000", "not in the future"),
        (dt.time(9, 30), "year-month-day"),
        (1e300, "year-month-day"),
    ],
)
def test_dates_that_are_doubtful_or_impossible_are_problems(cell: object, told: str):
    assert told in expected(DAY, cell)


def test_a_day_ahead_of_the_server_is_not_the_future():
    assert value(DAY, "2025-07-01") == dt.date(2025, 7, 1)


def test_the_same_day_and_month_leave_no_doubt():
    assert value(DAY, "04/04/2025") == dt.date(2025, 4, 4)


@pytest.mark.parametrize(
    ("clear", "read"), [("14/03/2025", dt.date(2025, 4, 3)), ("03/14/2025", dt.date(2025, 3, 4))]
)
def test_an_unmistakable_date_settles_the_others_of_the_file(clear: str, read: dt.date):
    result = typed(DAY, "03/04/2025", clear)
    assert result.frame["day"].tolist() == [read, dt.date(2025, 3, 14)]
    assert result.rewritten == {"day": {0: read.isoformat()}}
    assert len(result.notes) == 1


def test_a_file_with_both_orders_settles_nothing():
    assert typed(DAY, "03/04/2025", "14/03/2025", "03/14/2025").bad.tolist() == [True, False, False]


@given(st.dates(dt.date(1927, 6, 1), TODAY))
def test_a_spreadsheets_day_number_is_its_date(day: dt.date):
    # Day 25569 of the spreadsheets' count is 1970-01-01, where Unix time begins.
    assert value(DAY, 25569 + (day - dt.date(1970, 1, 1)).days) == day


# --- codes, texts, choices ---


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("AR-01", "AR-01"),
        ("  AR \xa0 01\t", "AR 01"),
        ("007", "007"),
        (7, "7"),
        (7.0, "7"),
        (7.5, "7.5"),
        (1646683858.0, "1646683858"),
        ("7.0", "7.0"),
        ("-01", "-01"),
        ("+A", "+A"),
        ("@A", "@A"),
        ("12E5", "12E5"),
        ("La\u0308rche", "Lärche"),
    ],
)
def test_codes_are_read(cell: object, code: str):
    assert value(CODE, cell) == code


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        ("=A1", "not a formula"),
        ('="007"', "not a formula"),
        ("1,23457E+11", "shortened"),
        ("#N/A", "spreadsheet error"),
        (1.5e17, "lost digits"),
        (dt.datetime(2025, 2, 1), "made a date"),
        ("A" * 65, "at most 64 characters (this has 65)"),
        ("A\x00B", "U+0000"),
        ("A\x1bB", "U+001B"),
        ("A\u202eB", "U+202E"),
        ("A\ufeffB", "U+FEFF"),
        ("A\ufffdB", "a letter was lost"),
    ],
)
def test_codes_that_a_spreadsheet_or_a_trick_spoilt_are_problems(cell: object, told: str):
    assert told in expected(CODE, cell)


@pytest.mark.parametrize("cell", ["=1+1", "+49", "-x", "@home", "a,b;c", "two\nlines", 12.0])
def test_texts_are_data_whatever_they_begin_with(cell: object):
    assert value(TEXT, cell) == ("12" if cell == 12.0 else cell)


@pytest.mark.parametrize(("cell", "told"), [("x" * 21, "at most 20 characters"), ("a\x07b", "U+0007")])
def test_texts_too_long_or_with_control_characters_are_problems(cell: str, told: str):
    assert told in expected(TEXT, cell)


@pytest.mark.parametrize("cell", ["top broken", "Top_Broken", " TOP-BROKEN "])
def test_choices_match_however_they_are_typed(cell: str):
    assert value(STATE, cell) == "top broken"


def test_other_choices_are_problems_naming_the_choices():
    assert expected(STATE, "half dead") == "one of: sound, top broken"


# --- the frame ---


def test_the_frame_has_the_types_the_computing_counts_on():
    beside = {CODE: ["A", None], DAY: ["2025-03-14", ""], COUNT: ["3", ""], TEXT: ["", "x"]}
    frame = typed(WIDTH, "150", "", beside=beside).frame
    assert [str(frame[c].dtype) for c in ("width_mm", "count", "code", "day", "text")] == [
        "float64",
        "float64",
        "object",
        "object",
        "object",
    ]
    assert frame["code"].tolist() == ["A", None]
    assert frame["day"].tolist() == [dt.date(2025, 3, 14), None]
    assert frame["_row"].tolist() == [2, 3]
    assert frame["_notes"].tolist() == [None, None]


def test_absent_optional_columns_are_there_and_missing():
    table = RawTable("f", ("code",), pd.DataFrame({"code": pd.Series(["A"], dtype=object)}), np.array([2]), 1)
    frame = typed_rows(table, [CODE, WIDTH, DAY]).frame
    assert frame["width_mm"].isna().all()
    assert frame["day"].tolist() == [None]


def test_columns_the_kind_does_not_name_are_kept_as_notes():
    cells = pd.DataFrame(
        {"code": ["A", "B"], "crew": ["Ada", " "], "seen": [dt.datetime(2025, 3, 14), 3.0]}, dtype=object
    )
    table = RawTable("f", tuple(cells.columns), cells, np.array([2, 3]), 1)
    assert typed_rows(table, [CODE]).frame["_notes"].tolist() == [
        {"crew": "Ada", "seen": "2025-03-14"},
        {"seen": "3"},
    ]

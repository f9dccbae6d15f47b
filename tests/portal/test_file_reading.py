"""Reading a file into a raw table: encoding, separator, sheet, header row, row numbers."""

from __future__ import annotations

import io
from pathlib import Path

import openpyxl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from portal.calc.file_reading import RawTable, ReadLimits, UnreadableFile, read_table
from portal.calc.file_spec import Problem
from tests.faults.spoilt_files import with_part
from tests.portal.tables import HEADERS, STEMS, csv_bytes, lines, xlsx_bytes

SMALL = ReadLimits(max_bytes=2_000, max_rows=20, max_columns=12, max_cells=100, max_line_characters=500)


def read(data: bytes | Path, filename: str = "stems.csv", limits: ReadLimits | None = None) -> RawTable:
    more = {"limits": limits} if limits else {}
    return read_table(data, filename, expected=STEMS.names, required=STEMS.required, **more)


def refusal(data: bytes, filename: str = "stems.csv", limits: ReadLimits | None = None) -> Problem | None:
    """Why a file is refused; None when it is read. Anything else that is raised fails the test."""
    try:
        table = read(data, filename, limits)
    except UnreadableFile as error:
        return error.problem
    assert len(table.rows) == len(table.cells) > 0
    return None


def refused(data: bytes, filename: str = "stems.csv", limits: ReadLimits | None = None) -> str:
    problem = refusal(data, filename, limits)
    assert problem is not None
    return f"row {problem.row}: {problem.found} / {problem.expected}"


def test_reads_a_plain_csv_file():
    table = read(lines("stem,girth_mm,height_m", "S1,640,17.5", "S2,655,18"))
    assert table.headers == ("stem", "girth_mm", "height_m")
    assert table.cells.to_dict("list") == {
        "stem": ["S1", "S2"],
        "girth_mm": ["640", "655"],
        "height_m": ["17.5", "18"],
    }
    assert table.rows.tolist() == [2, 3]
    assert (table.header_row, table.notes, table.problems) == (1, (), ())


def test_reads_a_path_as_it_reads_bytes(tmp_path: Path):
    path = tmp_path / "stems.csv"
    path.write_bytes(lines("stem,girth_mm", "S1,640"))
    assert read(path).cells.equals(read(path.read_bytes()).cells)


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_finds_the_separator_by_the_header(separator: str):
    table = read(csv_bytes([["stem", "girth_mm", "remark"], ["S1", "640", "a, b; c | d\te"]], separator))
    assert table.cells.iloc[0].tolist() == ["S1", "640", "a, b; c | d\te"]


def test_decimal_commas_do_not_pass_for_separators():
    table = read(lines("stem;girth_mm;height_m", "S1;640,5;17,5", "S2;655,5;18,0"))
    assert table.cells["height_m"].tolist() == ["17,5", "18,0"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-32"])
def test_reads_unicode_encodings(encoding: str):
    table = read("stem,girth_mm,remark\nS1,640,Lärche – schräg".encode(encoding))
    assert table.cells["remark"].tolist() == ["Lärche – schräg"]
    assert table.notes == ()


def test_reads_windows_1252_with_a_note():
    table = read(
        "stem,girth_mm,remark\nS1,640,gut\nS2,650,schräg, 5 °\n".replace("g, 5", "g 5").encode("cp1252")
    )
    assert table.cells["remark"].tolist() == ["gut", "schräg 5 °"]
    assert table.notes == (
        "not UTF-8: read as Windows-1252 (first such letter in row 3); check names with accents",
    )


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_reads_all_line_ends(end: str):
    assert read(csv_bytes([["stem", "girth_mm"], ["S1", "640"]], end=end)).rows.tolist() == [2]


@pytest.mark.parametrize(
    "header", ["Stem;GIRTH mm", " stem ; Girth-mm", "\ufeffSTEM;girth (mm)", "stem;girth [mm]"]
)
def test_header_names_match_however_they_are_typed(header: str):
    assert list(read(lines(header, "S1;640")).cells.columns) == ["stem", "girth_mm"]


def test_skips_title_rows_above_the_header_with_a_note():
    table = read(lines("Stems of the north stand", "", "as of May;;", "stem;girth_mm;height_m", "S1;640;17"))
    assert table.header_row == 4
    assert table.rows.tolist() == [5]
    assert table.notes == ("rows 1, 3 above the header skipped",)


def test_the_row_with_most_names_is_the_header():
    table = read(lines("stem;;", "stem;girth_mm;height_m", "S1;640;17"))
    assert table.header_row == 2


def test_a_first_line_naming_the_separator_is_no_row():
    table = read(lines("sep=;", "stem;girth_mm", "S1;640"))
    assert (table.header_row, table.rows.tolist()) == (1, [2])


def test_blank_rows_are_dropped_and_row_numbers_stay_right():
    table = read(lines("stem,girth_mm", "S1,640", "", ",", "S2,655", ",", "   ,", ""))
    assert table.rows.tolist() == [2, 5]


def test_a_cell_over_two_lines_is_one_row():
    table = read(lines("stem,girth_mm,remark", 'S1,640,"fork', 'at 4 m"', "S2,655,"))
    assert table.rows.tolist() == [2, 3]
    assert table.cells["remark"].tolist() == ["fork\nat 4 m", ""]


def test_a_header_repeated_in_the_middle_is_skipped_with_a_note():
    table = read(lines("stem,girth_mm", "S1,640", "stem,girth_mm", "S2,655"))
    assert table.rows.tolist() == [2, 4]
    assert table.notes == ("header repeated in row 3, skipped",)


def test_short_rows_are_filled_and_long_ones_are_a_problem():
    table = read(lines("stem,girth_mm,height_m", "S1,640", "S2,655,18,", "S3,12,5,18"))
    assert table.cells["height_m"].tolist() == [None, "18", "5"]
    assert [(problem.row, problem.column) for problem in table.problems] == [(4, None)]
    assert "decimal comma" in table.problems[0].expected


def test_other_columns_are_kept_under_their_own_names():
    table = read(lines("stem,girth_mm,crew,,crew", "S1,640,Ada,x,Ben"))
    assert list(table.cells.columns) == ["stem", "girth_mm", "crew", "column D", "crew (again)"]
    assert table.notes == ("column D has no header; its cells are kept as notes",)


def test_a_name_twice_is_a_problem_of_the_header():
    table = read(lines("Girth mm,stem,girth_mm", "640,S1,641"))
    (problem,) = table.header_problems
    assert (problem.row, problem.column) == (1, "girth_mm")


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "0 bytes"),
        (b"\n\n , \n", "only blank cells"),
        (lines("S1,640", "S2,655"), "no header row; the first row is: S1 | 640"),
        (lines("stem,girth_mm"), "a header in row 1 and no rows below it"),
        (lines("stem,girth_mm", "stem,girth_mm"), "only repeated headers"),
        (lines("stem,girth_mm", 'S1,"640', "S2,655"), "row 2: a quotation mark that is never closed"),
    ],
)
def test_refuses_what_holds_no_table(data: bytes, told: str):
    assert told in refused(data)


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"x" * 2_001, "0.0 MB / at most 0 MB"),
        (lines("stem,girth_mm", *["S,1"] * 20), "more than 20 rows"),
        (lines("stem,girth_mm" + "," * 9, *["S" + "," * 10] * 10), "more than 20 rows or 100 cells"),
        (lines("stem,girth_mm" + "," * 11, "S1,1"), "13 columns"),
        (lines("stem,girth_mm", "S" * 501 + ",1"), "a line too long"),
    ],
)
def test_refuses_what_is_beyond_the_limits(data: bytes, told: str):
    assert told in refused(data, limits=SMALL)


def test_reads_a_workbook_with_its_types():
    table = read(xlsx_bytes([["Stems", None], ["STEM", "Girth mm"], ["S1", 640.5], [17, 655]]), "stems.xlsx")
    assert table.cells.to_dict("list") == {"stem": ["S1", 17], "girth_mm": [640.5, 655]}
    assert table.rows.tolist() == [3, 4]
    assert table.notes == ("row 1 above the header skipped",)


def test_content_counts_and_not_the_name():
    workbook = read(xlsx_bytes([["stem", "girth_mm"], ["S1", 640]]), "stems.csv")
    text = read(lines("stem,girth_mm", "S1,640"), "stems.xlsx")
    assert workbook.notes == ("read as a workbook, which it is, whatever its name says",)
    assert text.notes == ("read as delimited text, which it is, whatever its name says",)


def book_of(sheets: dict[str, list[list[object]]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title.removeprefix("hidden "))
        sheet.sheet_state = "hidden" if title.startswith("hidden ") else "visible"
        for row in rows:
            sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


GOOD = [["stem", "girth_mm"], ["S1", 640]]


@pytest.mark.parametrize(
    ("sheets", "notes"),
    [
        ({"empty": [], "stems": GOOD}, ()),
        ({"notes": [["stem"], ["seen"]], "stems": GOOD}, ("sheet “stems” read; the other sheets were not",)),
        ({"hidden old": GOOD, "stems": GOOD}, ()),
    ],
)
def test_the_sheet_whose_header_fits_is_read(sheets: dict[str, list[list[object]]], notes: tuple[str, ...]):
    table = read(book_of(sheets), "stems.xlsx")
    assert table.cells["stem"].tolist() == ["S1"]
    assert table.notes == notes


def test_two_fitting_sheets_are_asked_about_even_when_one_has_more_columns():
    sheets = {"May": GOOD, "June": [["stem", "girth_mm", "height_m"], ["S2", 1, 2]]}
    assert "several sheets with such a table: “May”, “June”" in refused(book_of(sheets), "stems.xlsx")


def with_computed_formula(data: bytes) -> bytes:
    """The workbook with the value 640 stored behind each formula, as spreadsheet programs store it."""
    part = "xl/worksheets/sheet1.xml"
    return with_part(
        data, part, lambda xml: xml.replace(b"<v />", b"<v>640</v>").replace(b"<v></v>", b"<v>640</v>")
    )


def test_formulas_are_read_by_their_stored_values_with_a_note():
    table = read(with_computed_formula(xlsx_bytes([["stem", "girth_mm"], ["S1", "=2*320"]])), "stems.xlsx")
    assert table.cells["girth_mm"].tolist() == [640]
    assert table.problems == ()
    assert table.notes == ("1 formula cells read by their stored values",)


def test_formulas_without_a_stored_value_are_problems_of_their_cells():
    table = read(xlsx_bytes([["stem", "girth_mm"], ["S1", 640], ["S2", "=2*320"]]), "stems.xlsx")
    assert [(p.row, p.column, p.found) for p in table.problems] == [
        (3, "girth_mm", "a formula without a stored value")
    ]


def test_merged_cells_above_the_header_do_no_harm():
    book = openpyxl.Workbook()
    for row in (["Stems of May"], *GOOD):
        book.active.append(row)
    book.active.merge_cells("A1:B1")
    stream = io.BytesIO()
    book.save(stream)
    assert read(stream.getvalue(), "stems.xlsx").rows.tolist() == [3]


def test_a_cell_far_to_the_right_or_below_costs_nothing():
    book = openpyxl.Workbook()
    for row in GOOD:
        book.active.append(row)
    book.active["XFD2"] = "far"
    stream = io.BytesIO()
    book.save(stream)
    assert read(stream.getvalue(), "stems.xlsx").cells.shape == (1, 2)
    book.active["A1048576"] = "deep"
    stream = io.BytesIO()
    book.save(stream)
    assert read(stream.getvalue(), "stems.xlsx").rows.tolist() == [2, 1048576]


@given(st.binary(max_size=400))
@example(b"PK\x03\x04")
@example(b"PK\x05\x06" + b"\0" * 18)
@example(b"\xff\xfe\x00\xd8")
@example(b"\xef\xbb\xbf")
@settings(max_examples=300)
def test_any_bytes_are_read_or_refused(data: bytes):
    problem = refusal(data)
    assert problem is None or problem.expected


@given(st.text(alphabet=st.sampled_from('stem,girth_mm;\t|"\n\r =0123456789.,\ufeff\x00\x07é'), max_size=200))
@settings(max_examples=300)
def test_any_text_with_a_header_is_read_or_refused(text: str):
    problem = refusal(("stem,girth_mm\n" + text).encode())
    assert problem is None or problem.expected


WORKBOOK = xlsx_bytes([list(HEADERS), ["S1", "T1", 640, 17.5, 400, 12, None, "sound", "x"]])


@given(st.lists(st.tuples(st.integers(0, len(WORKBOOK) - 1), st.integers(0, 255)), min_size=1, max_size=8))
@settings(max_examples=150, deadline=None)
def test_a_workbook_with_flipped_bytes_is_read_or_refused(changes: list[tuple[int, int]]):
    spoilt = bytearray(WORKBOOK)
    for place, value in changes:
        spoilt[place] = value
    problem = refusal(bytes(spoilt), "stems.xlsx")
    assert problem is None or problem.expected

"""Checking a file: what is taken and what held, references, duplicates, mended rows, styles of writing."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portal.calc.file_checks import Checked, check_file, check_rows
from portal.calc.file_spec import FileKind, Known, Problem, header_key
from tests.portal.tables import HEADERS, STEMS, TODAY, csv_bytes, lines, xlsx_bytes

TREES = {"trees": pd.DataFrame({"tree": ["T-1", "T-2", "007", "0012", "012"]})}


def check(data: bytes, kind: FileKind = STEMS, known: Known | None = None, **more: object) -> Checked:
    return check_file(data, "stems.csv", kind, known or {}, today=TODAY, **more)


def places(result: Checked) -> list[tuple[int | None, str | None]]:
    return [(problem.row, problem.column) for problem in result.problems]


def test_good_rows_are_accepted_and_rows_with_problems_are_held_whole():
    result = check(lines("stem,girth_mm,height_m", "S1,640,17", "S2,-1,99", "S3,655,18"))
    assert result.accepted["stem"].tolist() == ["S1", "S3"]
    assert result.accepted["_row"].tolist() == [2, 4]
    assert places(result) == [(3, "girth_mm"), (3, "height_m")]
    assert result.held.to_dict("records") == [{"stem": "S2", "girth_mm": "-1", "height_m": "99", "_row": 3}]
    assert not result.unreadable


def test_all_missing_columns_are_told_at_once_with_the_headers_found():
    result = check(lines("tree,height_m,Datum", "T-1,17,x"))
    assert result.unreadable
    assert places(result) == [(1, "stem"), (1, "girth_mm")]
    assert result.problems[1].found == "no such column among: tree, height_m, Datum"
    assert "a column named girth_mm (girth in mm)" in result.problems[1].expected


def test_an_unreadable_file_has_its_one_problem_and_empty_frames_with_all_columns():
    result = check(b"")
    assert (result.unreadable, len(result.problems), len(result.held)) == (True, 1, 0)
    assert list(result.accepted.columns) == [*HEADERS, "_row", "_notes"]


# --- references ---


def resolved(tree: str) -> str | Problem:
    result = check(lines("stem,tree,girth_mm", f"S1,{tree},640"), known=TREES)
    return result.problems[0] if result.problems else result.accepted["tree"].iloc[0]


@pytest.mark.parametrize(
    ("typed", "found"), [("T-1", "T-1"), ("t-1", "T-1"), (" T - 1", "T-1"), ("7", "007"), ("07", "007")]
)
def test_references_are_found_however_they_are_typed(typed: str, found: str):
    assert resolved(typed) == found


@pytest.mark.parametrize("typed", ["T-3", "12", "0007", "8"])
def test_unknown_and_ambiguous_references_are_problems(typed: str):
    problem = resolved(typed)
    assert isinstance(problem, Problem)
    assert (problem.row, problem.column, problem.found) == (2, "tree", typed)


def test_close_codes_are_suggested():
    problem = resolved("T-3")
    assert isinstance(problem, Problem)
    assert "close: T-" in problem.expected


def test_lost_zeros_are_counted_in_a_note():
    result = check(lines("stem,tree,girth_mm", "S1,7,640", "S2,7,650", "S3,T-1,1"), known=TREES)
    assert result.accepted["tree"].tolist() == ["007", "007", "T-1"]
    assert "tree: 2 codes read with the leading zeros they had lost" in result.notes


def test_a_reference_that_is_itself_held_is_told_so():
    held = {"trees": {"T-9": "layout.csv row 12"}}
    result = check(lines("stem,tree,girth_mm", "S1,t-9,640"), known=TREES, held_codes=held)
    assert "tree t-9 is itself held (layout.csv row 12)" in result.problems[0].expected


def test_references_are_not_checked_against_what_is_not_given():
    assert check(lines("stem,tree,girth_mm", "S1,nowhere,640")).problems == []


# --- duplicates ---


def test_of_equal_codes_the_first_stays_and_the_others_name_its_row():
    result = check(lines("stem,girth_mm", "S1,640", "S2,650", "S1,660", " S1 ,670"))
    assert result.accepted["girth_mm"].tolist() == [640, 650]
    assert places(result) == [(4, "stem"), (5, "stem")]
    assert all("the first stands in row 2" in problem.expected for problem in result.problems)


def test_a_key_of_several_columns_counts_missing_cells_as_equal():
    kind = dataclasses.replace(STEMS, key=("stem", "height_m"))
    result = check(lines("stem,girth_mm,height_m", "S1,1,", "S1,2,3", "S1,4,", "S1,5,3.0"), kind)
    assert places(result) == [(4, "stem"), (5, "stem")]
    assert "row 2" in result.problems[0].expected
    assert "row 3" in result.problems[1].expected


def test_equal_references_typed_differently_are_the_same_key():
    kind = dataclasses.replace(STEMS, key=("tree",))
    result = check(lines("stem,tree,girth_mm", "S1,T-1,640", "S2,t-1,650"), kind, TREES)
    assert places(result) == [(3, "tree")]


# --- the check of the kind itself ---


def test_the_kinds_check_sees_only_good_rows_and_its_problems_hold_rows():
    seen: list[list[str]] = []

    def no_giants(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
        seen.append(rows["stem"].tolist())
        wrong = rows[rows["girth_mm"] > 1_000]
        return [Problem(file, int(row), "girth_mm", "a giant", "less") for row in wrong["_row"]]

    kind = dataclasses.replace(
        STEMS, check=no_giants, remarks=lambda rows, known, file: [f"{len(rows)} left"]
    )
    result = check(lines("stem,girth_mm", "S1,640", "S2,x", "S3,2000"), kind)
    assert seen == [["S1", "S3"]]
    assert result.accepted["stem"].tolist() == ["S1"]
    assert places(result) == [(3, "girth_mm"), (4, "girth_mm")]
    assert result.notes[-1] == "1 left"


def test_more_problems_than_anyone_reads_are_cut_with_a_count_and_all_rows_stay_held():
    rows = [f"S{n},x,x" for n in range(60_000)]
    result = check(lines("stem,girth_mm,height_m", *rows))
    assert len(result.problems) == 100_001
    assert result.problems[-1].found == "and 20,000 more problems"
    assert len(result.held) == 60_000


# --- mended rows ---


def mend(result: Checked, change: Callable[[dict[str, object]], None] | None = None) -> Checked:
    rows = [{str(key): cell for key, cell in row.items()} for row in result.held.to_dict("records")]
    for row in rows:
        if change:
            change(row)
    return check_rows(rows, "stems.csv", STEMS, TREES, today=TODAY)


def test_held_rows_sent_again_unmended_have_the_same_problems():
    data = lines(
        "stem;tree;girth_mm;seen_on", "S1;T-1;640,5;14/03/2025", "S2;T-9;-1;", ";T-1;1.234;03/04/2025"
    )
    first = check(data, known=TREES)
    again = mend(first)
    assert [p.to_dict() for p in again.problems] == [p.to_dict() for p in first.problems]
    assert places(again) == [(3, "tree"), (3, "girth_mm"), (4, "stem")]


def test_a_mended_row_keeps_the_meaning_its_file_gave_it():
    data = lines("stem;girth_mm;seen_on", "S1;640,5;14/03/2025", ";1.234;03/04/2025")
    mended = mend(check(data), lambda row: row.update(stem="S2"))
    assert mended.problems == []
    assert mended.accepted["girth_mm"].tolist() == [1234]
    assert mended.accepted["seen_on"].tolist() == [dt.date(2025, 4, 3)]
    assert mended.accepted["_row"].tolist() == [3]


def test_a_mended_row_of_a_workbook_reads_as_the_workbook_did():
    rows = [["stem", "girth_mm", "seen_on", "mass_kg"], [None, 1.234, dt.datetime(2025, 3, 14), 12.0]]
    mended = mend(check(xlsx_bytes(rows)), lambda row: row.update(stem=" S9 "))
    assert mended.problems == []
    row = mended.accepted.iloc[0]
    assert (row["stem"], row["girth_mm"], row["seen_on"], row["mass_kg"]) == (
        "S9",
        1.234,
        dt.date(2025, 3, 14),
        12,
    )


def test_no_rows_at_all_are_checked_without_an_error():
    assert check_rows([], "stems.csv", STEMS, {}).accepted.empty


# --- any tolerated style reads back the same ---

CODES = st.from_regex(r"[A-Z]{1,3}-[0-9]{1,4}", fullmatch=True)
REMARKS = st.none() | st.from_regex(r"[a-zäß][a-zäß ,;|]{0,12}[a-zäß]", fullmatch=True)
ROWS = st.lists(
    st.tuples(
        CODES,
        st.integers(100, 8_999).map(lambda tenths: tenths / 10),
        st.none() | st.integers(20, 59).map(lambda halves: halves / 2),
        st.none() | st.integers(10, 299_999).map(lambda tenths: tenths / 10),
        st.none() | st.integers(0, 99),
        st.none() | st.dates(dt.date(1950, 1, 1), TODAY),
        st.none() | st.sampled_from(["sound", "top broken", "dead"]),
        REMARKS,
    ),
    min_size=1,
    max_size=6,
    unique_by=lambda row: row[0],
)
NAMES = tuple(name for name in HEADERS if name != "tree")


@dataclasses.dataclass(frozen=True)
class Style:
    """One way people write a table down."""

    order: list[int]
    workbook: bool
    separator: str
    decimal: str
    thousands: str
    encoding: str
    end: str
    upper: bool
    spaced: bool
    title: bool
    gaps: bool
    dates: str


STYLES = st.builds(
    Style,
    order=st.permutations(range(len(NAMES))),
    workbook=st.booleans(),
    separator=st.sampled_from([",", ";", "\t", "|"]),
    decimal=st.sampled_from([".", ","]),
    thousands=st.sampled_from(["", " ", "'", "\xa0"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    upper=st.booleans(),
    spaced=st.booleans(),
    title=st.booleans(),
    gaps=st.booleans(),
    dates=st.sampled_from(["%Y-%m-%d", "%d.%m.%Y", "%Y/%m/%d", "%Y%m%d"]),
)


def text_of(cell: object, style: Style) -> object:
    """A cell as it is typed in this style."""
    if cell is None:
        return None if style.workbook else ""
    if isinstance(cell, float):
        if style.workbook:
            return cell
        return f"{cell:,.1f}".replace(",", style.thousands).replace(".", style.decimal)
    if isinstance(cell, dt.date):
        if style.workbook and style.upper:
            return dt.datetime.combine(cell, dt.time())
        return cell.strftime(style.dates)
    if isinstance(cell, int) and style.workbook:
        return cell
    text = str(cell)
    return f" {text}\xa0" if style.spaced else text


def written(rows: list[tuple[object, ...]], style: Style) -> tuple[bytes, list[int]]:
    """The table as a file in this style, and the row number of each row."""
    header = [NAMES[at].upper() if style.upper else NAMES[at] for at in style.order]
    if style.spaced:
        header = [f" {name.replace('_', ' ')} " for name in header]
    table: list[list[object]] = [["Stems, May"], []] if style.title else []
    table.append(list(header))
    numbers = []
    for row in rows:
        if style.gaps:
            table.append([None, "  "])
        table.append([text_of(row[at], style) for at in style.order])
        numbers.append(len(table))
    table += [[None] * 3, [" "]] if style.gaps else []
    if style.workbook:
        return xlsx_bytes(table), numbers
    data = csv_bytes(
        [["" if cell is None else cell for cell in line] for line in table], style.separator, style.end
    )
    return data.decode().encode(style.encoding), numbers


@given(ROWS, STYLES)
@settings(max_examples=150, deadline=None)
def test_a_table_reads_back_the_same_in_any_tolerated_style(rows: list[tuple[object, ...]], style: Style):
    data, numbers = written(rows, style)
    result = check(data)
    assert [problem.to_dict() for problem in result.problems] == []
    assert result.accepted["_row"].tolist() == numbers
    got = result.accepted[list(NAMES)].astype(object)
    expected = pd.DataFrame(rows, columns=list(NAMES)).astype(object)
    assert (
        got.where(got.notna(), None).values.tolist() == expected.where(expected.notna(), None).values.tolist()
    )


@given(st.binary(max_size=300), st.booleans())
@settings(max_examples=200)
def test_checking_any_bytes_never_fails(data: bytes, headed: bool):
    result = check(b"stem,girth_mm,seen_on,health\n" + data if headed else data, known=TREES)
    assert result.unreadable == (len(result.accepted) + len(result.held) == 0)
    assert result.problems or len(result.held) == 0


@given(st.text(max_size=40))
def test_header_keys_are_stable(text: str):
    assert header_key(header_key(text)) == header_key(text)

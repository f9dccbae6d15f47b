"""Label sheets as PDF, read back from the file itself."""

import math

import numpy as np
import pytest

from portal.codes.reading import read_picture
from sawing.calc.label_code import LabelCode, decode
from sawing.calc.label_lattice import DOT_MM
from sawing.labels.sheet_layout import Sheet, tiles
from sawing.labels.sheet_pdf import sheets_pdf
from tests.pdf_pages import pages_of

SMALL = Sheet("AR-01-03-1", 201, 0, 23, 23, 7, 160, 25, 100, 1, 11)
TOP = Sheet("AR-01-03-1", 201, 1, 23, 23, 7, 160, 25, 100, 1, 11)
LARGE = Sheet("AR-01-03-1", 201, 0, 61, 61, 7, 420, 25, 100, 1, 11)


def all_codes(picture: np.ndarray) -> list[str]:
    """Texts read window by window: a library that looks for many codes at once passes over some."""
    found: dict[str, None] = {}
    for top in range(0, picture.shape[0], 200):
        for left in range(0, picture.shape[1], 200):
            part = np.ascontiguousarray(picture[top : top + 420, left : left + 420])
            if part.min() == 0 and min(part.shape) > 60:
                found |= dict.fromkeys(code.text for code in read_picture(part, enough=0))
    return list(found)


def test_a_small_end_is_one_page_and_every_code_on_it_is_read() -> None:
    (page,) = pages_of(sheets_pdf([SMALL], "Labels"))
    found = all_codes(page.picture())
    assert set(found) == {LabelCode(201, 0, row, col).text for row, col in SMALL.cells}
    assert len(found) == len(SMALL.cells) > 250


def test_rows_run_down_and_columns_to_the_right_at_the_pitch() -> None:
    (page,) = pages_of(sheets_pdf([SMALL], "Labels"))
    places = {decode(c.text): c.middle for c in read_picture(page.picture(), enough=0)}
    x0, y0 = places[LabelCode(201, 0, *SMALL.pith_cell)]
    for code, (x, y) in places.items():
        row, col = SMALL.pith_cell
        assert (x - x0) * DOT_MM == pytest.approx((code.col - col) * 8.297, abs=0.35)
        assert (y - y0) * DOT_MM == pytest.approx((code.row - row) * 8.297, abs=0.35)


def test_columns_of_the_top_end_run_to_the_left() -> None:
    (page,) = pages_of(sheets_pdf([TOP], "Labels"))
    places = {decode(c.text): c.middle for c in read_picture(page.picture(), enough=0)}
    assert {code.end for code in places} == {1}
    row, col = TOP.pith_cell
    assert places[LabelCode(201, 1, row, col + 5)][0] < places[LabelCode(201, 1, row, col - 5)][0]
    assert places[LabelCode(201, 1, row + 5, col)][1] > places[LabelCode(201, 1, row - 5, col)][1]


def test_every_side_of_every_module_lies_on_whole_dots_of_a_300_dpi_printer() -> None:
    for page in pages_of(sheets_pdf([SMALL, LARGE], "Labels")):
        sides = np.array(page.rectangles) / 72 * 300
        assert np.abs(sides - np.round(sides)).max() < 1e-6
        sizes = np.round(sides[:, 2:]).astype(int)
        assert set(sizes[:, 1]) == {7}
        assert (sizes[:, 0] % 7 == 0).all()


def test_a_large_end_goes_over_pages_that_hold_every_code_once() -> None:
    pages = pages_of(sheets_pdf([LARGE], "Labels"))
    assert len(pages) == len(tiles(LARGE)) > 1
    read = [code for page in pages for code in all_codes(page.picture())]
    assert len(read) == len(set(read))
    assert set(read) == {LabelCode(201, 0, row, col).text for row, col in LARGE.cells}


@pytest.mark.parametrize("diameter", [90, 160, 163, 200, 263, 300, 420, 503])
def test_pages_fit_the_paper_meet_and_cover_the_sheet(diameter: float) -> None:
    cells = math.ceil((diameter + 20) / 8.297) | 1
    sheet = Sheet("L", 1, 0, cells, cells, 7, diameter, 25, 100, 1, 11)
    found = tiles(sheet)
    for tile in found:
        assert (tile.right - tile.left) * DOT_MM <= 210 - 2 * 12.6
        assert (tile.top - tile.bottom) * DOT_MM <= 297 - 50
    side = 12 * 7
    for row, col in sheet.cells:
        x, y = sheet.corner(row, col)
        holding = [
            t for t in found if t.left <= x and x + side <= t.right and t.bottom <= y and y + side <= t.top
        ]
        assert len(holding) == 1


def test_codes_lie_on_the_wood_and_cover_it() -> None:
    """Every cell whose symbol lies whole within the measured circle is there; none reaches 3 mm beyond it."""
    for row in range(LARGE.rows):
        for col in range(LARGE.cols):
            u, v = (abs(col - 30) * 8.297 + 3.56, abs(row - 30) * 8.297 + 3.56)
            corner = math.hypot(u, v)
            if corner < 210 - 0.01:
                assert (row, col) in LARGE.cells
            if corner > 213.01:
                assert (row, col) not in LARGE.cells


def test_what_is_printed_beside_the_codes() -> None:
    text = pages_of(sheets_pdf([SMALL], "Labels"))[0].text
    for words in (
        "Log AR-01-03-1, butt end, serial number 00201",
        "TOP OF LOG · AR-01-03-1 · BUTT · 00201",
        "25 × 100 mm and more keep 11 or more whole codes (1 mm spoilt at each face)",
        "North lies at",
        "the pith; scan the code over the pith",
        "100 mm: measure it. Print at 100 %",
        "Page 1 of 1",
        "C2: Logs roll and spring under growth stress",
        "no phone in the hand beside running machinery.",
        "90°",
    ):
        assert words in text


def test_both_ends_in_one_file() -> None:
    pages = pages_of(sheets_pdf([SMALL, TOP], "Labels"))
    assert ["butt end" in page.text for page in pages] == [True, False]
    assert "top end" in pages[1].text


def test_long_and_foreign_names_are_shortened_not_lost() -> None:
    sheet = Sheet("Ярославль-" + "x" * 54, 5, 0, 23, 23, 7, 160, 25, 100, 1, 11)
    text = pages_of(sheets_pdf([sheet], "Labels"))[0].text
    assert "…" in text
    assert "Page 1 of 1" in text

"""From printed labels to a board that is known by them, and a tree found by its tag."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from django.conf import settings
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from sawing.calc.label_code import decode, encode
from sawing.models import Board, BoardCode, LabelSheet, Log
from tests.pdf_pages import pages_of
from tests.sawing.spoilt_slices import MILD, cut

pytestmark = pytest.mark.journey
STUDY = "/sawing/four-fells/four-fells-thirty/"
LOG = "AR-01-03-1"


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("width", [1280, 390])
def test_labels_are_printed_and_a_photo_of_a_board_end_names_its_board(
    sign_in: Callable[..., Page], width: int, tmp_path: Path
) -> None:
    page = sign_in("matti", width)
    page.goto(f"{STUDY}logs/")
    page.get_by_role("link", name="Labels").click()
    page.get_by_label(f"Log {LOG}", exact=True).check()
    page.get_by_label("The logs ticked in the list").check()
    page.get_by_label("Also for logs that have sheets").check()
    page.get_by_role("button", name="Make sheets").click()
    expect(page.get_by_text("Sheets for 1 log are made")).to_be_visible()
    sheet = LabelSheet.objects.get(serial__log__code=LOG, end="butt", serial__retired_at__isnull=True)

    page.get_by_label(f"Log {LOG}", exact=True).check()
    with page.expect_download() as download:
        page.get_by_role("button", name="Print sheets").click()
    printed = pages_of(Path(download.value.path()).read_bytes())
    assert any(f"Log {LOG}, butt end, serial number {sheet.serial}" in p.text for p in printed)

    # The board end that comes off the saw with a piece of that sheet on it.
    rng = np.random.default_rng(4)
    ends = (cut(rng, MILD, serial=sheet.serial.number) for _ in range(50))
    board_end = next(e for e in ends if all(_on_sheet(text, sheet) for text in e.there))
    photo = tmp_path / "end.jpg"
    Image.fromarray(board_end.picture).save(photo, "JPEG", quality=88)

    page.goto(f"{STUDY}labels/")
    page.get_by_role("link", name="Scan codes").click()
    page.get_by_label("Photo of a board end").set_input_files(photo)
    page.get_by_role("button", name="Read the photo").click()
    expect(page.get_by_text("read in the photo")).to_be_visible()
    assert page.locator("table.data tbody tr").count() >= 4
    expect(page.get_by_text("Codes without a board, butt end of")).to_be_visible()

    board = Board.objects.filter(log__code=LOG).order_by("code").first()
    page.get_by_label("Board", exact=True).select_option(board.code)
    page.get_by_role("button", name="to this board").click()
    expect(page.get_by_text(f"linked to board {board.code}")).to_be_visible()
    linked = BoardCode.objects.filter(sheet=sheet)
    assert {code.board_id for code in linked} == {board.pk}
    assert {code.read_by for code in linked} == {"photo"}

    # A wedge scanner types the digits of one of them and Enter.
    page.goto(f"{STUDY}labels/scan/")
    page.keyboard.type(sorted(board_end.whole & _texts(linked))[0])
    page.keyboard.press("Enter")
    expect(page.locator("table.data tbody").get_by_role("link", name=board.code, exact=True)).to_be_visible()
    assert Log.objects.get(code=LOG).serials.count() == 2


def _on_sheet(text: str, sheet: LabelSheet) -> bool:
    code = decode(text)
    return code.end == 0 and code.row < sheet.rows and code.col < sheet.cols


def _texts(linked: object) -> set[str]:
    return {encode(c.sheet.serial.number, 0, c.row, c.col) for c in linked}  # type: ignore[attr-defined]


def test_the_field_page_finds_trees_by_what_their_tags_hold(browser: Browser) -> None:
    """The module that looks up scanned codes, given tags' contents: the tree's code, slashes and all."""
    source = (settings.BASE_DIR / "trials/static/trials/field/walk.js").read_text(encoding="utf-8")
    page = browser.new_page()
    page.route(
        "**/*", lambda route: route.fulfill(body="<!doctype html><title>x</title>", content_type="text/html")
    )
    page.route("**/walk.js", lambda route: route.fulfill(body=source, content_type="text/javascript"))
    page.goto("http://tags.example.org/")
    codes = ["AR-12-07", "A/1", "B/1", "S/3-1-044", "Åsen 12"]
    found = page.evaluate(
        """async ([codes, typed]) => {
            const { Walk } = await import("/walk.js");
            const walk = new Walk({ trees: codes.map((code) => ({ code })), traits: [] });
            return typed.map((text) => walk.find(text));
        }""",
        [
            codes,
            [*codes, "ar-12-07", "https://portal.example.org/trees/t/tree/AR-12-07/", "3-1-044", "1", "zz"],
        ],
    )
    page.close()
    assert found == [0, 1, 2, 3, 4, 0, 0, 3, None, None]

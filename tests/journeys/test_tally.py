"""A day at the saw with a scanner on a tablet: the network goes, the tab closes, the session ends; every board once.

And before it: the labels as sheets are printed, a board's end photographed, its codes read out of the photo.
"""

import json
import shutil
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from sawing.calc.label_code import decode
from sawing.calc.tally_warnings import TEXTS, BoardAtSaw, Plan, board_warnings
from sawing.models import Board, BoardCode, HeldTally, Study, TallyEntry
from sawing.tally.at_saw import logs_at_saw
from tests.conftest import Place
from tests.journeys.conftest import FLAGS
from tests.journeys.portal_process import PortalProcess
from tests.journeys.stand_places import Phone
from tests.pdf_pages import pages_of
from tests.sawing.scanners import code, saw_ready
from tests.sawing.spoilt_slices import MILD, cut

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]
ADDRESS = "/sawing/small/first/tally/"


class Tablet(Phone):
    """A tablet with a wedge scanner beside the saw."""

    def visit(self) -> Page:
        self.page.goto(ADDRESS)
        self.page.wait_for_selector("html[data-ready]")
        return self.page

    def begin(self, user: Any) -> Page:
        """Sign in, fetch the logs while there is network, and wait until the page itself is kept."""
        self.sign_in(user)
        page = self.visit()
        page.evaluate("navigator.serviceWorker.ready.then(() => caches.keys())")
        self.wait_until("navigator.serviceWorker.controller !== null")
        self.wait_until("tally.page.known !== null")
        return page

    def scan(self, *codes: str) -> None:
        """What a wedge scanner does: type the digits, press Enter."""
        for digits in codes:
            self.page.keyboard.type(digits)
            self.page.keyboard.press("Enter")

    def board(self, *codes: str, width: str = "150", thickness: str = "28") -> None:
        """Scan, then sizes by key, then Enter; until the board is kept on the tablet."""
        before = self.kept()
        self.page.locator("#scan").focus()
        self.scan(*codes)
        for name, value in (("thickness", thickness), ("width", width)):
            self.page.locator(f"#{name}-keys [data-value='{value}']").click()
        self.page.locator("#keep").click()
        self.wait_until(f"tally.store.get('sequence').then((n) => n === {before + 1})")

    def kept(self) -> int:
        """How many entries this tablet ever made."""
        return int(self.page.evaluate("tally.store.get('sequence').then((n) => n ?? 0)"))

    def unsent(self) -> int:
        return int(self.page.evaluate("tally.queue.unsent()"))

    def wait_until_sent(self) -> None:
        self.page.evaluate("tally.queue.now()")
        self.wait_until("tally.queue.unsent().then((n) => n === 0 && tally.queue.state === 'idle')")


@pytest.fixture
def study(transactional_db: None, full: Place) -> Study:
    return saw_ready(full)


@pytest.fixture
def portal(study: Study) -> Iterator[PortalProcess]:
    with PortalProcess() as process:
        yield process


@pytest.fixture
def tablet(browser: Browser, portal: PortalProcess, tmp_path: Path) -> Iterator[Tablet]:
    flags = [str(shutil.which("chromium")), *FLAGS]
    with ExitStack() as stack:
        made = Tablet(browser, tmp_path / "tablet", portal.url, flags)
        stack.callback(lambda: made.context.close())
        yield made
    assert made.errors == []


def photo_of_an_end(serial: int, folder: Path) -> Path:
    """A board's end with a piece of the printed sheet on it, mildly spoilt, photographed (see the label tests)."""
    rng = np.random.default_rng(4)
    ends = (cut(rng, MILD, serial=serial) for _ in range(200))
    labels = ((end, [decode(text) for text in end.there]) for end in ends)
    end = next(
        end for end, found in labels if all(c.end == 0 and 5 <= c.row < 35 and 5 <= c.col < 35 for c in found)
    )
    photo = folder / "end.jpg"
    Image.fromarray(end.picture).save(photo, "JPEG", quality=88)
    return photo


def test_a_day_at_the_saw(tablet: Tablet, portal: PortalProcess, study: Study, full: Place) -> None:
    mill = full.people["mill"]
    page = tablet.begin(mill)
    expect(page.get_by_text("no phone in the hand beside running machinery")).to_be_visible()
    tablet.board(code(row=18), code(row=18, col=23))
    expect(page.locator("#said")).to_contain_text("Kept")
    expect(page.locator("#balance")).to_contain_text("1 board")
    tablet.wait_until_sent()

    # Without a network, and the tab closed over a board half typed.
    tablet.context.set_offline(True)
    tablet.board(code(row=22), width="100")
    tablet.board(code(row=26), width="200")
    tablet.page.locator("#scan").focus()
    tablet.scan(code(row=14))
    tablet.page.locator("#width-keys [data-value='150']").click()
    expect(page.locator("#network")).to_contain_text("2 entries wait on this tablet")
    tablet.close()
    page = tablet.open(offline=True)
    tablet.visit()
    expect(page.locator("#network")).to_contain_text("2 entries wait on this tablet")
    expect(page.locator("#balance")).to_contain_text("3 boards")
    expect(page.locator("#width")).to_have_value("150")
    expect(page.locator("#codes")).to_contain_text("B-14-20")
    page.locator("#keep").click()
    tablet.wait_until("tally.queue.unsent().then((n) => n === 3)")

    # The last one was wrong: undone, still without a network.
    page.get_by_role("button", name="Undo").click()
    tablet.wait_until("tally.queue.unsent().then((n) => n === 4)")
    assert set(Board.objects.filter(study=study).values_list("code", flat=True)) == {code(row=18)}

    # The network is back, but the session is not: nothing is lost, and it goes up after signing in.
    tablet.context.clear_cookies()
    tablet.context.set_offline(False)
    tablet.page.evaluate("tally.queue.now()")
    expect(page.locator("#network")).to_contain_text("You are signed out. 4 entries wait")
    portal.kill()
    tablet.board(code(row=30), width="100")
    portal.start()
    tablet.sign_in(mill)
    tablet.wait_until_sent()
    expected = {code(row=18): 150.0, code(row=22): 100.0, code(row=26): 200.0, code(row=30): 100.0}
    assert dict(Board.objects.filter(study=study).values_list("code", "width_mm")) == expected
    assert TallyEntry.objects.count() == 6
    assert not HeldTally.objects.exists()
    assert BoardCode.objects.filter(board__study=study).count() == 5

    # The balance shows it.
    page.goto(f"{ADDRESS}balance/")
    expect(page.locator("#now")).to_contain_text("1 sawn log became boards")
    total = sum(28 * width * 3 / 1e6 for width in expected.values())
    expect(page.get_by_role("row").filter(has_text="Boards").first).to_contain_text(f"{total:.4f}")


def test_what_is_odd_is_asked_about_at_once(tablet: Tablet, study: Study, full: Place) -> None:
    """By keyboard alone: a width that is not in the set is asked about, then corrected; a long board is confirmed."""
    page = tablet.begin(full.people["mill"])
    page.locator("#scan").focus()
    tablet.scan(code(row=20))
    page.keyboard.press("Enter")  # nothing scanned: on to the first size that is missing
    for size in ("28", "170", "3.0"):
        page.keyboard.type(size)
        page.keyboard.press("Enter")
        if size == "170":
            page.locator("#length").fill("")
    page.locator("#keep").click()
    expect(page.locator("#doubt")).to_contain_text("170 mm wide, the nearest of the set is 150 mm")
    page.get_by_role("button", name="Change it").click()
    page.keyboard.type("150")
    page.locator("#length").fill("3,2")
    page.locator("#keep").click()
    expect(page.locator("#doubt")).to_contain_text("3.20 m long, its log 3.00 m")
    page.get_by_role("button", name="It is so").click()
    tablet.wait_until_sent()
    entry = TallyEntry.objects.get()
    assert (entry.width_mm, entry.length_m, entry.confirmed) == (150, 3.2, True)
    assert [w["kind"] for w in entry.warnings] == ["longer"]
    # Another code of the same log, then of the same board: what is tallied is not tallied again.
    tablet.scan(code(row=20))
    expect(page.locator("#said")).to_contain_text("is tallied: 28 × 150 mm, 3.2 m")
    page.locator("#clear").click()
    tablet.scan("1234567890")
    expect(page.locator("#said")).to_contain_text("is no label's code and no log")


def test_from_the_printed_label_to_the_balance(
    tablet: Tablet, study: Study, full: Place, tmp_path: Path
) -> None:
    """Sheets printed, the photo of a board's end read on the page, its codes tallied, the board in the balance."""
    page = tablet.begin(full.people["mill"])
    page.goto("/sawing/small/first/labels/")
    page.get_by_label("Log L1", exact=True).check()
    with page.expect_download() as download:
        page.get_by_role("button", name="Print sheets").click()
    printed = pages_of(Path(download.value.path()).read_bytes())
    assert any("Log L1, butt end, serial number 00101" in p.text for p in printed)

    page.goto("/sawing/small/first/labels/scan/")
    page.get_by_label("Photo of a board end").set_input_files(photo_of_an_end(101, tmp_path))
    page.get_by_role("button", name="Read the photo").click()
    read = page.locator("table.data tbody th.code").all_text_contents()
    assert len(read) >= 4

    tablet.visit()
    tablet.board(*read, width="100")
    tablet.wait_until_sent()
    board = Board.objects.get(study=study)
    assert (board.code, board.codes.count()) == (read[0], len(read))
    page.goto(f"{ADDRESS}balance/")
    expect(page.locator("#now")).to_contain_text("1 sawn log became boards")
    page.goto("/sawing/small/first/logs/L1/")
    expect(page.get_by_role("row").filter(has_text="Boards").first).to_contain_text("0.0084")


def test_unsent_boards_go_up_from_a_file_on_another_tablet_once(
    tablet: Tablet, browser: Browser, portal: PortalProcess, study: Study, full: Place, tmp_path: Path
) -> None:
    """Saved without a network, brought back elsewhere and sent from there; then the first tablet sends them too."""
    page = tablet.begin(full.people["mill"])
    tablet.context.set_offline(True)
    tablet.board(code(row=22), width="100")
    tablet.board(code(row=26), width="200")
    page.get_by_text("Save to a file, bring a file back").click()
    with page.expect_download() as download:
        page.get_by_role("button", name="Save unsent to a file").click()
    file = tmp_path / "unsent.json"
    download.value.save_as(file)
    assert tablet.unsent() == 2

    other = Tablet(browser, tmp_path / "other", portal.url, [str(shutil.which("chromium")), *FLAGS])
    try:
        second = other.begin(full.people["mill"])
        second.get_by_text("Save to a file, bring a file back").click()
        spoilt = tmp_path / "spoilt.json"
        spoilt.write_text(file.read_text().replace('"kind": "board"', '"kind": "dance"', 1))
        second.locator("#restore").set_input_files(spoilt)
        expect(second.get_by_text("1 of 2 entries in this file cannot be read")).to_be_visible()
        second.get_by_role("button", name="Seen").click()
        assert other.unsent() == 0
        second.locator("#restore").set_input_files(file)
        expect(second.locator("#restored")).to_have_text("2 entries brought back; they go up in order.")
        other.wait_until_sent()
        second.locator("#scan").focus()
        other.scan("L1")
        expect(second.locator("#balance")).to_contain_text("2 boards")
    finally:
        other.context.close()
    assert other.errors == []
    sent = dict(Board.objects.filter(study=study).values_list("code", "width_mm"))
    assert sent == {code(row=22): 100.0, code(row=26): 200.0}

    tablet.context.set_offline(False)
    tablet.wait_until_sent()
    page.locator("#restore").set_input_files(file)  # and once more, after all of it was taken
    tablet.wait_until_sent()
    assert dict(Board.objects.filter(study=study).values_list("code", "width_mm")) == sent
    assert TallyEntry.objects.count() == 2
    assert not HeldTally.objects.exists()
    device = page.evaluate("tally.store.get('device')")
    assert {str(entry.device) for entry in TallyEntry.objects.all()} == {device}


CASES: list[tuple[BoardAtSaw, list[BoardAtSaw]]] = []
for n, (row, width, thickness, length, flitch) in enumerate(
    [
        (20, 150.0, 28.0, 3.0, "3"), (38, 240.0, 28.0, 3.0, None), (5, 300.0, 60.0, 3.2, "7"),
        (30, 104.0, 28.0, 3.04, "4"),
        (33, 90.0, 20.0, 2.4, None), (21, 400.0, 120.0, 3.0, "1"),
    ]
):  # fmt: skip
    cells = ((0, row, 12), (0, row + n % 3, 28)) if n % 2 else ((n // 2 % 2, row, 20),)
    CASES.append(
        (
            BoardAtSaw(f"B{n}", thickness, width, length, flitch, cells),
            [
                BoardAtSaw("A", 28.0, 200.0, 3.0, "1", ((0, 12, 20),)),
                BoardAtSaw("C", 28.0, 200.0, 3.0, "5", ((0, 33, 12), (0, 33, 20))),
                *[BoardAtSaw(f"M{k}", 28.0, 300.0, 3.0, None, ((1, 3 + k, 9),)) for k in range(3 * n)],
            ],
        )
    )


def test_the_page_and_the_server_ask_about_the_same(tablet: Tablet, study: Study, full: Place) -> None:
    """The rules stand twice, in Python and in the page: the same words for the same boards."""
    page = tablet.begin(full.people["mill"])
    log = logs_at_saw(study)["L1"]
    plan = Plan((25.0, 50.0), (100.0, 150.0, 200.0), 3.0, 4.0, 4.0)
    packed = page.evaluate("tally.page.known.logs.get('L1')")
    for board, others in CASES:
        sent = json.dumps([packed, vars(plan), vars(board), [vars(o) for o in others]])
        found = page.evaluate(
            "async (sent) => { const [log, plan, board, others] = JSON.parse(sent);"
            " const { boardWarnings } = await import('/static/sawing/tally/warnings.js');"
            " return boardWarnings(log, plan, board, others); }",
            sent,
        )
        assert found == [w.to_dict() for w in board_warnings(log, plan, board, others)]
    kinds = {w.kind for board, others in CASES for w in board_warnings(log, plan, board, others)}
    assert kinds == set(TEXTS)


def test_labels_are_read_alike(tablet: Tablet, full: Place) -> None:
    page = tablet.begin(full.people["mill"])
    texts = [
        code(),
        code("L3", 39, 1, 1),
        "0000000000",
        "123",
        code()[:9] + "x",
        "9999999999",
        f" {code()[:5]}-{code()[5:]}",
    ]
    found = page.evaluate(
        "async (texts) => { const { decode } = await import('/static/sawing/tally/label.js');"
        " return texts.map((text) => decode(text)); }",
        texts,
    )
    for text, read in zip(texts, found, strict=True):
        try:
            label = decode(text)
        except ValueError:
            assert read is None, text
        else:
            assert (read["serial"], read["end"], read["row"], read["col"], read["cell"], read["text"]) == (
                label.serial, label.end, label.row, label.col, label.cell, label.text,
            )  # fmt: skip

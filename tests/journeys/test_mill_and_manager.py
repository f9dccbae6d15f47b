"""A day at the mill and a day at the manager's desk."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from django.conf import settings
from playwright.sync_api import Page, expect

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

DEMO = Path(settings.BASE_DIR) / "fixtures" / "demo"
STUDY = "/sawing/four-fells/four-fells-thirty/"


def recovery_row(page: Page, clone: str) -> dict[str, str]:
    """What the study page says of a clone: boards, and green recovery with its interval."""
    page.goto(STUDY)
    row = page.locator("table.data tr", has=page.get_by_role("link", name=clone, exact=True)).first
    cells = row.locator("td, th").all_inner_texts()
    return {"boards": cells[3], "volume": cells[5], "green": cells[6]}


@pytest.mark.parametrize("width", [1280, 390])
def test_a_mill_clerk_mends_three_rows_and_sees_recovery_change(
    sign_in: Callable[..., Page], width: int
) -> None:
    page = sign_in("matti", width)
    expect(page.get_by_role("heading", name="What awaits you")).to_be_visible()
    before = recovery_row(page, "HL-07")

    page.goto("/")
    page.get_by_role("link", name="Bring a tally of boards").click()
    page.locator("input[name=file]").set_input_files(DEMO / "spoilt_tally.csv")
    page.get_by_role("button", name="Check the file").click()
    expect(page.get_by_text("Rows that would be held")).to_be_visible()
    expect(page.get_by_role("cell", name="AR-04-11-7")).to_be_visible()
    assert recovery_row(page, "HL-07") == before, "checking alone must change nothing"
    page.go_back()

    page.get_by_role("button", name=re.compile("Store 5 rows and hold 3")).click()
    expect(page.get_by_text("5 rows stored, 3 held.")).to_be_visible()
    between = recovery_row(page, "HL-07")
    expect(page.get_by_text("3 rows of this study's files are held")).to_be_visible()
    page.get_by_role("link", name="See the held rows under Files").click()
    page.get_by_role("link", name="3 held").click()

    page.get_by_label("log of row 4", exact=True).fill("AR-04-11-3")
    page.get_by_label("width_mm of row 6", exact=True).fill("wide")
    page.get_by_label("board of row 9", exact=True).fill("1649649629")
    page.get_by_role("button", name="Check again").click()
    expect(page.get_by_text("2 rows stored, 1 still held.")).to_be_visible()
    expect(page.get_by_label("width_mm of row 6", exact=True)).to_have_value("wide")

    page.get_by_label("width_mm of row 6", exact=True).fill("155")
    page.get_by_role("button", name="Check again").click()
    expect(page.get_by_text("1 rows stored, 0 still held.")).to_be_visible()
    after = recovery_row(page, "HL-07")
    expect(page.get_by_text("files are held")).to_have_count(0)
    assert before["volume"] < between["volume"] < after["volume"]
    assert before["green"] != after["green"]

    page.goto("/files/new/?kind=boards&place=four-fells/four-fells-thirty")
    page.locator("input[name=file]").set_input_files(DEMO / "spoilt_tally.csv")
    page.get_by_role("button", name="Check the file").click()
    expect(page.get_by_text("Bringing it again adds nothing.")).to_be_visible()


@pytest.mark.parametrize("width", [1280, 390])
def test_a_manager_follows_a_figure_of_a_clone_to_its_boards(
    sign_in: Callable[..., Page], width: int
) -> None:
    page = sign_in("edwin", width)
    page.get_by_role("link", name="Clones", exact=True).first.click()
    page.get_by_role("link", name="HL-07", exact=True).first.click()
    expect(page.get_by_role("heading", name="HL-07")).to_be_visible()
    figure = page.locator(".figure", has_text="Green recovery").first
    expect(figure).to_contain_text("95 % interval")
    words = figure.inner_text()
    boards = int(re.search(r"(\d+)\s*boards", words)[1])
    recovery = float(re.search(r"([\d.]+)\s*%", words)[1])
    figure.get_by_role("link", name=re.compile("rows")).click()

    expect(page.get_by_role("heading", name="Boards")).to_be_visible()
    expect(page.get_by_text(f"{boards} boards from 6 trees")).to_be_visible()
    total = page.get_by_text(re.compile(r"together [\d.]+\s*m³")).inner_text()
    board_volume = float(re.search(r"together ([\d.]+)", total)[1])
    page.goto(STUDY + "logs/?f_clone=HL-07")
    volumes = page.locator("table.data tbody tr").evaluate_all(
        "rows => rows.map(r => [...r.querySelectorAll('td,th')].map(c => c.innerText))"
    )
    heads = page.locator("table.data thead th").all_inner_texts()
    place = next(i for i, h in enumerate(heads) if h.replace("↕", "").strip().startswith("Volume"))
    log_volume = sum(float(row[place]) for row in volumes if len(row) > place and row[place])
    assert recovery == pytest.approx(100 * board_volume / log_volume, abs=0.15)

    page.goto("/boards/four-fells/four-fells-thirty/?f_log__felling__tree__clone__code=HL-07")
    page.locator("table.data tbody tr").first.get_by_role("link").first.click()
    trail = page.get_by_role("navigation", name="Trail")
    expect(trail).to_contain_text("Four Fells hybrid larch trial")
    trail.get_by_role("link").last.click()
    expect(page.get_by_text("The same log by every formula")).to_be_visible()

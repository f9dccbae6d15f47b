"""At the bench: a flitch is traced on the page, docked, and its plan kept."""

import base64
import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from sawing.models import Flitch

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

DOCK = "/sawing/four-fells/four-fells-thirty/dock/"
WIDE_BUTT, NARROW_TOP = [(200, 400), (2200, 420), (4200, 440)], [(200, 620), (2200, 610), (4200, 600)]


def press_on_sheet(page: Page, points: list[tuple[float, float]]) -> None:
    """Click on the sheet at places given in its own units (mm on the grid)."""
    sheet = page.get_by_role("application", name="Sheet to trace on")
    sheet.scroll_into_view_if_needed()
    for x, y in points:
        spot = sheet.evaluate(
            "(sheet, at) => { const p = new DOMPoint(at[0], at[1]).matrixTransform(sheet.getScreenCTM());"
            " return [p.x, p.y]; }",
            [x, y],
        )
        page.mouse.click(*spot)


def stations(page: Page) -> list[list[float]]:
    text = page.get_by_label("Stations").input_value()
    return [[float(number) for number in line.split(",")] for line in text.splitlines()]


@pytest.mark.parametrize("width", [1280, 390])
def test_a_flitch_is_traced_docked_and_its_plan_kept(sign_in: Callable[..., Page], width: int) -> None:
    page = sign_in("matti", width)
    page.goto(DOCK)
    page.get_by_role("link", name="Trace a flitch").click()
    press_on_sheet(page, WIDE_BUTT)
    expect(page.get_by_text("Each edge needs at least two points.")).to_be_visible()
    page.get_by_label("The other edge").check()
    press_on_sheet(page, NARROW_TOP)
    expect(page.get_by_text("3 stations.")).to_be_visible()
    traced = stations(page)
    # A pixel of the sheet is some millimetres: more on a phone.
    slack = 6 if width == 1280 else 20
    assert [x for x, _, _ in traced] == pytest.approx([0, 2000, 4000], abs=2 * slack)
    assert [right - left for _, left, right in traced] == pytest.approx([220, 190, 160], abs=2 * slack)

    page.get_by_label("Log").select_option("AR-01-32-2")
    page.get_by_label("Flitch", exact=True).fill("99")
    page.get_by_label("Thickness").fill("28")
    page.get_by_role("button", name="Store the outline").click()
    expect(page.get_by_text("is stored as traced")).to_be_visible()
    expect(page.get_by_text("Outline: traced.")).to_be_visible()
    expect(page.get_by_role("row", name=re.compile("Best with one dock"))).to_be_visible()

    page.get_by_label("Docks at most").select_option("none")
    page.get_by_role("button", name="Dock again").click()
    expect(page.get_by_role("row", name=re.compile("Best with one dock"))).to_have_count(0)
    page.get_by_role("button", name="Keep this plan").click()
    expect(page.get_by_text("The plan is kept.")).to_be_visible()
    kept = Flitch.objects.get(log__code="AR-01-32-2", code="99").dock_results.get()
    assert kept.outline_from == "traced"
    assert kept.rules["max_docks"] == 0
    assert len(kept.result["boards"]) == 1


def test_a_flitch_is_traced_on_the_keyboard_alone(sign_in: Callable[..., Page]) -> None:
    page = sign_in("matti")
    page.goto(f"{DOCK}trace/")
    sheet = page.get_by_role("application", name="Sheet to trace on")
    sheet.focus()
    keys = ["Enter", *["Shift+ArrowRight"] * 10, "Enter", "4", *["Shift+ArrowUp"] * 2, "Enter"]
    keys += [*["Shift+ArrowLeft"] * 10, "Enter", "ArrowLeft", "Enter", "Backspace"]
    for key in keys:
        sheet.press(key)
    expect(page.get_by_text("2 stations.")).to_be_visible()
    assert stations(page) == [[0, -100, 100], [1000, -100, 100]]


def test_a_photo_needs_its_scale(sign_in: Callable[..., Page]) -> None:
    page = sign_in("matti")
    page.goto(f"{DOCK}trace/")
    drawn = '<svg xmlns="http://www.w3.org/2000/svg" width="1000" height="300"><rect width="1000" height="300"/></svg>'
    png = page.evaluate(
        """async (drawn) => {
          const image = new Image();
          image.src = "data:image/svg+xml," + encodeURIComponent(drawn);
          await image.decode();
          const canvas = document.createElement("canvas");
          canvas.width = 1000; canvas.height = 300;
          canvas.getContext("2d").drawImage(image, 0, 0);
          return canvas.toDataURL("image/png").split(",")[1];
        }""",
        drawn,
    )
    photo = {"name": "flitch.png", "mimeType": "image/png", "buffer": base64.b64decode(png)}
    page.locator("#trace-photo").set_input_files(photo)
    expect(page.get_by_text("The photo is laid under the sheet.")).to_be_visible()
    page.get_by_label("Known length between the two scale marks").fill("2000")
    press_on_sheet(page, [(100, 280), (900, 280)])  # 800 pixels are 2000 mm
    page.get_by_label("One edge").check()
    press_on_sheet(page, [(50, 60), (950, 60)])
    page.get_by_label("The other edge").check()
    press_on_sheet(page, [(50, 140), (950, 140)])
    expect(page.get_by_text("2 stations.")).to_be_visible()
    traced = stations(page)
    assert traced[-1][0] == pytest.approx(2250, abs=10)
    assert [right - left for _, left, right in traced] == pytest.approx([200, 200], abs=8)

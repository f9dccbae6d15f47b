"""At the stack with a phone: boards scanned, readings typed, and the curve stands there."""

import datetime as dt
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from sawing.models import MoistureReading
from tests.conftest import PASSWORD, Place, bring_material
from tests.sawing.drying_place import BUILT, FREE, a_stack, read

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def stacked(transactional_db: None, place: Place) -> Place:
    """A stack read twice: the third day, which makes the curve, is typed in the browser."""
    bring_material(place)
    stack = a_stack(place)
    read(place, stack, 20, "29", "28", "27.5")
    read(place, stack, 45, "23.2", "22.4", "22")
    return place


@pytest.fixture
def phone(stacked: Place, browser: Browser, live_server: Any) -> Iterator[Page]:
    """A page of the mill's person, 360 px wide; errors in it fail the test."""
    errors: list[str] = []
    context = browser.new_context(
        base_url=live_server.url, viewport={"width": 360, "height": 740}, has_touch=True
    )
    page = context.new_page()
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("console", lambda m: errors.append(m.text) if m.type == "error" else None)
    page.goto("/sign-in/")
    page.get_by_label("User name").fill("mill")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/")
    yield page
    context.close()
    assert errors == []


def test_readings_typed_with_a_scanner_on_a_phone_give_the_curve(phone: Page) -> None:
    phone.goto("/sawing/small/first/drying/stacks/S1/")
    expect(phone.get_by_text("needs readings of at least 3 dates")).to_be_visible()
    phone.get_by_role("link", name="Enter readings").click()
    phone.get_by_label("Read on").fill((BUILT + dt.timedelta(days=80)).isoformat())
    boards, readings = phone.locator("[name$='-board']"), phone.locator("[name$='-reading']")
    assert [boards.nth(i).input_value() for i in range(3)] == FREE
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360
    for box in (boards.first.bounding_box(), readings.first.bounding_box()):
        assert box is not None
        assert box["height"] >= 44

    # As a wedge scanner and a thumb do it: Enter after each, and the focus goes on by itself.
    readings.first.click()
    for value in ("19,2", "18.8", "18.5"):
        phone.keyboard.type(value)
        phone.keyboard.press("Enter")
    focused = phone.evaluate("document.activeElement.name")
    assert focused == "row-3-board"  # the next free row; nothing was sent yet
    assert MoistureReading.objects.count() == 6

    before = boards.count()
    phone.get_by_role("button", name="One more row").click()
    expect(boards).to_have_count(before + 1)
    phone.get_by_role("button", name="Store the readings").click()
    expect(phone.get_by_text("3 readings stored.")).to_be_visible()
    assert MoistureReading.objects.count() == 9

    curve = phone.locator(".picture-narrow svg.drying")
    expect(curve).to_be_visible()
    expect(curve.locator("path.interval").first).to_be_visible()
    expect(phone.get_by_text("Mean moisture today")).to_be_visible()
    expect(phone.locator("strong", has_text="between")).to_be_visible()

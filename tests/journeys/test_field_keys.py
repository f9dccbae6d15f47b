"""Keys of the phone that other walks do not press: texts, negative numbers, the camera as a scanner; and what
skipping counts for, on the phone and at the desk."""

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.conftest import Place
from tests.journeys.stand_places import Phone, plant
from tests.journeys.test_field import assessment, new_phone, portal  # noqa: F401 (fixtures)
from trials.desk.progress import progress_of
from trials.entries.actions import add_trait, open_assessment
from trials.entries.queries import done_counts
from trials.models import Assessment

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def assessment(transactional_db: None, place: Place) -> Assessment:  # noqa: F811
    """Traits that need other keys: a lean to both sides, words."""
    plant(place)
    manager = place.people["manager"]
    described: list[dict[str, Any]] = [
        {"code": "lean_deg", "name": "Lean", "unit": "°", "minimum": -30, "maximum": 30, "decimals": 1},
        {"code": "remark", "name": "Remark", "kind": "text"},
    ]
    return open_assessment(
        site=place.trial.sites.get(code="F"),
        name="Age 12",
        measured_from=dt.date(2026, 9, 1),
        traits=[add_trait(trial=place.trial, by=manager, **d) for d in described],
        by=manager,
    )


def test_negative_numbers_and_texts_arrive_as_typed(
    new_phone: Callable[[str], Phone],  # noqa: F811
    assessment: Assessment,
    place: Place,
) -> None:
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])
    page.get_by_role("button", name="Begin the walk").click()
    one.tap(*"4.5", "sign")
    expect(page.locator("#value")).to_have_text("-4.5 °")
    one.tap("sign", "sign", "next")
    expect(page.locator("#trait")).to_have_text("Remark")
    page.get_by_label("Remark").press_sequentially("Pilz am Fuß – <b>nass</b> 😀")
    one.tap("next")
    expect(page.locator("#tree")).to_have_text("F-01-02")
    one.tap("sign", *"45", "next")
    expect(page.locator("#question")).to_have_text("-45 ° is below -30?")
    page.get_by_role("button", name="Type again").click()
    one.tap("erase", "next")
    page.get_by_label("Remark").fill("   ")
    one.tap("next")
    expect(page.locator("#question")).to_have_text("No remark typed. Go on without it?")
    page.get_by_role("button", name="Leave it out").click()
    one.wait_until_sent()
    found = assessment.entries.order_by("sequence").values_list("tree__code", "trait__code", "number", "text")
    assert list(found) == [
        ("F-01-01", "lean_deg", -4.5, None),
        ("F-01-01", "remark", None, "Pilz am Fuß – <b>nass</b> 😀"),
        ("F-01-02", "lean_deg", -4.0, None),
    ]


CAMERA = """
globalThis.seen = [];
navigator.mediaDevices ??= {};
Object.defineProperty(navigator, "mediaDevices", { value: {
  getUserMedia: async () => {
    if (globalThis.noCamera) throw Object.assign(new Error("no"), { name: "NotAllowedError" });
    const canvas = document.createElement("canvas");
    canvas.getContext("2d").fillRect(0, 0, 9, 9);
    return canvas.captureStream();
  },
} });
globalThis.BarcodeDetector = class {
  async detect() { return globalThis.seen.splice(0, 1).map((rawValue) => ({ rawValue })); }
};
"""


def test_the_camera_reads_a_tag_and_goes_to_its_tree(
    new_phone: Callable[[str], Phone],  # noqa: F811
    assessment: Assessment,
    place: Place,
) -> None:
    """With a made-up camera: which codes a camera reads is the browser's affair."""
    one = new_phone("one")
    one.page.add_init_script(CAMERA)
    page = one.take_along(place.people["field_crew"])
    page.get_by_role("button", name="Begin the walk").click()
    page.get_by_role("button", name="Find").click()
    page.get_by_role("button", name="Scan with the camera").click()
    page.evaluate("globalThis.seen.push('X-99')")
    expect(page.locator("#find-problem")).to_have_text("“X-99” is no tree of this assessment.")
    page.evaluate("globalThis.seen.push('F-03-07')")
    expect(page.locator("#tree")).to_have_text("F-03-07")
    expect(page.locator("#find")).to_be_hidden()
    assert page.evaluate("document.getElementById('camera').srcObject") is None, "the camera is off again"
    page.get_by_role("button", name="Find").click()
    page.evaluate("globalThis.noCamera = true")
    page.get_by_role("button", name="Scan with the camera").click()
    expect(page.locator("#find-problem")).to_contain_text("The camera does not help here (NotAllowedError)")


def test_without_a_reader_of_codes_the_key_is_not_there(
    new_phone: Callable[[str], Phone],  # noqa: F811
    assessment: Assessment,
    place: Place,
) -> None:
    one = new_phone("one")
    one.page.add_init_script("delete globalThis.BarcodeDetector")
    page = one.take_along(place.people["field_crew"])
    page.get_by_role("button", name="Begin the walk").click()
    page.get_by_role("button", name="Find").click()
    expect(page.locator("#scan")).to_be_hidden()
    # A wedge scanner types the code and presses Enter.
    page.get_by_label("Scan its tag").fill("F-05-02")
    page.keyboard.press("Enter")
    expect(page.locator("#tree")).to_have_text("F-05-02")


def test_skipped_trees_are_left_to_be_done_on_the_phone_and_at_the_desk(
    new_phone: Callable[[str], Phone],  # noqa: F811
    assessment: Assessment,
    place: Place,
) -> None:
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])
    page.get_by_role("button", name="Begin the walk").click()
    one.tap("skip", "dead")
    page.get_by_role("button", name="Yes, dead").click()
    one.tap("missing")
    page.get_by_role("button", name="Yes, missing").click()
    one.tap(*"1", "next")
    page.get_by_label("Remark").fill("none")
    one.tap("next", *"2", "next")  # a value of two: not done
    one.wait_until_sent()
    phone_says = page.evaluate("field.stand.walk.progress()")
    desk_says = progress_of(assessment)
    assert (phone_says["treesDone"], phone_says["plotsDone"]) == (3, 3)
    assert (desk_says.done, desk_says.plots_done) == (3, 3)
    assert done_counts([assessment.pk])[assessment.pk] == 3
    assert desk_says.states == {"Dead": 1, "Missing": 1, "Skipped": 1}
    page.get_by_role("button", name="Find").click()
    page.get_by_role("button", name="First tree not done").click()
    expect(page.locator("#tree")).to_have_text("F-01-01")


def test_a_tap_is_not_lost_when_the_screen_is_drawn_anew_under_the_thumb(
    new_phone: Callable[[str], Phone],  # noqa: F811
    assessment: Assessment,
    place: Place,
) -> None:
    """A key that is drawn anew between press and release is another element to the browser; the tap counts all the
    same. Found when journeys were unsteady on a busy machine; whether it was their cause is not proven."""
    one = new_phone("one")
    one.sign_in(place.people["field_crew"])
    page = one.visit()
    box = page.get_by_role("button", name="Take along").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.evaluate("field.start.draw()")
    page.wait_for_timeout(300)
    page.mouse.up()
    expect(page.get_by_role("button", name="Begin the walk")).to_be_visible()

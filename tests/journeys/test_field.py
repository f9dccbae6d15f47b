"""A day in the stand: a phone with no network, a server that dies, and every measurement once in the end."""

import re
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from tests.conftest import Place
from tests.journeys.conftest import FLAGS
from tests.journeys.portal_process import PortalProcess
from tests.journeys.stand_places import (
    COLS,
    PASSWORD,
    ROWS,
    Phone,
    begin_assessment,
    give_password,
    phone,
    second_crew,
)
from trials.entries.actions import close_assessment
from trials.models import Assessment, Entry, HeldEntry

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]
TRAITS = ("dbh_mm", "height_m", "straightness", "forked")


@pytest.fixture
def assessment(transactional_db: None, place: Place) -> Assessment:
    return begin_assessment(place)


@pytest.fixture
def portal(assessment: Assessment) -> Iterator[PortalProcess]:
    with PortalProcess() as process:
        yield process


@pytest.fixture
def new_phone(browser: Browser, portal: PortalProcess, tmp_path: Path) -> Iterator[Callable[[str], Phone]]:
    """new_phone("one"): a phone with a folder of that name."""
    flags = [str(shutil.which("chromium")), *FLAGS]
    with ExitStack() as phones:
        yield lambda name: phones.enter_context(phone(browser, tmp_path / name, portal.url, flags))


def trees_in_walking_order() -> list[str]:
    """Back and forth over the rows."""
    columns = list(range(1, COLS + 1))
    return [
        f"F-{row:02}-{col:02}"
        for row in range(1, ROWS + 1)
        for col in (columns if row % 2 else reversed(columns))
    ]


def measurements() -> dict[str, dict[str, str]]:
    """What the crew types, by tree and trait."""
    return {
        tree: {
            "dbh_mm": str(120 + at % 61),
            "height_m": f"{9 + at % 37 / 10:.1f}",
            "straightness": str(1 + at % 5),
            "forked": str(at % 2),
        }
        for at, tree in enumerate(trees_in_walking_order())
    }


def keys_of(values: dict[str, str]) -> list[list[str]]:
    """The taps for one tree, trait by trait."""
    return [
        [*values["dbh_mm"], "next"],
        [*values["height_m"], "next"],
        [values["straightness"], "next"],
        [values["forked"], "next"],
    ]


def stored(assessment: Assessment) -> list[tuple[str, str, float]]:
    rows = assessment.entries.filter(kind="value").values_list("tree__code", "trait__code", "number")
    return sorted((str(tree), str(trait), float(number)) for tree, trait, number in rows)


def wait_for(what: Callable[[], bool], patience_s: float = 20.0) -> None:
    deadline = time.monotonic() + patience_s
    while not what():
        assert time.monotonic() < deadline, "it did not happen in time"
        time.sleep(0.005)


def test_a_day_of_200_trees_without_network_ends_with_every_value_once(
    new_phone: Callable[[str], Phone], portal: PortalProcess, assessment: Assessment, place: Place
) -> None:
    values = measurements()
    order = list(values)
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])

    one.context.set_offline(True)
    page.reload()
    page.wait_for_selector("html[data-ready]")
    page.get_by_role("button", name="Begin the walk").click()
    for tree in order[:4]:
        expect(page.locator("#tree")).to_have_text(tree)
        taps = keys_of(values[tree])
        one.tap(*(key for trait in taps for key in trait))
        besides_digits = sum(len(trait) - 1 for trait in taps[2:]) + len(taps)
        assert besides_digits <= 6
    one.walk_by_functions({tree: values[tree] for tree in order[:90]})
    expect(page.locator("#tree")).to_have_text(order[90])
    one.tap(*values[order[90]]["dbh_mm"])
    one.close()

    page = one.open(offline=True)
    one.visit()
    expect(page.locator("#tree")).to_have_text(order[90])
    expect(page.locator("#value")).to_have_text(f"{values[order[90]]['dbh_mm']} mm")
    one.walk_by_functions(values)
    expect(page.locator("#question")).to_contain_text("every tree is done")
    page.get_by_role("button", name="To the start").click()
    expect(page.get_by_text("200 of 200 trees")).to_be_visible()
    expect(page.locator("#network")).to_contain_text("No network. 800 entries wait on this phone")
    assert one.unsent() == 800
    expect(page.locator("#unsent")).to_have_text("800 entries on this phone only.")
    assert not Entry.objects.exists()
    exported = page.evaluate("field.queue.exportUnsent()")

    one.context.set_offline(False)
    wait_for(lambda: Entry.objects.count() >= 100)
    portal.kill()
    arrived = Entry.objects.count()
    assert 100 <= arrived < 800, "the server died in the middle of the sending"
    assert one.unsent() >= 800 - arrived
    one.wait_until("field.queue.state === 'offline'")
    page.reload()
    page.wait_for_selector("html[data-ready]")
    portal.start()
    one.wait_until_sent()

    expected = sorted((tree, trait, float(values[tree][trait])) for tree in order for trait in TRAITS)
    assert stored(assessment) == expected
    assert set(assessment.entries.values_list("standing", flat=True)) == {"current"}
    assert not HeldEntry.objects.exists()
    sequences = assessment.entries.order_by("sequence").values_list("sequence", flat=True)
    assert list(sequences) == list(range(1, 801))

    answers = send_by_hand(one, exported["entries"])
    assert len(answers) == 800
    assert all(a["taken"] and a["standing"] == "current" for a in answers)
    assert page.evaluate("file => field.queue.restore(file)", exported) == 800
    page.evaluate("field.queue.now()")
    one.wait_until_sent()
    assert stored(assessment) == expected


def send_by_hand(one: Phone, entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What was exported, posted once more past the queue, twice at the same moment."""
    found = one.page.evaluate(
        """async (entries) => {
          const { csrf } = await (await fetch("/field/api/session/")).json();
          const headers = { "Content-Type": "application/json", "X-CSRFToken": csrf };
          const answers = [];
          for (let at = 0; at < entries.length; at += 200) {
            const body = JSON.stringify({ device: entries[0].device, entries: entries.slice(at, at + 200) });
            const send = () => fetch("/field/api/entries/", { method: "POST", headers, body }).then((r) => r.json());
            const [once, again] = await Promise.all([send(), send()]);
            if (JSON.stringify(once) !== JSON.stringify(again)) throw new Error("two answers");
            answers.push(...once.answers);
          }
          return answers;
        }""",
        entries,
    )
    return list(found)


def test_two_phones_on_one_plot(
    new_phone: Callable[[str], Phone], assessment: Assessment, place: Place
) -> None:
    """The same value is one value; another value is kept beside the first, for a person to decide."""
    one, two = new_phone("one"), new_phone("two")
    one.take_along(place.people["field_crew"])
    two.take_along(second_crew(place))
    for held, diameter in ((one, "182"), (two, "192")):
        held.context.set_offline(True)
        held.page.get_by_role("button", name="Begin the walk").click()
        held.tap(*diameter, "next", *"11.5", "next")
    for held in (one, two):
        held.context.set_offline(False)
        held.wait_until_sent()
    found = assessment.entries.values_list("trait__code", "number", "standing").order_by("pk")
    assert sorted(found) == [
        ("dbh_mm", 182.0, "disputed"),
        ("dbh_mm", 192.0, "disputed"),
        ("height_m", 11.5, "current"),
        ("height_m", 11.5, "repeated"),
    ]


def test_a_wrong_clock_does_not_change_the_order(
    new_phone: Callable[[str], Phone], assessment: Assessment, place: Place
) -> None:
    """The correction stands, though the phone says it was made thirty years before the value it corrects."""
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])
    page.get_by_role("button", name="Begin the walk").click()
    one.context.set_offline(True)
    page.clock.set_fixed_time("2031-05-01T12:00:00Z")
    one.tap(*"182", "next")
    page.clock.set_fixed_time("2001-05-01T12:00:00Z")
    one.tap("back", *"186", "next")
    one.context.set_offline(False)
    one.wait_until_sent()
    found = assessment.entries.order_by("sequence").values_list("number", "standing", "entered_at__year")
    assert list(found) == [(182.0, "replaced", 2031), (186.0, "current", 2001)]
    page.get_by_role("button", name="Start").click()
    expect(page.get_by_text("The clock of this phone is")).to_be_visible()


def test_a_phone_that_stays_away_until_the_assessment_has_closed(
    new_phone: Callable[[str], Phone], assessment: Assessment, place: Place
) -> None:
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])
    one.context.set_offline(True)
    page.get_by_role("button", name="Begin the walk").click()
    one.tap(*"182", "next", *"11.5", "next")
    close_assessment(assessment=assessment, by=place.people["manager"])
    page.get_by_role("button", name="Start").click()
    one.context.set_offline(False)
    one.wait_until_sent()
    expect(page.get_by_text("Closed, or no longer yours.")).to_be_visible()
    assert list(assessment.entries.values_list("standing", flat=True)) == ["late", "late"]


def test_a_signed_out_phone_keeps_everything_and_sends_after_signing_in(
    new_phone: Callable[[str], Phone], assessment: Assessment, place: Place
) -> None:
    give_password(place.people["field_crew"])
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])
    page.get_by_role("button", name="Begin the walk").click()
    one.context.clear_cookies()
    one.tap(*"182", "next", *"11.5", "next", "3", "next", "0", "next")
    expect(page.locator("#tally")).to_contain_text("Unsent 4, sign in to send")
    page.get_by_role("button", name="Start").click()
    page.reload()
    page.wait_for_selector("html[data-ready]")
    expect(page.locator("#network")).to_contain_text("You are signed out. 4 entries wait on this phone")
    assert not Entry.objects.exists()

    page.get_by_role("link", name="Sign in to send").click()
    page.get_by_label("User name").fill("field_crew")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/field/")
    page.wait_for_selector("html[data-ready]")
    one.wait_until_sent()
    assert assessment.entries.filter(standing="current").count() == 4


def test_what_another_person_typed_waits_for_a_word(
    new_phone: Callable[[str], Phone], assessment: Assessment, place: Place
) -> None:
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])
    one.context.set_offline(True)
    page.get_by_role("button", name="Begin the walk").click()
    one.tap(*"182", "next")
    page.get_by_role("button", name="Start").click()
    one.sign_in(second_crew(place))
    one.context.set_offline(False)
    expect(page.locator("#network")).to_contain_text("typed while field_crew was signed in")
    assert not Entry.objects.exists()
    page.get_by_role("button", name="Send them as The second crew").click()
    one.wait_until_sent()
    assert [e.by.username for e in assessment.entries.all()] == ["second"]


def test_a_value_the_portal_cannot_take_leaves_the_phone_with_its_reasons(
    new_phone: Callable[[str], Phone], assessment: Assessment, place: Place
) -> None:
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])
    page.evaluate(
        """(assessment) => field.queue.add([
          { assessment, tree: "F-01-01", kind: "value", trait: "straightness", number: 9 },
          { assessment, tree: "F-01-01", kind: "value", trait: "dbh_mm", number: 182 },
        ]).then(() => field.queue.now())""",
        assessment.pk,
    )
    one.wait_until_sent()
    expect(page.get_by_role("heading", name="Held for a person")).to_be_visible()
    expect(page.locator("#held")).to_contain_text(
        re.compile("F-01-01 Straightness 9.*expected a point of the scale")
    )
    assert HeldEntry.objects.get().content["number"] == 9
    assert stored(assessment) == [("F-01-01", "dbh_mm", 182.0)]
    page.get_by_role("button", name="I have read this").click()
    expect(page.get_by_role("heading", name="Held for a person")).to_be_hidden()


def test_an_exported_file_goes_up_from_another_phone_once(
    new_phone: Callable[[str], Phone], assessment: Assessment, place: Place, tmp_path: Path
) -> None:
    one, two = new_phone("one"), new_phone("two")
    page = one.take_along(place.people["field_crew"])
    one.context.set_offline(True)
    page.get_by_role("button", name="Begin the walk").click()
    one.tap(*"182", "next", *"11.5", "next", *"3")
    page.get_by_role("button", name="Start").click()
    with page.expect_download() as download:
        page.get_by_role("button", name="Export unsent").click()
    file = tmp_path / "unsent.json"
    download.value.save_as(file)

    two.sign_in(place.people["field_crew"])
    other = two.visit()
    other.locator("#restore").set_input_files(file)
    expect(other.get_by_text("2 entries brought back")).to_be_visible()
    two.wait_until_sent()
    one.context.set_offline(False)
    one.wait_until_sent()
    assert stored(assessment) == [("F-01-01", "dbh_mm", 182.0), ("F-01-01", "height_m", 11.5)]
    device = page.evaluate("field.store.get('device')")
    assert {str(e.device) for e in assessment.entries.all()} == {device}


# Contrast as in tests/portal/test_contrast.py (WCAG 2.2), against the nearest ground that is painted.
SEEN = """() => {
  const shown = (e) => e.checkVisibility({ visibilityProperty: true }) && e.getClientRects().length > 0;
  const top = document.querySelector("dialog[open]") ?? document.body;
  const parts = (colour) => colour.match(/[\\d.]+/g).map(Number);
  const light = (colour) => {
    const linear = (c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
    const [r, g, b] = parts(colour).slice(0, 3).map((c) => linear(c / 255));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = (e) => {
    for (let at = e; at; at = at.parentElement) {
      const colour = getComputedStyle(at).backgroundColor;
      if ((parts(colour)[3] ?? 1) === 1) return colour;
    }
    return "rgb(255, 255, 255)";
  };
  const hasWords = (e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim());
  const faint = [...top.querySelectorAll("*")].filter((e) => shown(e) && hasWords(e))
    .map((e) => {
      const [a, b] = [light(getComputedStyle(e).color), light(ground(e))].sort((x, y) => y - x);
      return [e.textContent.trim().slice(0, 30), (a + 0.05) / (b + 0.05)];
    });
  const targets = [...top.querySelectorAll("button, a, input, textarea")].filter(shown).map((e) => {
    const box = e.getBoundingClientRect();
    return [e.textContent || e.id, box.width, box.height, box.left, box.right];
  });
  return { texts: faint.length, faint: faint.filter(([, ratio]) => ratio < 7), targets,
    small: targets.filter(([, w, h]) => w < 48 || h < 48),
    out: targets.filter(([, , , l, r]) => l < 0 || r > innerWidth),
    width: document.documentElement.scrollWidth, screen: innerWidth };
}"""


def test_the_screen_is_for_one_thumb_in_the_sun(
    new_phone: Callable[[str], Phone], assessment: Assessment, place: Place
) -> None:
    """48 px and 7:1 are the house's own limits (those of WCAG 2.2 AAA are 44 px and 7:1; from memory)."""
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])

    def look(what: str) -> None:
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            seen = page.evaluate(SEEN)
            assert seen["texts"] > 3, what
            assert len(seen["targets"]) >= 2, what
            assert (seen["faint"], seen["small"], seen["out"]) == ([], [], []), f"{what} in {scheme}"
            assert seen["width"] <= seen["screen"] == 360, what

    look("start")
    page.get_by_role("button", name="Begin the walk").click()
    look("digits")
    one.tap(*"1820", "next")
    expect(page.locator("#question")).to_have_text("1820 mm is above 600?")
    look("a doubt")
    page.get_by_role("button", name="Type again").click()
    one.tap("erase", "next")
    page.set_viewport_size({"width": 360, "height": 640})
    look("a low screen")
    keys = page.locator("#keys").bounding_box()
    assert keys is not None
    assert keys["y"] + keys["height"] <= 640
    one.tap(*"11.5", "next")
    look("a scale")
    one.tap("2", "next")
    look("yes or no")
    page.get_by_role("button", name="Find").click()
    look("finding a tree")
    page.get_by_label("Scan its tag").fill("f-03-07")
    page.keyboard.press("Enter")
    expect(page.locator("#tree")).to_have_text("F-03-07")
    one.tap("note")
    look("a note")
    page.get_by_role("button", name="Second leader").click()
    expect(page.locator("#said")).to_have_text("Second leader")
    expect(page.locator("#clone")).to_have_text("Clone hidden")
    page.locator("#clone").click()
    expect(page.locator("#clone")).to_have_text("Clone K1")


def test_dead_missing_skipped_and_left_out(
    new_phone: Callable[[str], Phone], assessment: Assessment, place: Place
) -> None:
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])
    page.get_by_role("button", name="Begin the walk").click()
    one.tap("dead")
    page.get_by_role("button", name="No", exact=True).click()
    expect(page.locator("#tree")).to_have_text("F-01-01")
    one.tap("dead")
    page.get_by_role("button", name="Yes, dead").click()
    expect(page.locator("#tree")).to_have_text("F-01-02")
    one.tap("missing")
    page.get_by_role("button", name="Yes, missing").click()
    one.tap("skip")
    expect(page.locator("#tree")).to_have_text("F-01-04")
    one.tap("next")
    expect(page.locator("#question")).to_have_text("No diameter typed. Go on without it?")
    page.get_by_role("button", name="Leave it out").click()
    expect(page.locator("#trait")).to_have_text("Height")
    one.wait_until_sent()
    said = assessment.entries.order_by("sequence").values_list("tree__code", "kind")
    assert list(said) == [("F-01-01", "dead"), ("F-01-02", "missing"), ("F-01-03", "skipped")]
    expect(page.locator("#tally")).to_contain_text("Plots 2 of 200")


def test_a_value_asked_about_is_kept_as_the_crew_says(
    new_phone: Callable[[str], Phone], assessment: Assessment, place: Place
) -> None:
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])
    page.get_by_role("button", name="Begin the walk").click()
    one.tap(*"650", "next")
    page.get_by_role("button", name="650 is right").click()
    expect(page.locator("#trait")).to_have_text("Height")
    page.evaluate("field.queue.now()")
    one.wait_until_sent()
    assert list(assessment.entries.values_list("number", "confirmed")) == [(650.0, True)]

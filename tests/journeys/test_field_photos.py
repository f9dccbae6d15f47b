"""Photos from the stand: taken with no network, kept over closing the browser, sent after the entries, once."""

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from PIL.ExifTags import GPS, IFD, Base
from playwright.sync_api import expect

from tests.conftest import Place
from tests.journeys.portal_process import PortalProcess
from tests.journeys.stand_places import Phone
from tests.journeys.test_field import assessment, new_phone, portal, wait_for  # noqa: F401 (fixtures)
from trials.models import Assessment, Entry, Photo

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def camera(tmp_path: Path) -> Path:
    """A picture as a camera makes it: 2400 × 1800, lying, with orientation and position noted."""
    exif = Image.Exif()
    exif[Base.Orientation] = 6
    exif[Base.Model] = "Phone 9"
    exif.get_ifd(IFD.GPSInfo)[GPS.GPSLatitude] = (54.0, 30.0, 12.0)
    path = tmp_path / "camera.jpg"
    Image.effect_noise((2400, 1800), 60).convert("RGB").save(path, "JPEG", exif=exif)
    return path


def take_photo(one: Phone, file: Path) -> None:
    """Through the sheet of notes, as a thumb would."""
    one.tap("note")
    one.page.locator("#photo").set_input_files(file)
    expect(one.page.locator("#photo-words")).to_contain_text("of this tree taken on this phone")
    one.page.locator("#note-close").click()


def test_a_photo_taken_offline_outlives_the_browser_and_goes_up_once(
    new_phone: Callable[[str], Phone],  # noqa: F811
    portal: PortalProcess,  # noqa: F811
    assessment: Assessment,  # noqa: F811
    place: Place,
    camera: Path,
) -> None:
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])
    one.context.set_offline(True)
    page.get_by_role("button", name="Begin the walk").click()
    one.tap(*"182", "next")
    take_photo(one, camera)
    expect(page.locator("#tally")).to_contain_text("Unsent 1 + 1 photo, no network")
    expect(page.locator("#said")).to_have_text("1 photo")
    one.close()

    page = one.open(offline=True)
    one.visit()
    page.get_by_role("button", name="Start").click()
    expect(page.locator("#unsent")).to_have_text("1 entry and 1 photo on this phone only.")
    kept = page.evaluate(
        "field.photos.all().then((all) => all.map((p) => [p.id, p.width, p.height, p.bytes.byteLength]))"
    )
    assert kept[0][1:3] == [1200, 1600]  # upright, and small enough for thin reception
    assert kept[0][3] < camera.stat().st_size
    assert not Photo.objects.exists()
    exported = page.evaluate("field.queue.exportUnsent()")

    one.context.set_offline(False)
    one.wait_until("field.photos.count().then((n) => n === 0)")
    photo = Photo.objects.get()
    assert (str(photo.client_id), photo.tree.code) == (kept[0][0], "F-01-01")
    assert (photo.width_px, photo.height_px) == (1200, 1600)
    stored = Image.open(io.BytesIO(bytes(photo.content)))
    assert not stored.getexif()
    assert Entry.objects.get().received_at <= photo.received_at, "photos go up after the entries"

    # The file of the last resort brings it back, and it is not stored a second time.
    assert page.evaluate("(file) => field.queue.restore(file)", exported) == 2
    page.evaluate("field.queue.now()")
    one.wait_until("field.photos.count().then((n) => n === 0)")
    assert Photo.objects.count() == 1
    assert Entry.objects.count() == 1


def test_a_server_that_dies_while_photos_go_up_has_each_once_in_the_end(
    new_phone: Callable[[str], Phone],  # noqa: F811
    portal: PortalProcess,  # noqa: F811
    assessment: Assessment,  # noqa: F811
    place: Place,
    camera: Path,
) -> None:
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])
    one.context.set_offline(True)
    page.get_by_role("button", name="Begin the walk").click()
    for _ in range(4):
        take_photo(one, camera)
        one.tap("skip")
    one.context.set_offline(False)
    wait_for(lambda: Photo.objects.count() >= 1, 60)
    portal.kill()
    assert Photo.objects.count() < 4, "the server died in the middle of the sending"
    one.wait_until("field.queue.state === 'offline'")
    portal.start()
    page.evaluate("field.queue.now()")
    one.wait_until("field.photos.count().then((n) => n === 0)")
    found = Photo.objects.order_by("tree__code").values_list("tree__code", flat=True)
    assert list(found) == ["F-01-01", "F-01-02", "F-01-03", "F-01-04"]


def test_a_photo_the_portal_cannot_take_stays_with_its_reason_and_what_is_no_picture_is_said_at_once(
    new_phone: Callable[[str], Phone],  # noqa: F811
    assessment: Assessment,  # noqa: F811
    place: Place,
    camera: Path,
    tmp_path: Path,
) -> None:
    one = new_phone("one")
    page = one.take_along(place.people["field_crew"])
    page.get_by_role("button", name="Begin the walk").click()
    text = tmp_path / "words.jpg"
    text.write_text("no picture")
    one.tap("note")
    page.locator("#photo").set_input_files(text)
    expect(page.get_by_role("alert")).to_contain_text("no picture that the phone can read")
    assert page.evaluate("field.photos.count()") == 0
    page.get_by_role("button", name="Seen").click()
    page.locator("#note-close").click()

    page.evaluate(
        """(assessment) => field.photos
          .add({ assessment, tree: "NOWHERE", bytes: new ArrayBuffer(9), width: 1, height: 1 })
          .then(() => field.queue.now())""",
        assessment.pk,
    )
    page.get_by_role("button", name="Start").click()
    expect(page.locator("#refused")).to_contain_text("NOWHERE photo")
    expect(page.locator("#refused")).to_contain_text("expected a tree of site F")
    assert page.evaluate("field.photos.count()") == 1
    assert one.unsent() == 0
    assert not Photo.objects.exists()


def test_a_phone_with_the_store_of_an_older_page_keeps_what_is_in_it(
    new_phone: Callable[[str], Phone],  # noqa: F811
    assessment: Assessment,  # noqa: F811
    place: Place,
) -> None:
    """The store of the first version, without a table of photos, is opened by the page of today."""
    one = new_phone("one")
    page: Any = one.visit()
    found = page.evaluate(
        """async () => {
          const base = await new Promise((resolve) => {
            const asked = indexedDB.open("old", 1);
            asked.onupgradeneeded = () => {
              for (const name of ["meta", "packs", "refused", "held"]) {
                asked.result.createObjectStore(name, { keyPath: name === "meta" ? "name" : "id" });
              }
              const entries = asked.result.createObjectStore("entries", { keyPath: "id" });
              entries.createIndex("order", ["device", "sequence"]);
              const keyPath = ["assessment", "tree"];
              for (const name of ["drafts", "marks"]) asked.result.createObjectStore(name, { keyPath });
              entries.add({ id: "e1", device: "d", sequence: 1 });
            };
            asked.onsuccess = () => resolve(asked.result);
          });
          base.close();
          const { openStore } = await import("/static/trials/field/store.js");
          const store = await openStore("old", () => "device");
          return [(await store.all("entries")).length, await store.count("photos"), (await store.waiting(5))[0].id];
        }"""
    )
    assert found == [1, 0, "e1"]

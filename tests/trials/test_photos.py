"""Photos from phones: stored once, made anew without what cameras note, refused with reasons, shown to those inside."""

import io
import json
import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image
from PIL.ExifTags import GPS, IFD, Base

from portal.models import Role
from tests.conftest import Place
from tests.trials.crews import open_spring
from tests.trials.test_measuring_pages import page, signed_in, words
from trials.entries import pictures
from trials.entries.actions import close_assessment, receive_photo, set_photo_aside
from trials.entries.pictures import MOST_SENT_BYTES, PhotoRefusedError, read_picture
from trials.models import Assessment, Photo

PHOTOS = "/field/api/photos/"


def jpeg(width: int = 40, height: int = 30, **more: Any) -> bytes:
    out = io.BytesIO()
    image = Image.linear_gradient("L").resize((width, height)).convert("RGB")
    image.save(out, more.pop("format", "JPEG"), **more)
    return out.getvalue()


def with_a_place() -> bytes:
    """A picture as a phone makes it: turned by its EXIF orientation, with position, device and comment in it."""
    exif = Image.Exif()
    exif[Base.Orientation] = 6  # to be turned a quarter clockwise
    exif[Base.Make], exif[Base.Model] = "Maker", "Phone 9"
    exif.get_ifd(IFD.GPSInfo)[GPS.GPSLatitude] = (54.0, 30.0, 12.0)
    return jpeg(
        40, 30, exif=exif, comment=b"secret words", dpi=(300, 300), xmp=b"<x:xmpmeta>place</x:xmpmeta>"
    )


@pytest.fixture
def spring(material: Place) -> Assessment:
    return open_spring(material)


def about(spring: Assessment, **changes: Any) -> dict[str, Any]:
    made = {
        "id": str(uuid.uuid4()),
        "device": str(uuid.uuid4()),
        "assessment": spring.pk,
        "tree": "S-1-1",
        "taken_at": "2026-04-02T09:30:00Z",
    }
    return made | changes


def send(client: Client, said: Any, data: bytes | None, **more: Any) -> Any:
    form: dict[str, Any] = {"about": said if isinstance(said, str) else json.dumps(said)}
    if data is not None:
        form["photo"] = SimpleUploadedFile("p.jpg", data, "image/jpeg")
    return client.post(PHOTOS, form, **more)


# The picture itself --------------------------------------------------------------------------------------


def test_nothing_but_pixels_is_kept() -> None:
    sent = with_a_place()
    assert b"Phone 9" in sent
    assert dict(Image.open(io.BytesIO(sent)).getexif().get_ifd(IFD.GPSInfo))
    made = read_picture(sent)
    for kept in (made.content, made.small):
        image = Image.open(io.BytesIO(kept))
        assert image.format == "JPEG"
        assert not image.getexif()
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert not any(word in kept for word in (b"Exif", b"Phone 9", b"secret", b"xmp", b"place"))
    assert (made.width_px, made.height_px) == (30, 40)  # upright


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_every_known_format_becomes_a_jpeg_of_at_most_1600(kind: str) -> None:
    made = read_picture(jpeg(2400, 1800, format=kind))
    assert (made.width_px, made.height_px) == (1600, 1200)
    assert Image.open(io.BytesIO(made.small)).size == (320, 240)
    assert read_picture(jpeg(100, 50, format=kind)).width_px == 100  # never made larger


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGBA", "CMYK", "I;16"])
def test_odd_colours_are_read(mode: str) -> None:
    out = io.BytesIO()
    Image.new(mode, (20, 10)).save(out, "JPEG" if mode == "CMYK" else "PNG")
    assert read_picture(out.getvalue()).width_px == 20


def bomb(side: int) -> bytes:
    """A small file that unfolds to very many pixels."""
    out = io.BytesIO()
    Image.new("1", (side, side)).save(out, "PNG")
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "found nothing"),
        (b"not a picture", "found no picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "found no picture"),
        (b"GIF89a" + b"\0" * 50, "found no picture"),
        (jpeg()[:400], "found no picture"),
        (b"\xff\xd8\xff" + b"x" * 100, "found no picture"),
        (bytes(MOST_SENT_BYTES + 1), "at most"),
        (bomb(8_000), "at most 60000000"),
        (bomb(10_000), "found no picture"),  # the library itself does not open these
        (bomb(14_000), "found no picture"),
    ],
)
def test_what_is_no_photo_is_refused_with_its_reason(data: bytes, told: str) -> None:
    with pytest.raises(PhotoRefusedError, match=told):
        read_picture(data)


def test_a_picture_that_stays_large_is_written_more_coarsely(monkeypatch: pytest.MonkeyPatch) -> None:
    noise = Image.effect_noise((1600, 1200), 200).convert("RGB")
    out = io.BytesIO()
    noise.save(out, "JPEG", quality=95)
    assert len(read_picture(out.getvalue()).content) <= pictures.MOST_PHOTO_BYTES
    monkeypatch.setattr(pictures, "MOST_PHOTO_BYTES", 1000)
    with pytest.raises(PhotoRefusedError, match="too large even"):
        read_picture(out.getvalue())


# Sending -------------------------------------------------------------------------------------------------


def test_a_photo_is_stored_once_however_often_it_is_sent(spring: Assessment, material: Place) -> None:
    client = signed_in(material, "field_crew")
    said = about(spring)
    for _ in range(3):
        response = send(client, said, with_a_place())
        assert response.status_code == 200
        assert response.json() == {"answers": [{"id": said["id"], "taken": True, "standing": "stored"}]}
    photo = Photo.objects.get()
    assert (str(photo.client_id), photo.tree.code, photo.by.username) == (said["id"], "S-1-1", "field_crew")
    assert (photo.width_px, photo.height_px) == (30, 40)
    assert photo.taken_at is not None
    assert photo.taken_at.isoformat() == "2026-04-02T09:30:00+00:00"
    assert [e.pgh_label for e in Photo.pgh_event_model.objects.all()] == ["added"]  # type: ignore[attr-defined]


def test_the_id_counts_whatever_comes_with_it_the_second_time(spring: Assessment, material: Place) -> None:
    crew = material.people["field_crew"]
    said = about(spring)
    assert receive_photo(about=said, data=jpeg(), by=crew).taken
    assert receive_photo(about=said | {"tree": "S-1-2"}, data=b"", by=crew).taken
    assert Photo.objects.get().tree.code == "S-1-1"


def test_closed_meanwhile_it_is_stored_all_the_same(spring: Assessment, material: Place) -> None:
    close_assessment(assessment=spring, by=material.people["manager"])
    assert receive_photo(about=about(spring), data=jpeg(), by=material.people["field_crew"]).taken


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"tree": "NOWHERE"}, "tree: found NOWHERE, expected a tree of site S"),
        ({"tree": None}, "tree: found none"),
        ({"tree": "S-1-1\x00"}, "tree: found"),
        ({"assessment": 10**30}, "assessment: found"),
        ({"assessment": "1"}, "assessment: found none"),
        ({"assessment": True}, "assessment: found none"),
    ],
)
def test_what_cannot_be_stored_stays_on_the_phone_with_its_reason(
    spring: Assessment, material: Place, changes: dict[str, Any], told: str
) -> None:
    response = send(signed_in(material, "field_crew"), about(spring, **changes), jpeg())
    (answer,) = response.json()["answers"]
    assert (response.status_code, answer["taken"]) == (200, False)
    assert told in answer["problems"][0]
    assert not Photo.objects.exists()


def test_all_reasons_at_once(spring: Assessment, material: Place) -> None:
    answer = receive_photo(about=about(spring, tree="X"), data=b"x", by=material.people["field_crew"])
    assert [p.split(":")[0] for p in answer.problems] == ["tree", "photo"]


@pytest.mark.parametrize("identity", [None, "", "x", 7, [], "not-a-uuid-not-a-uuid-not-a-uuid-xxx"])
def test_without_a_readable_id_nothing_is_taken(spring: Assessment, material: Place, identity: Any) -> None:
    answer = receive_photo(about=about(spring, id=identity), data=jpeg(), by=material.people["field_crew"])
    assert (answer.taken, answer.id) == (False, identity)


@pytest.mark.parametrize("who", ["mill", "grader", "researcher", "stranger"])
def test_who_may_not_enter_sends_no_photos(spring: Assessment, material: Place, who: str) -> None:
    (answer,) = send(signed_in(material, who), about(spring), jpeg()).json()["answers"]
    assert answer["taken"] is False
    assert "in which you are field crew or manager" in answer["problems"][0]


def test_signed_out_without_token_or_by_get_it_is_refused_in_json(
    spring: Assessment, material: Place
) -> None:
    assert send(Client(), about(spring), jpeg()).status_code == 401
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(material.people["field_crew"])
    assert (send(strict, about(spring), jpeg()).status_code, Photo.objects.count()) == (403, 0)
    token = strict.get("/field/api/session/").json()["csrf"]
    assert send(strict, about(spring), jpeg(), headers={"X-CSRFToken": token}).status_code == 200
    assert signed_in(material, "field_crew").get(PHOTOS).json() == {"error": "only POST"}


@pytest.mark.parametrize("said", ["", "{", "[]", "7", "null", "[" * 100_000])
def test_a_form_that_says_nothing_is_400(spring: Assessment, material: Place, said: str) -> None:
    response = send(signed_in(material, "field_crew"), said, jpeg())
    assert response.status_code == 400
    assert "expected a form" in response.json()["error"]


def test_no_file_or_no_form_at_all_is_400(spring: Assessment, material: Place) -> None:
    client = signed_in(material, "field_crew")
    assert send(client, about(spring), None).status_code == 400
    assert client.post(PHOTOS, b"{}", content_type="application/json").status_code == 400
    broken = client.post(PHOTOS, b"--x\r\nnonsense", content_type="multipart/form-data; boundary=x")
    assert broken.status_code == 400
    assert "error" in client.post(PHOTOS, b"x", content_type="multipart/form-data").json()


def test_too_much_is_413_before_it_is_read(spring: Assessment, material: Place) -> None:
    client = signed_in(material, "field_crew")
    response = send(client, about(spring), bytes(MOST_SENT_BYTES + 100_000))
    assert (response.status_code, list(response.json())) == (413, ["error"])


# Pages ---------------------------------------------------------------------------------------------------


@pytest.fixture
def taken(spring: Assessment, material: Place) -> Photo:
    receive_photo(about=about(spring), data=jpeg(), by=material.people["field_crew"])
    return Photo.objects.get()


def test_the_tree_and_the_assessment_show_it(taken: Photo, spring: Assessment, material: Place) -> None:
    client = signed_in(material, "mill")
    address = page("photo", taken.pk)
    for url in (page("tree", "S-1-1"), page("assessment_photos", spring.pk)):
        shown = client.get(url)
        assert f'src="{address}?small"'.encode() in shown.content
        assert "The field_crew" in words(shown)
    assert b"Photos</h2>" not in client.get(page("tree", "S-1-2")).content


def test_it_is_served_as_a_picture_to_those_inside(taken: Photo, material: Place) -> None:
    client = signed_in(material, "mill")
    response = client.get(page("photo", taken.pk))
    assert (response["Content-Type"], response["X-Content-Type-Options"]) == ("image/jpeg", "nosniff")
    assert response["Cache-Control"].startswith("private")
    assert response.content == bytes(taken.content)
    assert client.get(page("photo", taken.pk), {"small": ""}).content == bytes(taken.small)
    assert signed_in(material, "stranger").get(page("photo", taken.pk)).status_code == 404
    assert Client().get(page("photo", taken.pk)).status_code == 302
    assert client.get(page("photo", taken.pk + 1)).status_code == 404


def test_an_assessment_without_photos_says_how_they_come(spring: Assessment, material: Place) -> None:
    shown = words(signed_in(material, Role.FIELD_CREW).get(page("assessment_photos", spring.pk)))
    assert "No photos yet" in shown
    assert "Take a photo" in shown


# Setting aside -------------------------------------------------------------------------------------------


def test_a_manager_sets_one_aside_and_brings_it_back(
    taken: Photo, spring: Assessment, material: Place
) -> None:
    """Aside it is gone for the crew by every way, still there for managers, and the history tells who did it."""
    manager, crew = signed_in(material, "manager"), signed_in(material, "field_crew")
    listed, one = page("assessment_photos", spring.pk), page("photo", taken.pk)
    assert b"Set aside" not in crew.get(listed).content
    assert b"Set aside" in manager.get(listed).content
    assert manager.post(page("photo_state", taken.pk), {"do": "aside"}).status_code == 302
    assert manager.post(page("photo_state", taken.pk), {"do": "aside"}).status_code == 302
    assert crew.get(one).status_code == 404
    assert "No photos yet" in words(crew.get(listed))
    assert one.encode() not in crew.get(page("tree", "S-1-1")).content
    assert "seen by managers only" in words(manager.get(listed))
    assert manager.get(one).content == bytes(taken.content)
    assert manager.post(page("photo_state", taken.pk), {"do": "back"}).status_code == 302
    assert crew.get(one).status_code == 200
    told = Photo.pgh_event_model.objects.order_by("pgh_id")  # type: ignore[attr-defined]
    assert [(e.pgh_label, e.set_aside) for e in told] == [
        ("added", False),
        ("changed", True),
        ("changed", False),
    ]
    assert [e.pgh_context.metadata["user"] for e in told if e.pgh_label == "changed"] == [
        material.people["manager"].pk
    ] * 2


def test_one_set_aside_stays_so_when_its_phone_sends_it_again(
    taken: Photo, spring: Assessment, material: Place
) -> None:
    set_photo_aside(photo=taken, aside=True, by=material.people["manager"])
    said = about(spring, id=str(taken.client_id))
    assert receive_photo(about=said, data=jpeg(), by=material.people["field_crew"]).taken
    assert Photo.objects.get().set_aside is True


def test_only_managers_set_photos_aside_and_only_by_its_buttons(taken: Photo, material: Place) -> None:
    address = page("photo_state", taken.pk)
    assert signed_in(material, "field_crew").post(address, {"do": "aside"}).status_code == 403
    assert signed_in(material, "stranger").post(address, {"do": "aside"}).status_code == 404
    with pytest.raises(PermissionDenied):
        set_photo_aside(photo=taken, aside=True, by=material.people["field_crew"])
    manager = signed_in(material, "manager")
    assert manager.post(address, {"do": "delete"}).status_code == 400
    assert manager.post(page("photo_state", taken.pk + 1), {"do": "aside"}).status_code == 404
    assert Photo.objects.get().set_aside is False

"""The phone's addresses: the contract, who is let in, and that nothing sent to them breaks anything."""

import json
import random
import uuid
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse

from tests.conftest import Place
from tests.trials.crews import Phone, open_spring
from trials.models import Assessment, Entry, HeldEntry

ENTRIES = "/field/api/entries/"


@pytest.fixture
def spring(material: Place) -> Assessment:
    return open_spring(material)


@pytest.fixture
def phone(spring: Assessment, material: Place) -> Phone:
    return Phone(spring, material.people["field_crew"])


def client_of(place: Place, who: str, **options: Any) -> Client:
    client = Client(**options)
    client.force_login(place.people[who])
    return client


def post(client: Client, body: Any, **headers: Any) -> Any:
    data = body if isinstance(body, str | bytes) else json.dumps(body)
    return client.post(ENTRIES, data, content_type="application/json", **headers)


def test_a_day_with_a_phone(material: Place, phone: Phone) -> None:
    client = client_of(material, "field_crew")
    session = client.get("/field/api/session/").json()
    assert (session["user"], session["username"]) == ("The field_crew", "field_crew")
    assert len(session["csrf"]) > 20
    listed = client.get("/field/api/assessments/").json()["assessments"]
    assert listed == [
        {
            "id": phone.assessment.pk, "name": "Spring", "site": "S", "trial": "Small trial",
            "measured_from": "2026-04-01", "traits": 4, "trees": 4, "done": 0,
        }
    ]  # fmt: skip
    packed = client.get(f"/field/api/assessments/{listed[0]['id']}/").json()
    assert set(packed) == {
        "id", "name", "site", "trial", "measured_from", "packed_at", "traits", "trees", "band",
    }  # fmt: skip
    assert set(packed["traits"][0]) == {
        "code", "name", "kind", "unit", "minimum", "maximum", "decimals", "points", "shrinks", "method",
    }  # fmt: skip
    assert set(packed["trees"][0]) == {
        "code", "row", "col", "block", "plot", "clone", "status", "last", "last_on", "now",
    }  # fmt: skip
    good, held = phone.entry(), phone.entry("S-9-9")
    response = post(client, {"device": str(phone.device), "entries": [good, held, {"tree": "S-1-2"}, 7]})
    assert response.status_code == 200
    first, second, third, fourth = response.json()["answers"]
    assert first == {"id": good["id"], "taken": True, "standing": "current"}
    assert (second["id"], second["taken"], second["held"]) == (held["id"], True, True)
    assert second["problems"] == ["tree: found S-9-9, expected a tree of site S"]
    assert (third["id"], third["taken"], fourth["taken"]) == (None, False, False)
    again = client.get(f"/field/api/assessments/{phone.assessment.pk}/").json()
    assert again["trees"][0]["now"]["dbh_mm"] == {"value": 352.0, "id": good["id"], "by": "The field_crew"}


def test_signed_out_is_401_in_json_and_never_a_redirect(phone: Phone) -> None:
    client = Client()
    for name, args in (("session", []), ("assessments", []), ("assessment", [phone.assessment.pk])):
        response = client.get(reverse(f"trials:field_{name}", args=args))
        assert (response.status_code, response.json()) == (401, {"error": "signed out"})
    response = post(client, {"device": str(phone.device), "entries": [phone.entry()]})
    assert (response.status_code, response.json()) == (401, {"error": "signed out"})
    assert not Entry.objects.exists()


def test_without_the_token_it_is_403_in_json(material: Place, phone: Phone) -> None:
    client = client_of(material, "field_crew", enforce_csrf_checks=True)
    body = {"device": str(phone.device), "entries": [phone.entry()]}
    refused = post(client, body)
    assert (refused.status_code, list(refused.json())) == (403, ["error"])
    token = client.get("/field/api/session/").json()["csrf"]
    assert post(client, body, headers={"X-CSRFToken": "x" * 64}).status_code == 403
    assert not Entry.objects.exists()
    assert post(client, body, headers={"X-CSRFToken": token}).status_code == 200


@pytest.mark.parametrize(
    ("who", "status"),
    [("field_crew", 200), ("manager", 200), ("mill", 403), ("researcher", 404), ("stranger", 404)],
)
def test_who_gets_the_pack(material: Place, phone: Phone, who: str, status: int) -> None:
    response = client_of(material, who).get(f"/field/api/assessments/{phone.assessment.pk}/")
    assert response.status_code == status
    assert response["Content-Type"] == "application/json"
    assert status == 200 or "error" in response.json()


def test_other_methods_are_405_in_json(material: Place, phone: Phone) -> None:
    client = client_of(material, "field_crew")
    assert client.get(ENTRIES).json() == {"error": "only POST"}
    assert client.post("/field/api/session/").status_code == 405


@pytest.mark.parametrize(
    "body",
    [
        b"", b"{", b"[]", b"null", b"7", b'"x"', b"\xff\xfe", b"[" * 100_000, b'{"a":' * 100_000,
        b'{"device": "x", "entries": []}', b'{"entries": []}', b'{"device": 7, "entries": []}',
        b'{"device": "00000000-0000-4000-8000-000000000000"}',
        b'{"device": "00000000-0000-4000-8000-000000000000", "entries": {}}',
        b'{"device": "00000000-0000-4000-8000-000000000000", "entries": ' + json.dumps([{}] * 201).encode() + b"}",
        b'{"device": "00000000-0000-4000-8000-000000000000", "entries": [' + b"9" * 5000 + b"]}",
    ],
)  # fmt: skip
def test_what_is_no_batch_is_400_with_what_is_expected(material: Place, phone: Phone, body: bytes) -> None:
    response = post(client_of(material, "field_crew"), body)
    assert response.status_code == 400
    assert "expected" in response.json()["error"]


def test_too_much_is_413_in_json(material: Place, phone: Phone, settings: Any) -> None:
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1000
    response = post(client_of(material, "field_crew"), b"[" + b" " * 2000 + b"]")
    assert (response.status_code, list(response.json())) == (413, ["error"])


ODD: list[Any] = [
    None, True, False, 0, -1, 1, 2**31, 2**63 - 1, 2**63, -(2**63), 10**30, 10**400, 0.5, -0.0, 1e-320, 1e308, "", " ",
    "x", "\x00", "\ud800", "S-1-1", "dbh_mm", "S-1-1\x00", "x" * 300, "😀" * 50, "null", "1e5", [], [[]], {}, {"a": 1},
    "2026-04-02T09:30:00Z", "0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59", "2026-02-30", "value", "note",
    "00000000-0000-4000-8000-000000000000", "urn:uuid:00000000-0000-4000-8000-000000000000", "١٢٣", "%s", "'; --",
]  # fmt: skip


def test_ten_thousand_odd_entries_break_nothing(material: Place, phone: Phone) -> None:
    """Each is taken or answered with its reason; every readable id is on the server afterwards, once."""
    rng = random.Random(3)
    client = client_of(material, "field_crew")
    ids = set()
    for _ in range(50):
        batch = []
        for _ in range(200):
            entry: Any = phone.entry(rng.choice(["S-1-1", "S-1-2", "S-2-1"]), rng.choice([1, 352, 21.5]))
            for name in rng.sample(list(entry), rng.choice([0, 1, 1, 2, 4])):
                entry[name] = rng.choice(ODD)
            if rng.random() < 0.05:
                entry = rng.choice(ODD)
            if rng.random() < 0.05 and isinstance(entry, dict):
                entry[rng.choice(["", "\x00", "pgh_context", "standing", "by"])] = rng.choice(ODD)
            batch.append(entry)
        with transaction.atomic():
            response = post(client, {"device": str(phone.device), "entries": batch})
        assert response.status_code == 200, batch
        answers = response.json()["answers"]
        assert len(answers) == len(batch)
        ids |= {uuid.UUID(a["id"]) for a in answers if a["taken"]}
    stored = list(Entry.objects.values_list("client_id", flat=True))
    held = list(HeldEntry.objects.values_list("client_id", flat=True))
    assert sorted(ids) == sorted(stored + held)
    assert len(ids) > 7_000
    assert len(stored) > 1_000
    assert all(len(p) >= 1 for p in HeldEntry.objects.values_list("problems", flat=True))


def test_an_assessment_that_is_not_there_is_404_in_json(material: Place, phone: Phone) -> None:
    client = client_of(material, "field_crew")
    for pk in (999_999, 10**30):
        response = client.get(f"/field/api/assessments/{pk}/")
        assert (response.status_code, response.json()) == (404, {"error": "not found"})

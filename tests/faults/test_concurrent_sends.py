"""Many phones at the same moment against the real server: every entry once, and what stands is what the rules say."""

import datetime as dt
import http.client
import json
import threading
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from portal.models import User
from tests.conftest import Place, bring_material
from tests.journeys.portal_process import PortalProcess
from tests.journeys.stand_places import second_crew, session_cookie
from tests.trials.crews import Phone, open_spring
from tests.trials.test_photos import jpeg
from trials.calc.standing import standings
from trials.entries.actions import close_assessment
from trials.entries.actions.storing import stated_entries
from trials.models import Assessment, Entry, HeldEntry, Photo

pytestmark = [pytest.mark.django_db(transaction=True)]
AT_ONCE = 12
TREES = ("S-1-1", "S-1-2", "S-2-1", "S-2-2")


@pytest.fixture
def spring(place: Place) -> Assessment:
    bring_material(place)
    return open_spring(place)


@pytest.fixture
def portal(spring: Assessment) -> Iterator[PortalProcess]:
    with PortalProcess() as process:
        yield process


class Sender:
    """A person signed in at the running server, with the token that sending needs."""

    def __init__(self, portal: PortalProcess, person: User) -> None:
        self.port = portal.port
        cookie = session_cookie(person, portal.url)
        self.cookies = f"{cookie['name']}={cookie['value']}"
        status, found, set_cookie = self.ask("GET", "/field/api/session/")
        assert status == 200
        self.token = found["csrf"]
        self.cookies += f"; {set_cookie.split(';')[0]}"

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> tuple[int, Any, str]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        try:
            connection.request(method, path, body, {"Cookie": self.cookies, **headers})
            response = connection.getresponse()
            return response.status, json.loads(response.read()), response.headers.get("Set-Cookie", "")
        finally:
            connection.close()

    def post(self, device: uuid.UUID, entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
        body = json.dumps({"device": str(device), "entries": entries}).encode()
        headers = {"Content-Type": "application/json", "X-CSRFToken": self.token}
        status, found, _ = self.ask("POST", "/field/api/entries/", body, **headers)
        assert status == 200, found
        return list(found["answers"])

    def post_photo(self, about: dict[str, Any], picture: bytes) -> dict[str, Any]:
        edge = uuid.uuid4().hex
        parts = [
            f'--{edge}\r\nContent-Disposition: form-data; name="about"\r\n\r\n{json.dumps(about)}\r\n'.encode(),
            f'--{edge}\r\nContent-Disposition: form-data; name="photo"; filename="p.jpg"\r\n\r\n'.encode(),
            picture,
            f"\r\n--{edge}--\r\n".encode(),
        ]
        headers = {"Content-Type": f"multipart/form-data; boundary={edge}", "X-CSRFToken": self.token}
        status, found, _ = self.ask("POST", "/field/api/photos/", b"".join(parts), **headers)
        assert status == 200, found
        return dict(found["answers"][0])


def at_once(work: list[Callable[[], Any]]) -> list[Any]:
    """Results of all, begun at the same moment in a thread each; the first error is raised."""
    gate = threading.Barrier(len(work))
    found: list[Any] = [None] * len(work)
    errors: list[BaseException] = []

    def run(at: int) -> None:
        try:
            gate.wait(30)
            found[at] = work[at]()
        except BaseException as error:
            errors.append(error)

    threads = [threading.Thread(target=run, args=(at,)) for at in range(len(work))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(180)
    if errors:
        raise errors[0]
    return found


def assert_standing_is_what_the_rules_say(assessment: Assessment) -> None:
    """Computed anew from everything stored, in the order in which it was stored."""
    places = set(assessment.entries.values_list("assessment_id", "tree_id"))
    stored = {e.client_id: e.standing for e in assessment.entries.all()}
    for stated in stated_entries(places).values():
        assert standings(stated) == {e.id: stored[e.id] for e in stated}
    values = assessment.entries.filter(kind="value", standing="current").values_list("tree_id", "trait_id")
    assert max(Counter(values).values(), default=0) <= 1


def test_the_same_batch_sent_twelve_times_at_once_is_stored_once(
    portal: PortalProcess, spring: Assessment, place: Place
) -> None:
    phone = Phone(spring, place.people["field_crew"])
    batch = [phone.entry(tree, 300 + n) for n in range(20) for tree in TREES]
    batch += [phone.entry("NOWHERE", 1) for _ in range(5)]
    senders = [Sender(portal, phone.person) for _ in range(AT_ONCE)]
    answers = at_once([lambda s=s: s.post(phone.device, batch) for s in senders])
    assert all(a["taken"] for found in answers for a in found)
    assert all(found == answers[0] for found in answers)
    assert sorted(str(i) for i in Entry.objects.values_list("client_id", flat=True)) == sorted(
        e["id"] for e in batch[:80]
    )
    assert HeldEntry.objects.count() == 5
    stand = spring.entries.filter(standing="current").values_list("number", flat=True)
    assert list(stand) == [319.0] * 4
    assert_standing_is_what_the_rules_say(spring)


def test_overlapping_parts_of_one_queue_end_with_each_entry_once(
    portal: PortalProcess, spring: Assessment, place: Place
) -> None:
    """What a phone does whose answers are lost again and again: windows over the same queue, in any order."""
    phone = Phone(spring, place.people["field_crew"])
    queue = [phone.entry(TREES[n % 4], 200 + n) for n in range(120)]
    senders = [Sender(portal, phone.person) for _ in range(AT_ONCE)]
    windows = [queue[at * 10 : at * 10 + 40] for at in range(AT_ONCE)]
    at_once([lambda s=s, w=w: s.post(phone.device, w) for s, w in zip(senders, windows, strict=True)])
    assert spring.entries.count() == 120
    assert set(spring.entries.filter(standing="current").values_list("number", flat=True)) == {
        316,
        317,
        318,
        319,
    }
    assert_standing_is_what_the_rules_say(spring)


def test_two_crews_who_contradict_each_other_at_the_same_moment(
    portal: PortalProcess, spring: Assessment, place: Place
) -> None:
    people = [place.people["field_crew"], second_crew(place)]
    phones = [Phone(spring, people[n % 2]) for n in range(AT_ONCE)]
    senders = [Sender(portal, phone.person) for phone in phones]
    batches = [[p.entry(tree, 300 + n % 3) for tree in TREES] for n, p in enumerate(phones)]
    at_once(
        [lambda s=s, p=p, b=b: s.post(p.device, b) for s, p, b in zip(senders, phones, batches, strict=True)]
    )
    assert spring.entries.count() == AT_ONCE * len(TREES)
    told = {str(e.client_id): e.number for e in spring.entries.all()}
    assert told == {e["id"]: e["number"] for batch in batches for e in batch}
    assert set(spring.entries.values_list("standing", flat=True)) <= {"disputed", "replaced"}
    assert_standing_is_what_the_rules_say(spring)


def test_what_comes_while_the_assessment_is_closed_is_in_time_or_late_and_never_lost(
    portal: PortalProcess, spring: Assessment, place: Place
) -> None:
    phones = [Phone(spring, place.people["field_crew"]) for _ in range(AT_ONCE - 1)]
    senders = [Sender(portal, p.person) for p in phones]
    batches = [[p.entry(tree, 250) for tree in TREES] for p in phones]
    at_once(
        [
            *[
                lambda s=s, p=p, b=b: s.post(p.device, b)
                for s, p, b in zip(senders, phones, batches, strict=True)
            ],
            lambda: _closed(spring, place),
        ]
    )
    spring.refresh_from_db()
    assert spring.state == "closed"
    assert spring.entries.count() == len(phones) * len(TREES)
    closed_at = spring.closed_at
    assert isinstance(closed_at, dt.datetime)
    late = spring.entries.filter(standing="late")
    assert all(e.received_at >= closed_at for e in late)
    assert_standing_is_what_the_rules_say(spring)


def _closed(spring: Assessment, place: Place) -> None:
    from django.db import connection

    try:
        close_assessment(assessment=spring, by=place.people["manager"])
    finally:
        connection.close()  # this thread's own


def test_a_photo_sent_by_twelve_at_once_is_stored_once(
    portal: PortalProcess, spring: Assessment, place: Place
) -> None:
    about = {"id": str(uuid.uuid4()), "device": str(uuid.uuid4()), "assessment": spring.pk, "tree": "S-1-1"}
    senders = [Sender(portal, place.people["field_crew"]) for _ in range(AT_ONCE)]
    answers = at_once([lambda s=s: s.post_photo(about, jpeg(800, 600)) for s in senders])
    assert all(a == {"id": about["id"], "taken": True, "standing": "stored"} for a in answers)
    assert Photo.objects.count() == 1

"""The addresses of the scanner's page and of the tally's pages: the contract, who is let in, what people see and do."""

import json
import random
import re
from pathlib import Path
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from portal.models import Membership
from sawing.models import HeldTally, Study, TallyEntry
from sawing.tally import frame
from tests.conftest import Place
from tests.reports.pages import plain, table_of
from tests.sawing.scanners import Scanner, boards_of, code, saw_ready, standing_of

ENTRIES = "/sawing/api/small/first/tally/"
PLACE = ("small", "first")


@pytest.fixture
def study(material: Place) -> Study:
    return saw_ready(material)


@pytest.fixture
def scanner(study: Study, material: Place) -> Scanner:
    return Scanner(study, material.people["mill"])


def client_of(place: Place, who: str, **options: Any) -> Client:
    client = Client(**options)
    client.force_login(place.people[who])
    return client


def post(client: Client, body: Any, **headers: Any) -> Any:
    data = body if isinstance(body, str | bytes) else json.dumps(body)
    return client.post(ENTRIES, data, content_type="application/json", **headers)


def sent(scanner: Scanner, *entries: Any) -> dict[str, Any]:
    return {"device": str(scanner.device), "entries": list(entries)}


# The scanner's addresses


def test_a_day_at_the_saw(material: Place, scanner: Scanner) -> None:
    client = client_of(material, "mill")
    packed = client.get(f"{ENTRIES}pack/").json()
    assert (packed["study"], packed["name"]) == ("small/first", "First study")
    assert packed["plan"] == {
        "thicknesses_mm": [25.0, 50.0], "widths_mm": [100.0, 150.0, 200.0], "oversize_thickness_mm": 3.0,
        "oversize_width_pct": 0, "kerf_mm": 4.0, "crosscut_module_mm": None,
    }  # fmt: skip
    log = packed["logs"][0]
    assert (log["code"], log["length_m"], log["serials"], log["boards"]) == ("L1", 3.0, [101], [])
    assert log["volume_m3"] == pytest.approx(3 * 3.14159265 / 8 * (0.3**2 + 0.33**2), rel=1e-6)  # Smalian
    assert log["ends"][1] == {
        "along_x_mm": 150.0, "along_y_mm": 150.0,
        "sheet": {"pitch_mm": 8.3, "pith_row": 20, "pith_col": 20, "turned_deg": 0.0, "top_end": True},
    }  # fmt: skip
    good, held = scanner.board(flitch="3"), scanner.board(log="L2")
    response = post(client, sent(scanner, good, held, {"kind": "board"}))
    first, second, third = response.json()["answers"]
    assert first == {"id": good["id"], "taken": True, "standing": "current", "board": code(), "warnings": []}
    assert second == {
        "id": held["id"], "taken": True, "held": True,
        "problems": ["log: found L2, expected L1, whose label was read"],
    }  # fmt: skip
    assert third["taken"] is False
    again = client.get(f"{ENTRIES}pack/").json()["logs"][0]
    assert again["boards"] == [
        {"code": code(), "thickness_mm": 28.0, "width_mm": 150.0, "length_m": 3.0, "flitch": "3",
         "cells": [[0, 20, 20]]}
    ]  # fmt: skip


def test_signed_out_is_401_in_json_and_never_a_redirect(scanner: Scanner) -> None:
    for response in (Client().get(f"{ENTRIES}pack/"), post(Client(), sent(scanner, scanner.board()))):
        assert (response.status_code, response.json()) == (401, {"error": "signed out"})
    assert not TallyEntry.objects.exists()


def test_without_the_token_it_is_403_in_json(material: Place, scanner: Scanner) -> None:
    client = client_of(material, "mill", enforce_csrf_checks=True)
    body = sent(scanner, scanner.board())
    refused = post(client, body)
    assert (refused.status_code, list(refused.json())) == (403, ["error"])
    token = client.get("/field/api/session/").json()["csrf"]
    assert post(client, body, headers={"X-CSRFToken": token}).status_code == 200


@pytest.mark.parametrize(
    ("who", "get", "told"),
    [
        ("mill", 200, "current"),
        ("manager", 200, "current"),
        ("grader", 403, "held"),
        ("researcher", 404, "held"),
        ("stranger", 404, None),
    ],
)
def test_who_fetches_and_who_sends(
    material: Place, scanner: Scanner, who: str, get: int, told: str | None
) -> None:
    """What people of the trial send is kept, though some of it held; who never belonged to it learns nothing."""
    client = client_of(material, who)
    packed = client.get(f"{ENTRIES}pack/")
    assert (packed.status_code, packed["Content-Type"]) == (get, "application/json")
    response = post(client, sent(scanner, scanner.board()))
    if told is None:
        missing = client.post("/sawing/api/small/none/tally/", "{}", content_type="application/json")
        assert (response.status_code, response.json()) == (missing.status_code, missing.json())
        assert not HeldTally.objects.exists()
    else:
        answer = response.json()["answers"][0]
        assert answer.get("standing", "held") == told


def test_what_was_typed_before_a_role_ended_is_held(material: Place, scanner: Scanner) -> None:
    Membership.objects.filter(user=material.people["mill"]).update(active=False)
    answer = post(client_of(material, "mill"), sent(scanner, scanner.board())).json()["answers"][0]
    assert answer["held"] is True


@pytest.mark.parametrize(
    "body",
    [
        b"", b"{", b"[]", b"null", b"7", b"\xff\xfe", b"[" * 100_000, b'{"device": "x", "entries": []}',
        b'{"device": "00000000-0000-4000-8000-000000000000"}',
        b'{"device": "00000000-0000-4000-8000-000000000000", "entries": {}}',
        b'{"device": "00000000-0000-4000-8000-000000000000", "entries": ' + json.dumps([{}] * 201).encode() + b"}",
    ],
    ids=range(11),
)  # fmt: skip
def test_nonsense_is_400_in_json(material: Place, study: Study, body: bytes) -> None:
    response = post(client_of(material, "mill"), body)
    assert response.status_code == 400
    assert "expected" in response.json()["error"]


def test_anything_with_an_identity_is_kept(material: Place, scanner: Scanner) -> None:
    """Fields replaced by whatever JSON holds: every entry is stored or held, none breaks the batch."""
    odd = [
        None,
        True,
        -1,
        0.5,
        10**400,
        1e308,
        "",
        "x" * 5000,
        "\x00",
        "1" * 10,
        [],
        [[]],
        {},
        {"a": 1},
        "NaN",
    ]
    draw = random.Random(4)
    entries = []
    for _ in range(150):
        entry = scanner.board(code(row=draw.randrange(3, 37), col=draw.randrange(3, 37)))
        for name in draw.sample(sorted(set(entry) - {"id"}), draw.randrange(0, 4)):
            entry[name] = draw.choice(odd)
        entries.append(entry)
    response = post(client_of(material, "mill"), sent(scanner, *entries))
    assert response.status_code == 200
    assert all(a["taken"] for a in response.json()["answers"])
    assert TallyEntry.objects.count() + HeldTally.objects.count() == 150
    assert TallyEntry.objects.count() > 20


def test_a_batch_takes_its_number_of_queries_however_many_boards(material: Place, scanner: Scanner) -> None:
    client = client_of(material, "mill")
    counts = []
    for rows in (range(3, 5), range(5, 25)):
        body = sent(scanner, *(scanner.board(code(row=row), flitch=str(row)) for row in rows))
        with CaptureQueriesContext(connection) as captured:
            assert post(client, body).status_code == 200
        counts.append(len(captured))
    assert counts == [26, 26]


# The frame


def text_of(name: str) -> str:
    response = Client().get(reverse(f"sawing:{name}"))
    assert response.status_code == 200
    return response.content.decode()


def test_the_frame_holds_no_inline_script_or_style_and_its_caution() -> None:
    text = text_of("tally_frame")
    assert not re.search(r"<script(?![^>]*\bsrc=)|\bstyle=|\bon[a-z]+=|<style", text)
    assert "no phone in the hand beside running machinery" in text


@pytest.mark.django_db
def test_the_worker_keeps_every_file_that_the_page_asks_for() -> None:
    kept = set(json.loads(re.search(r"new Set\((\[.*?\])\)", text_of("tally_worker"))[1]))
    asked = set(re.findall(r'(?:src|href)="(/static/[^"]*)"', text_of("tally_frame")))
    for folder, modules in (("sawing/tally", frame.FOLDER.glob("*.js")), ("trials/field", [])):
        for module in modules:
            found = module.read_text()
            asked |= {f"/static/{folder}/{n}" for n in re.findall(r'from "\./([\w.]+)"', found)}
            asked |= {
                f"/static/trials/field/{n}" for n in re.findall(r'from "../../trials/field/([\w.]+)"', found)
            }
    assert asked <= kept
    assert not [address for address in kept if "/api/" in address]
    for address in kept:
        if address.startswith("/static/"):
            assert finders.find(address.removeprefix("/static/")), address


def test_shared_modules_ask_for_nothing_that_is_not_kept() -> None:
    for name in frame.SHARED:
        if name.endswith(".js"):
            path = finders.find(name)
            assert isinstance(path, str)
            for asked in re.findall(r'from "\./([\w.]+)"', Path(path).read_text()):
                assert f"trials/field/{asked}" in frame.SHARED


# The pages


def test_the_balance_of_each_log(material: Place, scanner: Scanner) -> None:
    """Worked by hand: two boards of 28 × 150 mm and 3 m are 0.0252 m³; kerf 4 mm × 0.45 m² × 3 cuts = 0.0054 m³;
    L1 by Smalian is 3 π/8 (0.3² + 0.33²) = 0.234324 m³; the rest 0.203724 m³."""
    scanner.send(scanner.board(code(row=20), flitch="1"), scanner.board(code(row=24), flitch="2"))
    client = client_of(material, "grader")
    address = reverse("sawing:tally_balance", args=PLACE)
    rows = table_of(client, address)
    found = {head.split(" (")[0].split(",")[0]: value for head, value in rows["L1"].items()}
    assert float(found["In boards"]) == pytest.approx(0.0252)
    assert float(found["Kerf"]) == pytest.approx(0.0054)
    assert float(found["Rest"]) == pytest.approx(0.234324 - 0.0252 - 0.0054, abs=1e-6)
    page = plain(client.get(address))
    assert "0.0252" in page
    assert "0.2343" in page
    assert "0.2037" in page
    log = plain(client.get(reverse("sawing:log", args=[*PLACE, "L1"])))
    assert "0.0252" in log


def test_what_is_odd_stands_on_the_balance_and_on_the_log(material: Place, scanner: Scanner) -> None:
    scanner.send(scanner.board(width_mm=170, confirmed=True))
    client = client_of(material, "mill")
    words = "170 mm wide, the nearest of the set is 150 mm"
    assert words in plain(client.get(reverse("sawing:tally_balance", args=PLACE)))
    assert words in plain(client.get(reverse("sawing:log", args=[*PLACE, "L1"])))
    assert words not in plain(client.get(reverse("sawing:log", args=[*PLACE, "L2"])))


def test_a_manager_decides_on_the_page(material: Place, scanner: Scanner) -> None:
    other = Scanner(scanner.study, material.people["manager"])
    mine, theirs = scanner.tally(width_mm=150), other.tally(width_mm=200)
    wrong = scanner.board(code(row=30), log="L2")
    scanner.send(wrong)
    address = reverse("sawing:tally_waiting", args=PLACE)
    client = client_of(material, "manager")
    page = plain(client.get(address))
    assert "28.0 × 150.0 mm" in page
    assert "28.0 × 200.0 mm" in page
    assert "log: found L2, expected L1, whose label was read" in page
    held = HeldTally.objects.get()
    client.post(address, {"do": f"mend-{held.pk}", f"log-{held.pk}": "L3"})
    assert HeldTally.objects.get().state == "waiting"
    client.post(address, {"do": f"mend-{held.pk}", f"log-{held.pk}": "L1", f"width_mm-{held.pk}": "151,5"})
    client.post(address, {"do": f"choose-{theirs.pk}"})
    assert (standing_of(mine), boards_of(scanner.study)) == ("set_aside", {code(): 200, code(row=30): 151.5})
    assert "Nothing waits" in plain(client.get(address))
    late = client.post(address, {"do": f"choose-{theirs.pk}"}, follow=True)
    assert "in dispute no longer" in plain(late)


def test_a_files_board_is_kept_on_the_page(material: Place, scanner: Scanner) -> None:
    material.bring(
        "boards", f"board,log,thickness_mm,width_mm,length_m\n{code()},L1,28,150,3\n", name="file.csv"
    )
    entry = scanner.tally(width_mm=200)
    address = reverse("sawing:tally_waiting", args=PLACE)
    client = client_of(material, "manager")
    assert "As it came by a file." in plain(client.get(address))
    client.post(address, {"do": f"file-{entry.pk}"})
    assert (standing_of(entry), boards_of(scanner.study)) == ("set_aside", {code(): 150})


@pytest.mark.parametrize("do", ["", "choose-", "choose-x", "sell-1", "choose-" + "9" * 30])
def test_buttons_that_are_none(material: Place, scanner: Scanner, do: str) -> None:
    entry = scanner.tally()
    do = do.replace("sell-1", f"sell-{entry.pk}")
    response = client_of(material, "manager").post(reverse("sawing:tally_waiting", args=PLACE), {"do": do})
    assert response.status_code == 400


def test_others_see_what_waits_and_decide_nothing(material: Place, scanner: Scanner) -> None:
    scanner.send(scanner.board(log="L2"))
    held = HeldTally.objects.get()
    address = reverse("sawing:tally_waiting", args=PLACE)
    client = client_of(material, "mill")
    page = plain(client.get(address))
    assert "managers decide" in page
    assert '<button class="button" name="do"' not in page
    assert client.post(address, {"do": f"drop-{held.pk}"}).status_code == 403
    assert HeldTally.objects.get().state == "waiting"

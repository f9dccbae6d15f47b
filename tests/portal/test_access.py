"""Who sees what, and who does what: every address, asked by everybody."""

import ast
import html
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.messages import get_messages
from django.db import transaction
from django.test import Client, override_settings
from django.urls import get_resolver, reverse

from portal.models import Membership, Role, Upload, User
from portal.uploads.actions import check_upload
from reports.calc.recovery import compute_with_held_rows
from sawing.actions import create_study, offer_boards
from tests.conftest import Place
from trials.actions import create_trial

ROOT = Path(__file__).resolve().parents[2]
BAD_TALLY = "board,log,thickness_mm,width_mm,length_m\nN1,NOLOG,28,100,3\n"
CHECKED_TALLY = "board,log,thickness_mm,width_mm,length_m\nN2,L1,28,100,3\n"

# "neighbour" manages another trial; "left" was this trial's manager once; "in" is led to the sign-in page.
PEOPLE = ("out", "stranger", "neighbour", "left", "field_crew", "mill", "grader", "researcher", "manager", "steward")
SESSIONS: dict[str, str] = {}
FIGURES: dict[Any, Any] = {}
TRIAL, STUDY = ("small",), ("small", "first")

# Written out by hand from what the roles are for. Columns as in PEOPLE. 302 leads on, "in" leads to signing in.
GETS = """
portal:sign_in               200 302 302 302 302 302 302 302 302 302
portal:look                  200 200 200 200 200 200 200 200 200 200
portal:account               in  200 200 200 200 200 200 200 200 200
portal:change_password       in  200 200 200 200 200 200 200 200 200
portal:people                in  403 200 403 403 403 403 403 200 200
portal:give_role             in  404 404 404 403 403 403 404 200 200
portal:new_person            in  404 404 404 403 403 403 404 200 200
reports:home                 in  200 200 200 200 200 200 200 200 200
portal:files                 in  200 200 200 200 200 200 200 200 200
portal:bring_file            in  403 200 403 403 200 200 403 200 200
portal:formats               in  200 200 200 200 200 200 200 200 200
portal:sample                in  200 200 200 200 200 200 200 200 200
portal:file                  in  404 404 404 200 200 200 404 200 200
portal:held                  in  404 404 404 200 200 200 404 200 200
portal:held_download         in  404 404 404 200 200 200 404 200 200
trials:trees                 in  200 302 200 302 302 302 200 302 200
trials:new_trial             in  403 403 403 403 403 403 403 403 200
trials:describe_trial        in  404 404 404 403 403 403 404 200 200
trials:describe_site         in  404 404 404 403 403 403 404 200 200
trials:trial_trees           in  404 404 404 200 200 200 404 200 200
trials:site                  in  404 404 404 200 200 200 404 200 200
trials:tree                  in  404 404 404 200 200 200 404 200 200
sawing:studies               in  200 200 200 302 302 302 200 200 200
sawing:new_study             in  404 404 404 403 403 403 404 200 200
sawing:plan                  in  404 404 404 200 200 200 404 200 200
sawing:logs                  in  404 404 404 200 200 200 404 200 200
sawing:log                   in  404 404 404 200 200 200 404 200 200
grading:boards               in  200 200 200 200 200 200 200 200 200
grading:rule_sets            in  200 200 200 200 200 200 200 200 200
grading:new_rule_set         in  403 200 403 403 403 403 403 200 200
grading:study_boards         in  404 404 404 200 200 200 404 200 200
grading:board                in  404 404 404 200 200 200 404 200 200
grading:board(on_offer)      in  404 404 404 200 200 200 200 200 200
reports:trial                in  404 404 404 200 200 200 404 200 200
reports:study                in  404 404 404 200 200 200 404 200 200
reports:clones               in  200 302 200 302 302 302 200 302 200
reports:trial_clones         in  404 404 404 200 200 200 404 200 200
reports:prices               in  404 404 404 200 200 200 404 200 200
reports:clone                in  404 404 404 200 200 200 404 200 200
portal:store_file            in  405 405 405 405 405 405 405 405 405
portal:discard_file          in  405 405 405 405 405 405 405 405 405
portal:end_role              in  405 405 405 405 405 405 405 405 405
grading:offer                in  405 405 405 405 405 405 405 405 405
portal:sign_out              in  405 405 405 405 405 405 405 405 405
"""
# 302: done, led on to what came of it. 422: allowed, but what was sent (nothing) will not do.
POSTS = """
portal:sign_out              in  302 302 302 302 302 302 302 302 302
portal:bring_file            in  403 422 403 403 422 422 403 422 422
portal:store_file            in  404 404 404 403 302 403 404 302 302
portal:discard_file          in  404 404 404 403 302 403 404 302 302
portal:held                  in  404 404 404 403 302 403 404 302 302
portal:account               in  422 422 422 422 422 422 422 422 422
portal:change_password       in  422 422 422 422 422 422 422 422 422
portal:give_role             in  404 404 404 403 403 403 404 422 422
portal:new_person            in  404 404 404 403 403 403 404 422 422
portal:end_role              in  404 404 404 403 403 403 404 302 302
trials:new_trial             in  403 403 403 403 403 403 403 403 422
trials:describe_trial        in  404 404 404 403 403 403 404 422 422
trials:describe_site         in  404 404 404 403 403 403 404 302 302
sawing:new_study             in  404 404 404 403 403 403 404 422 422
sawing:plan                  in  404 404 404 403 403 403 404 422 422
grading:offer                in  404 404 404 403 403 403 404 302 302
grading:new_rule_set         in  403 422 403 403 403 403 403 422 422
"""


def rows(table: str) -> list[Any]:
    lines = [line.split() for line in table.strip().splitlines()]
    return [pytest.param(name, dict(zip(PEOPLE, answers, strict=True)), id=name) for name, *answers in lines]


def arguments(place: Place) -> dict[str, tuple[Any, ...]]:
    """What stands in the addresses."""
    files = {u.file_name: u.pk for u in place.trial.uploads.all()}
    return {
        "portal:sample": ("boards",),
        "portal:file": (files["bad.csv"],),
        "portal:held": (files["bad.csv"],),
        "portal:held_download": (files["bad.csv"],),
        "portal:store_file": (files["checked.csv"],),
        "portal:discard_file": (files["checked.csv"],),
        "portal:give_role": TRIAL,
        "portal:new_person": TRIAL,
        "portal:end_role": (*TRIAL, place.trial.memberships.get(role=Role.MILL).pk),
        "trials:describe_trial": TRIAL,
        "trials:describe_site": (*TRIAL, "S"),
        "trials:trial_trees": TRIAL,
        "trials:site": (*TRIAL, "S"),
        "trials:tree": (*TRIAL, "S-1-1"),
        "sawing:new_study": TRIAL,
        "sawing:plan": STUDY,
        "sawing:logs": STUDY,
        "sawing:log": (*STUDY, "L1"),
        "grading:study_boards": STUDY,
        "grading:offer": STUDY,
        "grading:board": (*STUDY, "B2"),
        "grading:board(on_offer)": (*STUDY, "B1"),
        "reports:trial": TRIAL,
        "reports:study": STUDY,
        "reports:trial_clones": TRIAL,
        "reports:prices": TRIAL,
        "reports:clone": (*TRIAL, "K1"),
    }


@pytest.fixture(scope="module")
def material_of_module(material_of_module: Place, django_db_blocker: Any) -> Place:
    """With a second trial beside it, one board on offer, a file with a held row and one not stored yet."""
    place = material_of_module
    with django_db_blocker.unblock(), override_settings(MEDIA_ROOT=place.media):
        other = create_trial(code="other", name="Other trial", by=place.people["steward"])
        for name, trial, active in (("neighbour", other, True), ("left", place.trial, False)):
            place.people[name] = User.objects.create_user(name)
            Membership.objects.create(user=place.people[name], trial=trial, role=Role.MANAGER, active=active)
        offer_boards(study=place.study, by=place.people["manager"], codes=["B1"])
        place.bring("boards", BAD_TALLY, name="bad.csv", by="mill")
        check_upload(
            kind_name="boards",
            target=place.target("boards"),
            file_name="checked.csv",
            data=CHECKED_TALLY.encode(),
            by=place.people["mill"],
        )
        for name, user in place.people.items():
            client = Client()
            client.force_login(user)
            SESSIONS[name] = client.cookies[settings.SESSION_COOKIE_NAME].value
    return place


@pytest.fixture
def town(material: Place, monkeypatch: pytest.MonkeyPatch) -> Place:
    """The place as above. Its figures are the same whoever asks: they are computed once."""
    monkeypatch.setattr("reports.queries.compute_with_held_rows", computed_once)
    return material


def computed_once(trees: Any, logs: Any, boards: Any, *others: Any) -> Any:
    key = (tuple(logs["log"]), tuple(boards["board"]), others[-1].log_volume)
    if key not in FIGURES:
        FIGURES[key] = compute_with_held_rows(trees, logs, boards, *others)
    return FIGURES[key]


def address(place: Place, name: str) -> str:
    return reverse(name.split("(")[0], args=arguments(place).get(name, ()))


def signed_in(who: str) -> Client:
    client = Client()
    if who != "out":
        client.cookies[settings.SESSION_COOKIE_NAME] = SESSIONS[who]
    return client


def answer(response: Any) -> str:
    to_sign_in = response.status_code == 302 and response["Location"].startswith(reverse("portal:sign_in"))
    return "in" if to_sign_in and response["Location"] != reverse("portal:sign_in") else str(response.status_code)


def asked(ask: Callable[[Client], Any]) -> dict[str, str]:
    """The answer to each person; what one of them changed is undone before the next one asks."""
    found = {}
    for who in PEOPLE:
        with transaction.atomic():
            found[who] = answer(ask(signed_in(who)))
            transaction.set_rollback(True)
    return found


@pytest.mark.parametrize(("name", "expected"), rows(GETS))
def test_pages(town: Place, name: str, expected: dict[str, str]) -> None:
    url = address(town, name)
    assert asked(lambda client: client.get(url)) == expected


@pytest.mark.parametrize(("name", "expected"), rows(POSTS))
def test_actions(town: Place, name: str, expected: dict[str, str]) -> None:
    url = address(town, name)
    held = town.trial.uploads.get(file_name="bad.csv").held_rows.get().pk
    sent = {"portal:held": {"do": f"aside-{held}"}, "grading:offer": {"board": "B2"}}.get(name, {"title": ""})
    assert asked(lambda client: client.post(url, sent)) == expected


def test_every_address_is_in_the_table() -> None:
    names = set()
    for include in get_resolver().url_patterns:
        names |= {f"{include.app_name}:{pattern.name}" for pattern in include.url_patterns}
    assert names == {row.values[0].split("(")[0] for row in rows(GETS)}


@pytest.mark.parametrize("who", ["stranger", "neighbour", "left", "field_crew", "grader", "researcher"])
def test_actions_by_the_wrong_people_change_nothing(town: Place, who: str) -> None:
    client = signed_in(who)
    bad, checked = (town.trial.uploads.get(file_name=f"{n}.csv") for n in ("bad", "checked"))
    client.post(reverse("portal:store_file", args=[checked.pk]))
    client.post(reverse("portal:discard_file", args=[checked.pk]))
    client.post(reverse("portal:held", args=[bad.pk]), {f"row-{bad.held_rows.get().pk}-log": "L1", "do": "mend"})
    client.post(reverse("portal:held", args=[bad.pk]), {"do": f"aside-{bad.held_rows.get().pk}"})
    client.post(reverse("grading:offer", args=STUDY), {"board": "B2"})
    client.post(reverse("grading:offer", args=STUDY), {"board": "B1", "do": "withdraw"})
    client.post(reverse("sawing:plan", args=STUDY), {"name": "Mine", "log_volume_formula": "huber"})
    client.post(reverse("sawing:new_study", args=TRIAL), {"name": "X", "code": "x", "log_volume_formula": "huber"})
    checked.refresh_from_db()
    assert checked.state == "checked"
    assert bad.held_rows.get().state == "waiting"
    assert dict(town.study.boards.filter(code__in=["B1", "B2"]).values_list("code", "state")) == {
        "B1": "available",
        "B2": "graded",
    }
    assert list(town.trial.studies.values_list("name", "log_volume_formula")) == [("First study", "smalian")]


def test_a_manager_starts_a_study_and_changes_its_plan(town: Place) -> None:
    client = signed_in("manager")
    fields = {"name": "Second", "code": "second", "log_volume_formula": "huber", "widths": "100, 75"}
    made = client.post(reverse("sawing:new_study", args=TRIAL), fields)
    assert made["Location"] == reverse("reports:study", args=["small", "second"])
    study = town.trial.studies.get(code="second")
    assert (study.log_volume_formula, study.widths_mm) == ("huber", [75.0, 100.0])
    changed = client.post(
        reverse("sawing:plan", args=["small", "second"]), {"name": "Second", "log_volume_formula": "newton"}
    )
    assert changed.status_code == 302
    study.refresh_from_db()
    assert (study.log_volume_formula, study.code) == ("newton", "second")


def test_a_study_never_takes_a_code_that_is_an_address_of_its_own(town: Place) -> None:
    fields = {"name": "Second", "code": "new", "log_volume_formula": "huber"}
    refused = signed_in("manager").post(reverse("sawing:new_study", args=TRIAL), fields)
    assert refused.status_code == 422
    assert not town.trial.studies.filter(code="new").exists()


def test_a_researcher_sees_the_boards_on_offer_and_no_way_further_in(town: Place) -> None:
    client = signed_in("researcher")
    offered = client.get(reverse("grading:boards")).content.decode()
    assert ">B1<" in offered
    assert reverse("grading:board", args=[*STUDY, "B1"]) in offered
    assert reverse("grading:board", args=[*STUDY, "B2"]) not in offered
    page = client.get(reverse("grading:board", args=[*STUDY, "B1"])).content.decode()
    home = client.get(reverse("reports:home")).content.decode()
    for text in (offered, page, home):
        for inside in ("trees/small", "sawing/small", "clones/small", "boards/small/first/offer"):
            assert inside not in text
    assert "The manager" not in page  # the history of the board is the trial's own


def test_boards_taken_back_are_gone_for_researchers(town: Place) -> None:
    signed_in("manager").post(reverse("grading:offer", args=STUDY), {"board": "B1", "do": "withdraw"})
    client = signed_in("researcher")
    assert client.get(reverse("grading:board", args=[*STUDY, "B1"])).status_code == 404
    assert ">B1<" not in client.get(reverse("grading:boards")).content.decode()


def test_another_trial_sees_nothing_of_this_one(town: Place) -> None:
    client = signed_in("neighbour")
    hidden = ("Small trial", "First study", ">B1<", "S-1-1", "bad.csv", "boards.csv")
    for name in (
        "reports:home",
        "portal:files",
        "portal:bring_file",
        "trials:trees",
        "sawing:studies",
        "grading:boards",
        "reports:clones",
    ):
        page = client.get(reverse(name), follow=True).content.decode()
        assert [text for text in hidden if text in page] == [], name


def test_nobody_brings_files_into_a_place_not_their_own(town: Place) -> None:
    from django.core.files.uploadedfile import SimpleUploadedFile

    def sent(who: str, kind: str, place: str) -> Any:
        file = SimpleUploadedFile("x.csv", CHECKED_TALLY.replace("N2", "N3").encode())
        return signed_in(who).post(reverse("portal:bring_file"), {"kind": kind, "place": place, "file": file})

    before = Upload.objects.count()
    assert sent("neighbour", "boards", "small/first").status_code == 422
    assert sent("mill", "clones", "small").status_code == 422
    assert sent("grader", "boards", "small/first").status_code == 422
    Membership.objects.create(user=town.people["neighbour"], trial=town.trial, role=Role.GRADER)
    # Now both the kind and the place are among the choices, but not together.
    assert sent("neighbour", "boards", "small/first").status_code == 403
    assert Upload.objects.count() == before
    assert sent("mill", "boards", "small/first").status_code == 302


def test_signing_in_and_out(town: Place) -> None:
    client = Client()
    wrong = client.post(reverse("portal:sign_in"), {"username": "mill", "password": "wrong"})
    assert wrong.status_code == 200
    asked_for = reverse("reports:study", args=STUDY)
    assert client.get(asked_for)["Location"] == f"{reverse('portal:sign_in')}?next={asked_for}"
    right = client.post(
        reverse("portal:sign_in"), {"username": "mill", "password": "larch and rain 12", "next": asked_for}
    )
    assert right["Location"] == asked_for
    away = client.post(
        reverse("portal:sign_in"), {"username": "mill", "password": "larch and rain 12", "next": "//evil.example"}
    )
    assert away["Location"] == reverse("reports:home")
    client.post(reverse("portal:sign_out"))
    assert answer(client.get(asked_for)) == "in"


def test_someone_no_longer_active_is_out(town: Place) -> None:
    client = signed_in("manager")
    User.objects.filter(username="manager").update(is_active=False)
    assert answer(client.get(reverse("reports:home"))) == "in"


def test_a_form_from_elsewhere_is_refused(town: Place) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(town.people["manager"])
    assert client.post(reverse("grading:offer", args=STUDY), {"board": "B2"}).status_code == 403


# Codes and queries as people write them -----------------------------------------------------------------

ODD = 'Ä/7 "x" <b>&\'%20?#'
ODD_SHORT = "β 1/2"


@pytest.fixture
def odd(material: Place) -> Place:
    """Material whose codes have slashes, spaces, quotes, umlauts and markup in them."""
    quoted = '"' + ODD.replace('"', '""') + '"'
    material.bring("clones", f"clone,kind\n{quoted},hybrid\n", name="c.csv")
    material.bring(
        "layout", f"site,block,plot,clone,tree,row,col\n{quoted},1,1,{quoted},{quoted},1,1\n", name="l.csv"
    )
    material.bring(
        "logs", f"log,tree,bottom_m,length_m,sed1_mm,led1_mm\n{quoted},{quoted},0.3,3,300,320\n", name="g.csv"
    )
    tally = f"board,log,thickness_mm,width_mm,length_m,flitch\n{quoted},{quoted},28,100,3,{quoted}\n"
    assert material.bring("boards", tally, name="b.csv").added == 1
    assert material.bring("grades", f"board,rule_set,grade\n{quoted},look,Fine\n", name="d.csv").added == 1
    return material


@pytest.mark.parametrize(
    "name", ["trials:site", "trials:tree", "sawing:log", "grading:board", "reports:clone", "sawing:logs"]
)
def test_odd_codes_have_pages_and_downloads(odd: Place, name: str) -> None:
    before = TRIAL if name.startswith(("trials", "reports")) else STUDY
    url = reverse(name, args=[*before, ODD] if name != "sawing:logs" else before)
    client = signed_in("manager")
    page = client.get(url)
    assert page.status_code == 200
    assert "Ä/7 &quot;x&quot; &lt;b&gt;" in page.content.decode()
    assert "<b>&'" not in page.content.decode()
    for kind in ("csv", "xlsx"):
        file = client.get(url, {"download": kind})
        assert file.status_code == 200
        if "Content-Disposition" in file:
            assert file["Content-Disposition"].startswith("attachment; filename")


def test_the_links_on_a_page_of_odd_codes_lead_somewhere(odd: Place) -> None:
    client = signed_in("manager")
    pages = [
        reverse("grading:board", args=[*STUDY, ODD]),
        reverse("sawing:log", args=[*STUDY, ODD]),
        reverse("trials:tree", args=[*TRIAL, ODD]),
        reverse("reports:clone", args=[*TRIAL, ODD]),
        reverse("reports:study", args=STUDY),
    ]
    links: set[str] = set()
    for page in pages:
        text = client.get(page).content.decode()
        found = {html.unescape(link).split("#")[0] for link in re.findall(r'href="(/[^"]*)', text)}
        links |= {link for link in found if not link.startswith("/static/")}
    assert any("%C3%84" in link for link in links)
    assert {link: status for link in sorted(links) if (status := client.get(link, follow=True).status_code) != 200} == {}


def test_boards_behind_a_figure_of_an_odd_clone_are_its_own(odd: Place) -> None:
    from grading.links import boards_url

    page = signed_in("manager").get(boards_url(odd.study, clone=ODD)).content.decode()
    assert "1 of 8\xa0boards" in page, re.search(r'table-words">.*', page)


NONSENSE = (
    "page=-1&sort=nothing&f_nothing=1&download=pdf&formula=guess&size_basis=guess&version=%C2%B2&kind=x&place=x&as=x",
    "page=abc&sort=--code&f_state=%F0%9F%8C%B2&f_code=%25%27%3B--&version=-1&formula=&size_basis=",
    "page=99999999999999999999&sort=-&version=99999999999999999999&download=&f_clone=%C3%A4",
)
PAGES = ["portal:bring_file", "portal:files", "portal:held", "portal:held_download", "trials:trial_trees", "trials:site", "sawing:logs", "sawing:log", "grading:boards", "grading:study_boards", "reports:study", "reports:trial_clones", "reports:prices", "reports:clone"]


@pytest.mark.parametrize("query", NONSENSE)
def test_nonsense_in_the_query_breaks_no_page(town: Place, query: str) -> None:
    client = signed_in("manager")
    statuses = {name: client.get(f"{address(town, name)}?{query}").status_code for name in PAGES}
    assert statuses == dict.fromkeys(PAGES, 200)


@pytest.mark.parametrize("query", ["f_code=%00", "f_clone=a%00b", "formula=%00", "page=%00"])
def test_a_nul_in_the_query_is_a_bad_request(town: Place, query: str) -> None:
    client = signed_in("manager")
    assert {client.get(f"{address(town, name)}?{query}").status_code for name in PAGES} == {400}


@pytest.mark.parametrize("code", ["x" * 3000, "%F0%9F%8C%B2", "%FF", "..%2f..", "%25"])
def test_nonsense_in_the_address_is_not_found(town: Place, code: str) -> None:
    client = signed_in("manager")
    for start in ("trees/small/site", "trees/small/tree", "sawing/small/first/logs", "boards/small/first"):
        assert client.get(f"/{start}/{code}/").status_code == 404, start
    assert client.get(f"/clones/small/clone/{code}/").status_code == 404


def test_a_nul_in_the_address_is_a_bad_request(town: Place) -> None:
    client = signed_in("manager")
    for start in ("trees/small/site", "sawing/small/first/logs", "boards/small/first", "clones/small/clone"):
        assert client.get(f"/{start}/a%00b/").status_code == 400, start


def test_numbers_too_large_for_a_database_are_not_found(town: Place) -> None:
    client = signed_in("manager")
    assert client.get(f"/files/{10**30}/").status_code == 404
    assert client.get(f"/files/{10**30}/held/").status_code == 404


@pytest.mark.parametrize(
    "sent",
    [
        {"do": "aside", "chosen": "²"},
        {"do": "aside", "chosen": str(10**30)},
        {"do": "aside", "chosen": "9" * 5000},
        {"do": "replace-²"},
        {"do": "replace-"},
        {"do": "aside-x"},
        {"do": "nothing known"},
        {"row-²-log": "L1"},
        {f"row-{10**30}-log": "L1"},
        {"row--log": "L1"},
        {"row-{held}-nothing": "L1"},
        {"row-{held}-log": "\x00"},
        {"row-{held}-log": "x" * 10_000},
    ],
)
def test_nonsense_sent_for_held_rows_changes_nothing(town: Place, sent: dict[str, str]) -> None:
    upload = town.trial.uploads.get(file_name="bad.csv")
    held = upload.held_rows.get()
    sent = {name.replace("{held}", str(held.pk)): value for name, value in sent.items()}
    response = signed_in("mill").post(reverse("portal:held", args=[upload.pk]), sent)
    assert response.status_code == 302
    assert list(get_messages(response.wsgi_request))
    held.refresh_from_db()
    assert held.state == "waiting"
    assert signed_in("mill").get(reverse("portal:held", args=[upload.pk])).status_code == 200


# What the code itself must not do ------------------------------------------------------------------------

WRITES = {"save", "create", "bulk_create", "bulk_update", "update_or_create", "get_or_create", "delete", "atomic"}


def view_files() -> list[Path]:
    rooms = [ROOT / room for room in ("portal", "trials", "sawing", "grading", "reports")]
    found = [p for room in rooms for p in [*room.rglob("views.py"), *room.glob("views/*.py")]]
    return [*found, ROOT / "portal" / "look.py"]


def test_views_write_nothing_themselves() -> None:
    """Writes are functions of actions.py, each in one transaction with its permission asked inside."""
    files = view_files()
    assert len(files) >= 8
    for path in files:
        for node in ast.walk(ast.parse(path.read_text())):
            called = node.func if isinstance(node, ast.Call) else None
            name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
            assert name not in WRITES, f"{path}:{node.lineno} calls {name}()"
            if isinstance(node, ast.Attribute | ast.Name):
                assert getattr(node, "attr", getattr(node, "id", "")) != "atomic", f"{path}:{node.lineno}"


# Asked by actions, with the permission asked and the lock held there; or no writes at all.
PARTS_OF_ACTIONS = {"give_own_hues", "json_notes", "may_add_rule_sets"}


def test_every_action_names_who_does_it() -> None:
    """Public functions of actions.py either take `by` or are the upload machine's own (target, rows, upload)."""
    files = [*ROOT.glob("[a-z]*/actions.py"), *ROOT.glob("portal/*/actions.py")]
    assert len(files) >= 6
    for path in files:
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_") and node.name not in PARTS_OF_ACTIONS:
                keyword = {a.arg for a in node.args.kwonlyargs}
                positional = [a.arg for a in node.args.args]
                assert "by" in keyword or positional[:2] == ["target", "rows"], f"{path}: {node.name}"


def test_a_second_study_of_the_trial_is_open_to_its_people(town: Place) -> None:
    create_study(trial=town.trial, code="second", name="Second study", by=town.people["manager"])
    url = reverse("reports:study", args=["small", "second"])
    answers = asked(lambda client: client.get(url))
    assert {who for who, status in answers.items() if status == "200"} == {
        "field_crew", "mill", "grader", "manager", "steward",
    }  # fmt: skip

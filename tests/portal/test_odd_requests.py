"""Codes and queries as people, and worse, write them: each has its page or its refusal, none breaks anything."""

import html
import re

import pytest
from django.contrib.messages import get_messages
from django.urls import reverse

from grading.links import boards_url
from tests.conftest import Place
from tests.portal.town import STUDY, TRIAL, address, signed_in

ODD = 'Ä/7 "x" <b>&\'%20?#'


@pytest.fixture
def odd(town: Place, material: Place) -> Place:
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


def test_odd_codes_have_pages_and_downloads(odd: Place) -> None:
    client = signed_in("manager")
    for name in ("trials:site", "trials:tree", "sawing:log", "grading:board", "reports:clone"):
        before = TRIAL if name.startswith(("trials", "reports")) else STUDY
        url = reverse(name, args=[*before, ODD])
        page = client.get(url)
        assert page.status_code == 200, name
        assert "Ä/7 &quot;x&quot; &lt;b&gt;" in page.content.decode(), name
        assert "<b>&'" not in page.content.decode(), name
        for kind in ("csv", "xlsx"):
            file = client.get(url, {"download": kind})
            assert file.status_code == 200, name
            if name not in ("grading:board", "trials:tree"):  # these have no table
                assert file["Content-Disposition"].startswith("attachment; filename"), name


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
    assert {
        link: status for link in sorted(links) if (status := client.get(link, follow=True).status_code) != 200
    } == {}


def test_boards_behind_a_figure_of_an_odd_clone_are_its_own(odd: Place) -> None:
    page = signed_in("manager").get(boards_url(odd.study, clone=ODD)).content.decode()
    assert "1 of 8\xa0boards" in page, re.search(r'table-words">.*', page)


NONSENSE = (
    "page=-1&sort=nothing&f_nothing=1&download=pdf&formula=guess&size_basis=guess&version=%C2%B2&kind=x&place=x&as=x",
    "page=abc&sort=--code&f_state=%F0%9F%8C%B2&f_code=%25%27%3B--&version=-1&formula=&size_basis=",
    "page=99999999999999999999&sort=-&version=99999999999999999999&download=&f_clone=%C3%A4",
)
PAGES = [
    "portal:bring_file",
    "portal:files",
    "portal:held",
    "portal:held_download",
    "trials:trial_trees",
    "trials:site",
    "sawing:logs",
    "sawing:log",
    "grading:boards",
    "grading:study_boards",
    "reports:study",
    "reports:trial_clones",
    "reports:prices",
    "reports:clone",
]


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

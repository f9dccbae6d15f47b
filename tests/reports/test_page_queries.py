"""How many database queries the main pages take: pinned, and the same with more rows."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from sawing.actions import offer_boards
from sawing.models import Log
from tests.conftest import Place


@pytest.fixture
def manager(material: Place, client: Client) -> Client:
    client.force_login(material.people["manager"])
    return client


PAGES = {
    "boards": ("grading:study_boards", ("small", "first")),
    "boards on offer": ("grading:boards", ()),
    "logs": ("sawing:logs", ("small", "first")),
    "fellings": ("sawing:fellings", ("small", "first")),
    "log": ("sawing:log", ("small", "first", "L1")),
    "drying": ("sawing:drying", ("small", "first")),
    "dock": ("sawing:dock", ("small", "first")),
    "planned and cut": ("sawing:dock_compare", ("small", "first")),
    "scenarios": ("sawing:dock_scenarios", ("small", "first")),
    "balance": ("sawing:tally_balance", ("small", "first")),
    "trees": ("trials:trial_trees", ("small",)),
    "files": ("portal:files", ()),
    "study": ("reports:study", ("small", "first")),
    "clone": ("reports:clone", ("small", "K1")),
    "clones": ("reports:trial_clones", ("small",)),
}
KEEPS_WHAT_IT_COMPUTES = {"planned and cut"}
# Session, person, roles and the rooms a person may enter take 4 to 6 of them.
# A number may fall; before it rises, ask why.
QUERIES = {
    "boards": 16,
    "boards on offer": 14,
    "logs": 11,
    "fellings": 15,
    "log": 19,
    "drying": 9,
    "dock": 9,
    "planned and cut": 10,
    "scenarios": 8,
    "balance": 17,
    "trees": 9,
    "files": 8,
    "study": 25,
    "clone": 21,
    "clones": 14,
}


def queries(client: Client, page: str) -> int:
    name, args = PAGES[page]
    if page in KEEPS_WHAT_IT_COMPUTES:
        client.get(reverse(name, args=args))
    with CaptureQueriesContext(connection) as captured:
        assert client.get(reverse(name, args=args)).status_code == 200
    return len(captured)


@pytest.mark.parametrize("page", PAGES)
def test_a_page_takes_its_number_of_queries_and_no_more_with_more_rows(
    material: Place, manager: Client, page: str
) -> None:
    offer_boards(study=material.study, by=material.people["manager"], codes=["B1"])
    few = queries(manager, page)
    more = [
        (
            "layout",
            "site,block,plot,clone,tree,row,col\n" + "".join(f"S,{i},1,K1,M{i},9,{i}\n" for i in range(20)),
        ),
        (
            "logs",
            "log,tree,bottom_m,length_m,sed1_mm,led1_mm\n"
            + "".join(f"M{i},M{i},0.3,3,300,330\n" for i in range(20)),
        ),
        (
            "boards",
            "board,log,thickness_mm,width_mm,length_m,flitch\n"
            + "".join(f"M{i},M{i},28,100,3,1\n" for i in range(20)),
        ),
        ("grades", "board,rule_set,grade\n" + "".join(f"M{i},look,Fine\n" for i in range(20))),
    ]
    for kind, text in more:
        assert material.bring(kind, text, name=f"more_{kind}.csv").added == 20
    offer_boards(study=material.study, by=material.people["manager"], codes=[f"M{i}" for i in range(20)])
    assert Log.objects.count() == 23
    assert (few, queries(manager, page)) == (QUERIES[page], QUERIES[page])

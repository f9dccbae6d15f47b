"""Whatever a study holds, its page and its clones' pages say something sensible."""

import math
import re

import pytest
from django.test import Client
from django.urls import reverse

from portal.uploads.actions import set_aside
from sawing.actions import change_study, create_study
from tests.conftest import BOARDS, CLONES, GRADES, LAYOUT, LOGS, PRICES, Place
from tests.reports.pages import percent, plain, study_page, table_of
from trials.actions import create_trial


@pytest.fixture
def manager(material: Place, client: Client) -> Client:
    client.force_login(material.people["manager"])
    return client


@pytest.fixture
def bare(material: Place) -> Place:
    """A second trial with an empty study, for studies that hold less than the shared one."""
    steward = material.people["steward"]
    trial = create_trial(code="bare", name="Bare trial", by=steward)
    study = create_study(trial=trial, code="bare", name="Bare study", by=steward)
    return Place(trial, study, {**material.people, "manager": steward}, material.media)


def shown(place: Place, *files: tuple[str, str], look: str = "reports:study") -> str:
    """The page of the bare study (or of its clone K1) after these files came in."""
    for kind, text in files:
        place.bring(kind, text)
    client = Client()
    client.force_login(place.people["steward"])
    answer = client.get(reverse(look, args=["bare", "bare"] if look == "reports:study" else ["bare", "K1"]))
    assert answer.status_code == 200
    return plain(answer)


FIRST = (("clones", CLONES), ("layout", LAYOUT))


def test_a_study_with_nothing_says_what_to_bring(bare: Place) -> None:
    page = shown(bare)
    assert "Nothing measured yet" in page
    assert "Bring log measurements" in page


def test_a_clone_without_a_study_says_so(bare: Place) -> None:
    page = shown(bare, *FIRST, look="reports:clone")
    assert "Not sawn yet" in page
    assert "S-1-1" in page


def test_a_study_with_logs_only_shows_their_volume(bare: Place) -> None:
    page = shown(bare, *FIRST, ("logs", LOGS))
    assert "Where the wood went" in page
    assert "0.684" in page  # pi/8 x (3 x 0.1989 + 3 x 0.1409 + 4 x 0.1808) m³ of logs
    assert "Not graded yet" in page
    shown(bare, look="reports:clone")


def test_a_study_with_boards_but_no_grades_shows_green_recovery(bare: Place) -> None:
    page = shown(bare, *FIRST, ("logs", LOGS), ("boards", BOARDS))
    assert ">18.5<" in page
    assert "Not graded yet" in page
    assert "Value per m³ of log" not in page
    assert "18.5" in shown(bare, look="reports:clone")


def test_without_prices_there_are_recoveries_and_no_values(bare: Place) -> None:
    page = shown(bare, *FIRST, ("logs", LOGS), ("boards", BOARDS), ("grades", GRADES))
    heads = " ".join(re.findall(r"<th.*?</th>", page, re.S))
    assert "Accepted, " in heads
    assert "Value per m³ of log" not in page
    assert "EUR" not in page
    shown(bare, look="reports:clone")


def over_bark() -> str:
    """L1 and L2 over bark, L3 under."""
    marks = iter(("bark", "over", "over", "under"))
    return "".join(f"{line},{next(marks)}\n" for line in LOGS.splitlines())


def test_logs_over_bark_count_under_bark_with_a_factor(bare: Place) -> None:
    change_study(study=bare.study, by=bare.people["steward"], bark_factor=0.9)
    page = shown(bare, *FIRST, ("logs", over_bark()), ("boards", BOARDS))
    log_m3 = 0.81 * math.pi / 8 * 3 * (0.09 + 0.1089 + 0.0625 + 0.0784)
    assert f">{percent(0.074256 / log_m3)}<" in page


def test_logs_over_bark_without_a_factor_are_left_out_and_named(bare: Place) -> None:
    page = shown(bare, *FIRST, ("logs", over_bark()), ("boards", BOARDS))
    assert "Left out of the figures" in page
    assert re.search(r">L1</a>.*over", page)
    log_m3, boards_m3 = math.pi / 8 * 4 * (0.28**2 + 0.32**2), 0.028 * (0.23 + 0.25) * 4  # L3 alone
    assert f">{percent(boards_m3 / log_m3)}<" in page
    where = page[page.index(">Round wood under bark<") - 200 :]
    balance = re.findall(r'<th scope="row">(?:<a[^>]*>)?([^<]+).*?>([\d.]+)</td>', where)[:3]
    assert dict(balance) == {
        "Round wood under bark": f"{log_m3:.3f}",
        "Boards": f"{boards_m3:.3f}",
        "Kerf, slabs, edgings, dockings": f"{log_m3 - boards_m3:.3f}",
    }
    assert "2 boards, actual green size" in page
    shown(bare, look="reports:clone")


def test_a_study_whose_logs_are_all_left_out_says_why(bare: Place) -> None:
    page = shown(bare, *FIRST, ("logs", over_bark().replace("under", "over")), ("boards", BOARDS))
    assert "Nothing measured yet" not in page
    assert "Left out of the figures" in page
    assert re.search(r">L3</a>.*over", page)
    assert "bark factor" in page
    client = Client()
    client.force_login(bare.people["steward"])
    for name, args in (("sawing:log", ["bare", "bare", "L1"]), ("sawing:logs", ["bare", "bare"])):
        answer = client.get(reverse(name, args=args))
        assert answer.status_code == 200
        assert not re.search(r"\b(nan|inf)\b", answer.content.decode().lower())


def test_a_clone_of_one_tree_has_no_interval(material: Place, manager: Client) -> None:
    page = study_page(manager)
    k2 = re.search(r"<tr[^>]*>(?:(?!</tr>).)*/clones/small/clone/K2/.*?</tr>", page, re.S)
    assert k2
    assert "no interval" in k2.group()
    clone = plain(manager.get(reverse("reports:clone", args=["small", "K2"])))
    assert "No interval" in clone
    assert "interval 1" not in clone


def test_a_log_without_boards_stays_in_the_denominator(bare: Place) -> None:
    page = shown(bare, *FIRST, ("logs", LOGS + "L4,S-1-1,3.4,3.0,280,300\n"), ("boards", BOARDS))
    log_m3 = math.pi / 8 * 3 * (0.09 + 0.1089 + 0.0625 + 0.0784 + 0.0784 + 0.09)
    assert f">{percent(0.074256 / log_m3)}<" in page


def test_held_rows_stand_as_a_caution_until_they_are_settled(material: Place, manager: Client) -> None:
    assert "held" not in study_page(manager)
    bad = "board,log,thickness_mm,width_mm,length_m\nN1,NOLOG,28,100,3\nN2,L1,28,-1,3\n"
    upload = material.bring("boards", bad, name="bad.csv")
    caution = "2 rows of this study's files are held: the figures leave them out."
    assert caution in study_page(manager).replace("&#x27;", "'")
    assert caution in plain(manager.get(reverse("reports:clone", args=["small", "K1"]))).replace(
        "&#x27;", "'"
    )
    held = list(upload.held_rows.values_list("pk", flat=True))
    set_aside(upload_id=upload.pk, held_ids=held[:1], by=material.people["manager"])
    assert "1 row of this study's files is held" in study_page(manager).replace("&#x27;", "'")
    set_aside(upload_id=upload.pk, held_ids=held[1:], by=material.people["manager"])
    assert "held" not in study_page(manager)


def test_a_newer_price_list_is_the_one_that_counts(material: Place, manager: Client) -> None:
    def value() -> float:
        row = table_of(manager, reverse("reports:study", args=["small", "first"]), "value_")["K1"]
        return float(row["Best use (EUR/m³)"])

    before = value()
    twice = (
        PRICES.replace("300,,200", "600,,200").replace("400,200", "800,200").replace("200,,,EUR", "400,,,EUR")
    )
    material.bring("prices", twice, name="new.csv")
    assert value() == pytest.approx(2 * before)

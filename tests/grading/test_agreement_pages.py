"""Blind samples and agreement on pages; drawing; drift."""

import datetime as dt
from collections import Counter
from typing import Any

import numpy as np
import pandas as pd
import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from grading.agreement.actions import SampleRefused, close_sample, make_sample
from grading.bench.actions import keep_blind_grade, start_session
from grading.calc.drift import drift
from grading.calc.picture_agreement import agreement_picture
from grading.calc.sample_drawing import draw_boards
from grading.models import BoardGrade, GradingSample, GradingSession, RuleSet
from sawing.models import Board
from tests.conftest import Place

URL = "/grading/small/first/agreement/"
START = pd.Timestamp("2026-04-01 08:00", tz="UTC")


@pytest.fixture
def dry(material: Place) -> Place:
    Board.objects.filter(state="sawn").update(state="dry")
    return material


def drawn(p: Place, count: int = 4, title: str = "Spring") -> GradingSample:
    look = RuleSet.objects.get(code="look")
    return make_sample(study=p.study, rule_set=look, title=title, count=count, seed=5, by=p.people["manager"])


def graded_by(p: Place, sample: GradingSample, who: str, grades: dict[str, str]) -> None:
    session = start_session(study=p.study, rule_sets=[], by=p.people[who], sample=sample)
    for code, grade in grades.items():
        board = Board.objects.select_related("study").get(code=code)
        keep_blind_grade(session=session, board=board, grade=grade, by=p.people[who])


def test_a_sample_is_spread_over_the_grades_on_record(dry: Place) -> None:
    sample = drawn(dry)
    codes = list(sample.boards.values_list("board__code", flat=True))
    known = dict(BoardGrade.objects.values_list("board__code", "grade__code"))
    assert Counter(known.get(code) for code in codes) == {"Fine": 1, "Plain": 1, "Out": 1, None: 1}
    again = drawn(dry, title="Again")
    assert list(again.boards.values_list("board__code", flat=True)) == codes


@pytest.mark.parametrize(("count", "title"), [(99, "Large"), (0, "None"), (3, "Spring")])
def test_a_sample_that_cannot_be_is_refused(dry: Place, count: int, title: str) -> None:
    drawn(dry)
    with pytest.raises(SampleRefused, match=r"can be drawn|already"):
        drawn(dry, count, title)
    assert GradingSample.objects.count() == 1


def test_nobody_sees_grades_before_the_sample_is_closed(dry: Place, client: Client) -> None:
    sample = drawn(dry)
    codes = [b.board.code for b in sample.boards.select_related("board")]
    graded_by(dry, sample, "grader", dict(zip(codes, ["Fine", "Fine", "Plain", "Out"], strict=True)))
    graded_by(dry, sample, "manager", dict(zip(codes, ["Fine", "Plain", "Plain", "Out"], strict=True)))
    client.force_login(dry.people["grader"])
    page = client.get(f"{URL}{sample.pk}/").content.decode()
    assert "4 of 4 graded" in page
    assert "Kappa" not in page
    with pytest.raises(PermissionDenied):
        close_sample(sample=sample, by=dry.people["grader"])
    close_sample(sample=sample, by=dry.people["manager"])
    assert not GradingSession.objects.filter(sample=sample, closed_at=None).exists()
    page = client.get(f"{URL}{sample.pk}/").content.decode()
    assert "The grader and The manager" in page
    assert "75" in page  # three of four the same
    # By hand: p = 3/4, p_e = (2·1 + 1·2 + 1·1)/16 = 5/16, kappa = (3/4 - 5/16)/(11/16) = 7/11.
    assert "0.636" in page
    assert client.get(f"/grading/small/first/bench/sample/{sample.pk}/").status_code == 404


def test_the_page_draws_and_says_what_is_wrong(dry: Place, client: Client) -> None:
    client.force_login(dry.people["grader"])
    look = RuleSet.objects.get(code="look").pk
    assert "No sample yet" in client.get(URL).content.decode()
    sent = client.post(URL, {"title": "Spring", "rule_set": look, "count": 4, "seed": 7})
    assert sent.status_code == 302
    assert GradingSample.objects.get().seed == 7
    again = client.post(URL, {"title": "Spring", "rule_set": look, "count": 4})
    assert "already" in again.content.decode()
    many = client.post(URL, {"title": "Many", "rule_set": look, "count": 400})
    assert "can be drawn" in many.content.decode()
    assert client.post(URL, {"title": "", "count": "x"}).status_code == 422


def test_drift_of_a_sitting_stands_on_its_page(dry: Place, client: Client) -> None:
    look = RuleSet.objects.get(code="look")
    session = start_session(study=dry.study, rule_sets=[look], by=dry.people["grader"])
    fine, plain = (look.grades.get(code=c) for c in ("Fine", "Plain"))
    BoardGrade.objects.filter(board__code="B1").update(
        session=session, suggested=plain, override_reason="clean", graded_at=START
    )
    BoardGrade.objects.filter(board__code="B4").update(
        session=session, suggested=fine, graded_at=START + dt.timedelta(hours=2)
    )
    client.force_login(dry.people["mill"])
    assert "beside a suggestion" in client.get(URL).content.decode()
    page = client.get(f"{URL}sitting/{session.pk}/{look.pk}/").content.decode()
    assert "No trend can be given from 2 boards" in page
    assert "2 to 3" in page
    assert client.get(f"{URL}sitting/{session.pk}/99999/").status_code == 404


def test_a_drift_is_found_with_its_direction_and_scipys_figures() -> None:
    """Kendall's tau-b and Wilson's interval as scipy has them (general-purpose reference library)."""
    times = [START + dt.timedelta(minutes=6 * i) for i in range(40)]
    signs = [0] * 20 + [1] * 20
    found = drift(times, signs)
    expected = stats.kendalltau(range(40), signs)
    assert found.tau == pytest.approx(expected.statistic)
    assert found.p == pytest.approx(expected.pvalue)
    assert "towards better" in found.words()
    assert [s.boards for s in found.stretches] == [10, 10, 10, 10]
    low, high = found.stretches[0].interval
    assert (low, high) == (pytest.approx(0), pytest.approx(0.2775, abs=1e-4))  # Wilson 0 of 10: z²/(n + z²)
    assert "No drift" in drift(times, [(-1) ** i for i in range(40)]).words()
    assert "No trend" in drift(times, [0] * 40).words()
    assert drift([], []).boards == 0


@pytest.mark.parametrize("bad", [([START], [2], 1.0), ([START], [], 1.0), ([START], [0], 0.0)])
def test_drift_of_nonsense_is_refused(bad: Any) -> None:
    with pytest.raises(ValueError, match="as many times as signs"):
        drift(*bad)


@given(
    st.dictionaries(st.text("ab1", min_size=1, max_size=4), st.sampled_from(["A", "B", None]), min_size=1),
    st.integers(0, 9),
    st.data(),
)
def test_drawing_is_even_and_repeatable(grades: dict[str, str | None], seed: int, data: Any) -> None:
    count = data.draw(st.integers(1, len(grades)))
    first = draw_boards(grades, count, seed, ["A", "B"])
    assert first == draw_boards(dict(reversed(grades.items())), count, seed, ["A", "B"])
    assert len(set(first)) == count
    have, drawn_ = Counter(grades.values()), Counter(grades[b] for b in first)
    for one in have:
        for other in have:
            # No grade is short of another by two while it has boards left.
            assert drawn_[one] >= drawn_[other] - 1 or drawn_[one] == have[one]


def test_the_picture_names_every_pair() -> None:
    text = agreement_picture(["A", "B"], np.array([[3.0, 1.0], [0.0, 0.0]]), "X", "Y", name="a", title="t")
    assert "A and B: 1" in text
    assert "agree-same" in text

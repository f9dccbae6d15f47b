"""The grader's day at the bench by keyboard only, and a manager who sees what a stricter version moves."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from grading.models import BoardFeature, BoardGrade, Regrade, RuleSet
from portal.jobs.running import run
from sawing.models import Board

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

STUDY = "/grading/four-fells/four-fells-thirty"


def type_line(page: Page, text: str) -> None:
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def test_twenty_boards_by_keyboard_only_one_of_them_overridden(sign_in: Callable[..., Page]) -> None:
    codes = list(Board.objects.order_by("code").values_list("code", flat=True)[:20])
    page = sign_in("ilsa")
    page.goto(f"{STUDY}/bench/")
    begin = page.get_by_role("button", name="Begin")
    while not begin.evaluate("b => b === document.activeElement"):
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    line = page.get_by_label(re.compile("Board: scan or type its code|Feature, grade"))
    expect(line).to_be_focused()
    said = page.get_by_role("status")
    for at, code in enumerate(codes):
        type_line(page, code)
        expect(page.get_by_role("heading", name=code)).to_be_visible()
        if at == 0:
            type_line(page, "ek 24 99999 f1 40")
            expect(said).to_contain_text("99999 is too much")
            type_line(page, "ek 24 700 f1 40")
            expect(page.get_by_role("listitem").filter(has_text="ek 24 700 f1 40")).to_be_visible()
        if at == 1:
            type_line(page, "g1 Box")
            expect(said).to_contain_text("Say why Box")
            page.keyboard.press("Control+A")
            type_line(page, "g1 Box stain all over the back")
            expect(page.get_by_text("stain all over the back")).to_be_visible()
        page.keyboard.press("Enter")
        expect(said).to_contain_text(f"{code}:")
        expect(said).to_contain_text("kept.")
        expect(line).to_be_focused()
    expect(page.get_by_text("20 boards graded")).to_be_visible()
    mine = BoardGrade.objects.filter(session__grader__username="ilsa", session__closed_at=None)
    assert mine.values("board").distinct().count() == 20
    assert mine.count() == 40
    changed = mine.exclude(override_reason="")
    assert [(g.board.code, g.grade.code, g.override_reason) for g in changed] == [
        (codes[1], "Box", "stain all over the back")
    ]
    assert changed[0].suggested.code != "Box"
    assert BoardFeature.objects.filter(board__code=codes[0], kind="encased_knot", x_mm=700).exists()
    assert "Clone" not in page.get_by_label("Board on the bench").inner_text().split("Where it comes from")[0]


def test_a_stricter_version_is_made_and_shows_what_it_moves(sign_in: Callable[..., Page]) -> None:
    page = sign_in("edwin")
    page.goto("/boards/rule-sets/document/?of=trial_appearance")
    document = page.locator("textarea").first
    text = document.input_value()
    stricter = text.replace("A = 10", "A = 5").replace("B = 25", "B = 12")
    assert stricter != text
    document.fill(stricter)
    page.get_by_role("button", name="Store it").click()
    expect(page.get_by_text("version 2").first).to_be_visible()

    page.goto(f"{STUDY}/regrades/")
    first, second = RuleSet.objects.filter(code="trial_appearance").order_by("version")
    page.get_by_label("Grade by").select_option(str(second.pk))
    page.get_by_label("Compare with grades by").select_option(str(first.pk))
    page.get_by_role("button", name="Grade").click()
    expect(page.get_by_text(re.compile("waiting|Waiting|Grading")).first).to_be_visible()
    made = Regrade.objects.get(rule_set=second)
    assert made.job is not None
    run(made.job.pk)
    page.reload()
    expect(page.get_by_role("heading", name="Boards that moved", exact=True)).to_be_visible()
    made.refresh_from_db()
    assert made.result is not None
    assert made.result["moves"]["down"] > 0
    assert made.result["moves"]["same"] > 0
    page.get_by_role("button", name="Keep these grades").click()
    expect(page.get_by_text(re.compile(r"\d+ grades kept under"))).to_be_visible()
    assert BoardGrade.objects.filter(rule_set=second, by="rules").count() > 400
    assert BoardGrade.objects.filter(rule_set=first).count() == 497

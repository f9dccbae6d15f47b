"""Grading a study anew: what moved, kept or not; once only; a person's grade stays."""

import dataclasses
from typing import Any

import pandas as pd
import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from grading.calc.regrade_tables import cross_table, moves
from grading.calc.rule_set_documents import read_rule_set
from grading.models import BoardFeature, BoardGrade, Grade, Regrade, RuleSet
from grading.rules.actions import add_rule_set
from grading.rules.regrade_actions import NotReady, keep_regrade, start_regrade
from grading.rules.regrade_job import run_regrade
from portal.jobs.registry import JobRefused
from portal.jobs.running import run
from sawing.models import Board
from tests.conftest import Place
from tests.test_demo_files import ROOT

URL = "/grading/small/first/regrades/"
DOCUMENT = read_rule_set(ROOT / "fixtures" / "rule_sets" / "trial_appearance.toml")
LOOKED_FOR = ("knots", "check", "split", "end_split", "resin_pocket", "bark_pocket", "wane", "pith", "rot")
CODES = ["Clear", "A", "B", "Box", "Reject"]


def version(p: Place, **limits: dict[str, Any]) -> RuleSet:
    """The trial's appearance grades, with other limits for a clause."""
    content = {**DOCUMENT.content}
    content["limits"] = [
        {**limit, "limit": limits.get(limit["kinds"][0], limit["limit"])} for limit in content["limits"]
    ]
    return add_rule_set(
        code=DOCUMENT.code,
        title=DOCUMENT.title,
        grades=list(DOCUMENT.grades),
        by=p.people["steward"],
        rules=content,
    )


def mapped(p: Place, code: str, *knots: tuple[str, float]) -> None:
    """A board that was looked over, with knots of some size every 400 mm, closer across than any strip is wide."""
    board = Board.objects.get(code=code)
    kinds = {kind for kind, _ in knots}
    for look in LOOKED_FOR:
        if look != "knots" or not kinds:
            BoardFeature.objects.create(board=board, kind=look, face="piece", size_mm=0)
    for kind, size in knots:
        for at in range(200, int(board.length_m * 1000), 400):
            BoardFeature.objects.bulk_create(
                BoardFeature(board=board, kind=kind, face=face, x_mm=at, y_mm=y, width_mm=size)
                for face in ("face1", "face2")
                for y in range(30, int(board.width_mm), 50)
            )


def graded_anew(p: Place, rule_set: RuleSet, against: RuleSet | None = None, **options: Any) -> Regrade:
    made = start_regrade(
        study=p.study,
        rule_set=rule_set,
        against=against,
        options={"by": "grade", **options},
        link=lambda r: "/",
        by=p.people["grader"],
    )
    assert made.job is not None
    run(made.job.pk)
    made.job.refresh_from_db()
    assert made.job.state == "done", made.job.message
    made.refresh_from_db()
    return made


@pytest.fixture
def first(material: Place) -> RuleSet:
    """B1 has knots of 20 mm, B2 of 40 mm, B3 none; B4 has no map. Graded by version 1, and kept."""
    rules = version(material)
    mapped(material, "B1", ("sound_knot", 20))
    mapped(material, "B2", ("sound_knot", 40))
    mapped(material, "B3")
    keep_regrade(regrade=graded_anew(material, rules), by=material.people["manager"])
    return rules


def grades(rules: RuleSet) -> dict[str, str]:
    return dict(BoardGrade.objects.filter(rule_set=rules).values_list("board__code", "grade__code"))


def test_the_first_version_gives_grades_to_boards_with_a_map_only(material: Place, first: RuleSet) -> None:
    """20 mm is within A's 25 mm, 40 mm within B's 50 mm: the limits of the document."""
    assert grades(first) == {"B1": "A", "B2": "B", "B3": "Clear"}
    assert set(BoardGrade.objects.filter(rule_set=first).values_list("by", flat=True)) == {"rules"}


def test_a_stricter_version_moves_boards_and_old_grades_stay(material: Place, first: RuleSet) -> None:
    second = version(material, sound_knot={"Clear": 0, "A": 15, "B": 35, "Box": "any"})
    made = graded_anew(material, second, first)
    assert made.result is not None
    assert made.result["moves"] == {
        "same": 1, "up": 0, "down": 2, "other": 0, "gone": 0, "new": 0, "open": 4,
    }  # fmt: skip
    assert grades(second) == {}
    assert [d["kind"] for d in made.result["deciding"]] == ["sound_knot"]
    counts = keep_regrade(regrade=made, by=material.people["manager"])
    assert counts == {"kept": 3, "by_a_person": 0, "not_said": 4}
    assert grades(second) == {"B1": "B", "B2": "Box", "B3": "Clear"}
    assert grades(first) == {"B1": "A", "B2": "B", "B3": "Clear"}
    with pytest.raises(NotReady, match="kept already"):
        keep_regrade(regrade=made, by=material.people["manager"])


def test_what_a_person_gave_under_this_version_stays(material: Place, first: RuleSet) -> None:
    BoardGrade.objects.filter(board__code="B1", rule_set=first).update(
        by="person", grade=Grade.objects.get(rule_set=first, code="Box")
    )
    made = graded_anew(material, first, first)
    assert keep_regrade(regrade=made, by=material.people["manager"])["by_a_person"] == 1
    assert grades(first)["B1"] == "Box"


def test_begun_twice_the_job_does_the_same_again(material: Place, first: RuleSet) -> None:
    made = graded_anew(material, first, first)
    run_regrade({"regrade": made.pk}, lambda *a, **k: None)
    again = Regrade.objects.get(pk=made.pk)
    assert (again.result, again.input_hash) == (made.result, made.input_hash)
    assert again.boards.count() == 7
    BoardFeature.objects.filter(board__code="B1").update(note="only a note")
    run_regrade({"regrade": made.pk}, lambda *a, **k: None)
    assert Regrade.objects.get(pk=made.pk).input_hash == made.input_hash
    BoardFeature.objects.filter(board__code="B1", kind="sound_knot").update(width_mm=21)
    run_regrade({"regrade": made.pk}, lambda *a, **k: None)
    assert Regrade.objects.get(pk=made.pk).input_hash != made.input_hash


def test_many_boards_tell_what_decides_only_where_they_moved(
    material: Place, first: RuleSet, monkeypatch: pytest.MonkeyPatch
) -> None:
    second = version(material, sound_knot={"Clear": 0, "A": 15, "B": 35, "Box": "any"})
    whole = graded_anew(material, second, first)
    monkeypatch.setattr("grading.rules.regrade_job.EXPLAINED", 0)
    some = graded_anew(material, second, first)
    assert some.result == whole.result
    told = some.boards.exclude(deciding_kind=None).values_list("board__code", flat=True)
    assert sorted(told) == ["B1", "B2"]


def test_names_of_grades_alone_cannot_grade_a_study(material: Place) -> None:
    look = RuleSet.objects.get(code="look")
    made = Regrade.objects.create(study=material.study, rule_set=look, by=material.people["grader"])
    with pytest.raises(JobRefused, match="no rules to grade by"):
        run_regrade({"regrade": made.pk}, lambda *a, **k: None)
    with pytest.raises(NotReady, match="not done"):
        keep_regrade(regrade=made, by=material.people["manager"])


@pytest.mark.parametrize("who", ["mill", "field_crew", "stranger"])
def test_only_graders_ask_and_only_managers_keep(material: Place, who: str, first: RuleSet) -> None:
    with pytest.raises(PermissionDenied):
        start_regrade(
            study=material.study, rule_set=first, against=None, options={}, link=str, by=material.people[who]
        )
    with pytest.raises(PermissionDenied):
        keep_regrade(regrade=Regrade.objects.all()[0], by=material.people["grader"])


def test_the_pages_ask_show_and_keep(material: Place, client: Client, first: RuleSet) -> None:
    second = version(material, sound_knot={"Clear": 0, "A": 15, "B": 35, "Box": "any"})
    client.force_login(material.people["manager"])
    assert (
        client.post(URL, {"rule_set": RuleSet.objects.get(code="look").pk, "by": "grade"}).status_code == 422
    )
    refused = client.post(URL, {"rule_set": second.pk, "by": "value"})
    assert "brings no prices of its own" in refused.content.decode()
    sent = client.post(URL, {"rule_set": second.pk, "against": first.pk, "by": "grade"})
    url = sent["Location"]
    made = Regrade.objects.get(rule_set=second)
    assert "Grading First study" in client.get(url).content.decode()
    assert made.job is not None
    run(made.job.pk)
    page = client.get(url).content.decode()
    assert "Boards that moved" in page
    assert "sound knot" in page
    cell = client.get(url, {"all": 1, "f_before__code": "A", "f_after__code": "B"}).content.decode()
    assert "B1" in cell
    assert ">B3<" not in cell
    assert b"B2" in client.get(url, {"download": "csv"}).content
    kept = client.post(f"{url}keep/", follow=True).content.decode()
    assert "3 grades kept" in kept
    assert "kept already" in client.post(f"{url}keep/", follow=True).content.decode()
    assert "kept" in client.get(URL).content.decode()


GRADE = st.sampled_from([*CODES, "Old", None])


@given(st.lists(st.tuples(GRADE, GRADE), max_size=40))
def test_every_board_is_counted_once(pairs: list[tuple[str | None, str | None]]) -> None:
    now = [after if after != "Old" else None for _, after in pairs]
    table = pd.DataFrame(
        {
            "before": pd.Series([before for before, _ in pairs], dtype=object),
            "after": pd.Series(now, dtype=object),
            "volume_before_m3": 1.0,
            "volume_after_m3": 2.0,
        }
    )
    found = moves(table["before"], table["after"], CODES)
    assert found.boards == len(pairs)
    assert sum(dataclasses.astuple(found)) == len(pairs)
    cross = cross_table(table, [*CODES, "Old", None], [*CODES, None])
    assert sum(row["boards"] for row in cross) == len(pairs)
    assert sum(cell["boards"] for row in cross for cell in row["cells"]) == len(pairs)
    assert sum(cell["volume_m3"] for row in cross for cell in row["cells"]) == 2 * len(pairs)

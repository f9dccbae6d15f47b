"""The bench: sittings, suggestions, features and grades kept together, blind samples."""

import json
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client

from grading.bench import actions
from grading.bench.actions import GradeAsked, NotKept
from grading.bench.queries import grades_mark, next_of_sample
from grading.bench.suggesting import map_of, nothing_else, read_lines, suggestions
from grading.calc.best_piece import GradingOptions, grade_boards
from grading.calc.rule_set_documents import read_rule_set
from grading.gradable import feature_frame, gradable_boards, rules_of
from grading.models import BoardFeature, BoardGrade, GradingSample, RuleSet, SampleBoard, SampleGrade
from grading.rules.actions import add_rule_set
from sawing.actions import create_study
from sawing.models import Board
from tests.conftest import Place
from tests.test_demo_files import ROOT

URL = "/grading/small/first/bench/"


@pytest.fixture
def rules(material: Place) -> RuleSet:
    document = read_rule_set(ROOT / "fixtures" / "rule_sets" / "trial_appearance.toml")
    return add_rule_set(
        code=document.code,
        title=document.title,
        grades=list(document.grades),
        by=material.people["steward"],
        rules=document.content,
    )


def board(code: str) -> Board:
    return Board.objects.select_related("study", "log").get(code=code)


def begun(p: Place, *rule_sets: RuleSet, who: str = "grader", sample: Any = None) -> Any:
    return actions.start_session(study=p.study, rule_sets=list(rule_sets), by=p.people[who], sample=sample)


def rows(*lines: str, code: str = "B7") -> list[dict[str, Any]]:
    typed = read_lines(list(lines), board(code))
    assert not [t.wrong for t in typed if t.wrong]
    return [t.row for t in typed if t.row is not None]


def all_found_nothing(rules: RuleSet, code: str = "B7") -> list[str]:
    return nothing_else([rules], map_of(board(code), []))


def test_suggestions_are_what_the_rules_say_of_the_stored_map(material: Place, rules: RuleSet) -> None:
    """The same as grading by the engine itself, whose exactness is tested against brute force."""
    typed = rows("ek 30 1000 f1 60", *all_found_nothing(rules)[1:])
    (said,) = suggestions(board("B7"), [rules], map_of(board("B7"), typed))
    actions.add_features(board=board("B7"), rows=typed, by=material.people["grader"])
    mine = Board.objects.filter(code="B7")
    found = rules_of(rules)
    assert found is not None
    (answer,) = grade_boards(
        gradable_boards(mine), feature_frame(mine), found, options=GradingOptions(mode="grade")
    )
    assert said.answer is not None
    assert said.answer.pieces == answer.pieces
    assert said.grade == answer.grade == "Clear"
    assert answer.deciding_feature is not None
    assert answer.deciding_feature.kind == "encased_knot"


def test_what_nobody_looked_for_is_never_a_pass(material: Place, rules: RuleSet) -> None:
    (said,) = suggestions(board("B7"), [rules], map_of(board("B7"), []))
    assert said.answer is not None
    assert (said.grade, said.answer.provisional_grade) == (None, "Clear")
    assert "sound_knot" in said.answer.not_assessed
    typed = rows(*all_found_nothing(rules))
    (said,) = suggestions(board("B7"), [rules], map_of(board("B7"), typed))
    assert said.grade == "Clear"


def test_a_board_is_kept_with_features_and_grades_together(material: Place, rules: RuleSet) -> None:
    session = begun(material, rules)
    grader = material.people["grader"]
    typed = rows("ek 30 1000 f1 60", *all_found_nothing(rules)[1:])
    (kept,) = actions.keep_grading(
        session=session, board=board("B7"), rows=typed, grades=[GradeAsked(rules.pk, "Clear")], by=grader
    )
    assert (kept.grade.code, kept.suggested.code, kept.override_reason) == ("Clear", "Clear", "")
    assert kept.graded_length_m < 4
    assert (kept.deciding_kind, kept.grader, kept.session) == ("encased_knot", "The grader", session)
    assert board("B7").state == "graded"
    again = actions.keep_grading(
        session=session, board=board("B7"), rows=typed, grades=[GradeAsked(rules.pk, "Clear")], by=grader
    )
    assert BoardFeature.objects.count() == len(typed)
    assert again[0].graded_at == kept.graded_at
    assert BoardGrade.pgh_event_model.objects.filter(pgh_obj_id=kept.pk).count() == 1


def test_another_grade_needs_a_reason_and_nothing_is_kept_without(material: Place, rules: RuleSet) -> None:
    session, grader = begun(material, rules), material.people["grader"]
    typed = rows(*all_found_nothing(rules))
    asked = {"session": session, "board": board("B7"), "rows": typed, "by": grader}
    with pytest.raises(NotKept, match="say why Box and not Clear"):
        actions.keep_grading(grades=[GradeAsked(rules.pk, "Box")], **asked)
    assert not BoardFeature.objects.exists()
    (kept,) = actions.keep_grading(grades=[GradeAsked(rules.pk, "Box", "stain on the back")], **asked)
    assert (kept.grade.code, kept.suggested.code) == ("Box", "Clear")
    assert kept.override_reason == "stain on the back"


@pytest.mark.parametrize(
    ("grade", "expected"),
    [
        (GradeAsked(0, "Clear"), "does not grade by"),
        (GradeAsked(-1, "Nice"), "has no grade 'Nice'"),
        (GradeAsked(-1, "Fine", length_m=9), "9 from a board that is 4 m long"),
        (GradeAsked(-1, "Fine", width_mm=-3), "-3 from a board"),
    ],
)
def test_what_cannot_be_is_refused_in_words(material: Place, grade: GradeAsked, expected: str) -> None:
    look = RuleSet.objects.get(code="look")
    session = begun(material, look)
    if grade.rule_set == -1:
        grade = GradeAsked(look.pk, grade.grade, grade.reason, grade.length_m, grade.width_mm)
    with pytest.raises(NotKept, match=expected):
        actions.keep_grading(
            session=session, board=board("B7"), rows=[], grades=[grade], by=material.people["grader"]
        )


def test_only_ones_own_open_sitting_and_boards_of_its_study(material: Place) -> None:
    look = RuleSet.objects.get(code="look")
    session = begun(material, look)
    asked = {"session": session, "rows": [], "grades": [GradeAsked(look.pk, "Fine")]}
    with pytest.raises(PermissionDenied):
        actions.keep_grading(board=board("B7"), by=material.people["manager"], **asked)
    with pytest.raises(PermissionDenied):
        begun(material, look, who="mill")
    other = create_study(trial=material.trial, code="two", name="Two", by=material.people["manager"])
    elsewhere = actions.start_session(study=other, rule_sets=[look], by=material.people["grader"])
    with pytest.raises(NotKept, match="another study"):
        actions.keep_grading(
            board=board("B7"), by=material.people["grader"], **{**asked, "session": elsewhere}
        )
    actions.close_session(session=session, by=material.people["grader"])
    with pytest.raises(NotKept, match="closed"):
        actions.keep_grading(board=board("B7"), by=material.people["grader"], **asked)


def test_a_feature_takes_back_that_none_was_found(material: Place) -> None:
    grader = material.people["grader"]
    actions.add_features(board=board("B7"), rows=rows("no knots", "no wane"), by=grader)
    actions.add_features(board=board("B7"), rows=rows("sk 12 500"), by=grader)
    counted = BoardFeature.objects.filter(set_aside=False).values_list("kind", flat=True)
    assert sorted(counted) == ["sound_knot", "wane"]
    with pytest.raises(NotKept, match="stands at this place already"):
        actions.add_features(board=board("B7"), rows=rows("sk 14 500"), by=grader)
    knot = BoardFeature.objects.get(kind="sound_knot")
    actions.set_feature_aside(board=board("B7"), pk=knot.pk, by=grader)
    actions.add_features(board=board("B7"), rows=rows("sk 14 500"), by=grader)
    with pytest.raises(NotKept, match="by now"):
        actions.set_feature_aside(board=board("B7"), pk=knot.pk, by=grader, back=True)


def test_a_grade_that_somebody_gave_meanwhile_is_not_replaced_unasked(material: Place) -> None:
    look = RuleSet.objects.get(code="look")
    mine, theirs = begun(material, look), begun(material, look, who="manager")
    seen = grades_mark(board("B7"))
    asked = {"board": board("B7"), "rows": [], "seen": seen}
    people = material.people
    actions.keep_grading(session=theirs, grades=[GradeAsked(look.pk, "Fine")], by=people["manager"], **asked)
    with pytest.raises(NotKept, match="by somebody else meanwhile"):
        actions.keep_grading(session=mine, grades=[GradeAsked(look.pk, "Out")], by=people["grader"], **asked)
    again = actions.keep_grading(
        session=theirs, grades=[GradeAsked(look.pk, "Fine")], by=people["manager"], **asked
    )
    assert again[0].grade.code == "Fine"
    asked["seen"] = grades_mark(board("B7"))
    actions.keep_grading(session=mine, grades=[GradeAsked(look.pk, "Out")], by=people["grader"], **asked)
    assert BoardGrade.objects.get(board__code="B7").grade.code == "Out"


def test_a_second_blind_sitting_goes_on_where_the_first_ended(material: Place) -> None:
    sample, grader = a_sample(material), material.people["grader"]
    first = begun(material, sample=sample)
    actions.keep_blind_grade(session=first, board=board("B1"), grade="Plain", by=grader)
    actions.close_session(session=first, by=grader)
    following = next_of_sample(begun(material, sample=sample))
    assert following is not None
    assert following.board.code == "B2"


def a_sample(p: Place) -> GradingSample:
    look = RuleSet.objects.get(code="look")
    sample = GradingSample.objects.create(
        study=p.study, rule_set=look, title="Spring", seed=1, by=p.people["manager"]
    )
    for code in ("B1", "B2"):
        SampleBoard.objects.create(sample=sample, study=p.study, board=board(code))
    return sample


def test_a_blind_sitting_gives_grades_of_the_sample_only(material: Place) -> None:
    session = begun(material, sample=a_sample(material))
    grader = material.people["grader"]
    actions.keep_blind_grade(session=session, board=board("B1"), grade="Plain", by=grader)
    actions.keep_blind_grade(session=session, board=board("B1"), grade="Fine", by=grader)
    assert SampleGrade.objects.get().grade.code == "Fine"
    for code, grade, expected in (("B3", "Fine", "not in the sample"), ("B1", "Clear", "no grade Clear")):
        with pytest.raises(NotKept, match=expected):
            actions.keep_blind_grade(session=session, board=board(code), grade=grade, by=grader)


def post(client: Client, where: str, body: Any, sample: str = "") -> Any:
    data = body if isinstance(body, str) else json.dumps(body)
    return client.post(URL + where, data, content_type="application/json", headers={"X-Sample": sample})


def test_the_page_asks_and_keeps(material: Place, client: Client, rules: RuleSet) -> None:
    client.force_login(material.people["grader"])
    assert b"Begin a sitting" in client.get(URL).content
    client.post(f"{URL}start/", {"rule_set": rules.pk})
    assert b"Board: scan or type its code" in client.get(URL).content
    found = client.get(f"{URL}board/", {"code": "b7"}).json()
    assert found["board"] == "B7"
    assert found["sets"][0]["suggested"] is None
    assert "K2" not in json.dumps(found["facts"])
    said = post(client, "suggest/", {"board": "B7", "lines": found["nothing_else"]}).json()
    assert said["sets"][0]["suggested"] == "Clear"
    assert "<svg" in said["svg"]
    wrong = post(client, "suggest/", {"board": "B7", "lines": ["ek 20 9999"]}).json()
    assert "too much" in wrong["lines"][0]["wrong"]
    body = {
        "board": "B7",
        "lines": found["nothing_else"],
        "grades": [{"rule_set": rules.pk, "grade": "Clear"}],
    }
    kept = post(client, "keep/", body).json()
    assert (kept["boards"], kept["last"]) == (1, ["B7"])
    assert BoardGrade.objects.get(board__code="B7").by == "person"


@pytest.mark.parametrize(
    ("where", "body", "status"),
    [
        ("suggest/", "no json", 400),
        ("suggest/", [1], 400),
        ("suggest/", {"board": "B99"}, 404),
        ("suggest/", {"board": "B7", "lines": "ek"}, 422),
        ("suggest/", {"board": "B7", "lines": ["a"] * 201}, 422),
        ("keep/", {"board": "B7", "grades": "Fine"}, 422),
        ("keep/", {"board": "B7", "grades": [{"grade": "Fine"}]}, 422),
        ("keep/", {"board": "B7", "lines": ["zz"], "grades": []}, 422),
        ("keep/", {"board": "B7", "grades": []}, 422),
        ("keep/", {"board": None}, 404),
    ],
)
def test_nonsense_is_answered_in_words(
    material: Place, client: Client, where: str, body: Any, status: int
) -> None:
    client.force_login(material.people["grader"])
    client.post(f"{URL}start/", {"rule_set": RuleSet.objects.get(code="look").pk})
    response = post(client, where, body)
    assert response.status_code == status
    assert response.json()["wrong"]


def test_a_blind_sitting_on_the_page(material: Place, client: Client) -> None:
    sample = a_sample(material)
    client.force_login(material.people["grader"])
    assert b"Blind grading" in client.get(f"{URL}sample/{sample.pk}/").content
    client.post(f"{URL}start/", {"sample": sample.pk})
    assert b'data-next="B1"' in client.get(f"{URL}sample/{sample.pk}/").content
    found = client.get(f"{URL}board/", {"code": "B1", "sample": sample.pk}).json()
    assert found["seen"] is None
    assert (found["earlier"], found["origin"], found["sets"][0]["suggested"]) == ([], [], None)
    assert client.get(f"{URL}board/", {"code": "B3", "sample": sample.pk}).status_code == 422
    kept = post(client, "keep/", {"board": "B1", "grades": [{"grade": "Plain"}]}, str(sample.pk)).json()
    assert (kept["boards"], kept["total"], kept["next"]) == (1, 2, "B2")
    assert BoardGrade.objects.get(board__code="B1").grade.code == "Fine"


def test_the_feature_map_is_drawn_added_to_and_set_aside(
    material: Place, client: Client, rules: RuleSet
) -> None:
    url = "/grading/small/first/features/B7/"
    client.force_login(material.people["grader"])
    assert "Nothing on record" in client.get(url).content.decode()
    bad = client.post(url, {"lines": "ek 20 9999\nzz"})
    assert bad.status_code == 422
    assert "9999 is too much" in bad.content.decode()
    assert client.post(url, {"lines": "ek 20 900 f1 60\nno wane"}).status_code == 302
    page = client.get(url).content.decode()
    assert "encased knot" in page
    assert "Looked for and not found: wane" in page
    knot = BoardFeature.objects.get(kind="encased_knot")
    client.post(url, {"feature": knot.pk})
    knot.refresh_from_db()
    assert knot.set_aside
    assert client.post(url, {"feature": "99999"}).status_code == 404
    assert client.get(f"{url}?download=csv").status_code == 200

"""Rule set documents: written and read again, shown as a table, compared, judged, and through the form's fields."""

import json
import tomllib
from typing import Any

import pytest

from grading.calc.rule_reading import read_rules
from grading.calc.rule_set_checks import document_problems, read_text
from grading.calc.rule_set_documents import read_rule_sets
from grading.calc.rule_writing import rules_as_toml
from grading.calc.rules_shown import differences, kinds_in_words, limit_rows, piece_in_words
from grading.rules.edited import edited_document, edited_post
from tests.test_demo_files import ROOT

SHIPPED = {d.code: d.content for d in read_rule_sets(ROOT / "fixtures" / "rule_sets")}


def small(**changes: Any) -> dict[str, Any]:
    """Two grades and a reject, two limits; written by hand."""
    return {
        "code": "tiny",
        "title": "Tiny",
        "grades": [{"code": "A"}, {"code": "B"}, {"code": "Out", "reject": True}],
        "limits": [
            {"kinds": ["knots"], "metric": "size_mm", "origin": "own", "limit": {"A": 10, "B": "any"}},
            {"kinds": ["wane"], "metric": "presence", "origin": "own", "limit": {"A": "none", "B": "none"}},
        ],
        **changes,
    }


@pytest.mark.parametrize("code", sorted(SHIPPED))
def test_a_document_comes_back_from_its_toml_and_from_the_form(code: str) -> None:
    content = SHIPPED[code]
    assert tomllib.loads(rules_as_toml(content)) == content
    again = edited_document(content).document()
    assert document_problems(again) == []
    assert repr(read_rules(again).limits) == repr(read_rules(content).limits)  # NaN is not equal to itself
    assert read_rules(again).piece == read_rules(content).piece
    assert read_rules(again).grades == read_rules(content).grades


def test_odd_texts_survive_toml() -> None:
    odd = small(title='A "quote", \\ and é\n\x7f\t', grades=[{"code": 'A "1"', "reject": False}])
    odd["limits"] = [{"limit": {'A "1"': "1/3"}, "kinds": ["knots"]}]
    assert tomllib.loads(rules_as_toml(odd)) == odd
    with pytest.raises(TypeError, match="no place"):
        rules_as_toml({"code": None})


def test_everything_wrong_is_said_at_once_and_with_its_key() -> None:
    bad = small(
        code="new",
        colour="blue",
        grades=[{"code": "A"}, {"code": "A"}, {"code": "C" * 65, "title": 7}],
        limits=[
            {"kinds": ["gnomes"], "metric": ["size_mm"], "origin": "own", "limit": {"A": -1}},
            {"kinds": ["knots"], "metric": "size_mm", "origin": "hearsay", "limit": 3},
        ],
        piece={"margin_share": 2, "widths_mm": [[1], [1]]},
        prices=[{"grade": ["A"], "price_per_m3": 1}],
    )
    keys = {key for key, _ in document_problems(bad)}
    assert {
        "code", "colour", "grades 2, code", "grades 3, code", "grades 3, title", "limits 1, kinds",
        "limits 1, metric", "limits 1, limit, A", "limits 2, origin", "limits 2, limit", "piece, margin_share",
        "piece, widths_mm", "prices 1, grade",
    } <= keys  # fmt: skip
    assert [k for k, _ in document_problems(small(limits=[]))] == ["limits"]


@pytest.mark.parametrize("value", [float("nan"), float("inf"), {1, 2}, "a\x00b"])
def test_what_no_database_can_keep_is_refused(value: object) -> None:
    assert [key for key, _ in document_problems(small(caution=value))] == ["document"]


@pytest.mark.parametrize("text", ["{", "[1, 2]", "code = ", '{"a": NaN}', "[" * 100_000, '{"a":' * 100_000])
def test_what_is_no_document_is_said(text: str) -> None:
    with pytest.raises(ValueError):
        read_text(text, as_json=text[0] in "[{")


def test_limits_stand_in_one_row_for_one_thing() -> None:
    rules = read_rules(small())
    knots, wane = limit_rows(rules)
    assert (knots.what, knots.place, [c and c.text() for c in knots.cells]) == (
        "knots", "anywhere", ["at most 10 mm", "any"],
    )  # fmt: skip
    assert [c and c.text() for c in wane.cells] == ["none", "none"]
    assert kinds_in_words(("sound_knot", "bark_pocket")) == "sound knot, bark pocket"
    blank = read_rules(SHIPPED["en1611_1_g2"])
    assert {c.text() for row in limit_rows(blank) for c in row.cells if c} == {"not filled in"}


def test_pieces_are_told_in_words() -> None:
    rules = read_rules(small(piece={"may_rip": False, "may_split": True, "length_module_mm": 600}))
    said = " ".join(piece_in_words(rules.piece))
    for words in ("multiples of 600 mm", "never ripped", "several pieces"):
        assert words in said


def test_differences_name_what_is_changed_added_and_gone() -> None:
    old = read_rules(small())
    assert differences(old, old) == []
    changed = small(piece={"min_length_mm": 1200})
    changed["limits"][0] = {**changed["limits"][0], "limit": {"A": 12, "B": "any"}}
    changed["limits"][1] = {**changed["limits"][1], "kinds": ["pith"]}
    found = differences(old, read_rules(changed))
    told = [(d.change, d.what, d.before, d.after) for d in found]
    assert ("changed", "A: knots, anywhere, size", "at most 10 mm", "at most 12 mm") in told
    assert {(c, w) for c, w, _, _ in told} >= {
        ("gone", "A: wane, anywhere, being there"), ("added", "B: pith, anywhere, being there"),
        ("changed", "shortest piece of A"),
    }  # fmt: skip
    fewer = small(grades=[{"code": "A"}, {"code": "Out", "reject": True}])
    for limit in fewer["limits"]:
        limit["limit"] = {"A": limit["limit"]["A"]}
    assert ("gone", "grade B") in {(d.change, d.what) for d in differences(old, read_rules(fewer))}


def test_rows_are_added_moved_and_removed_with_their_values() -> None:
    edited = edited_document(small())
    assert edited.changed("up-grade-1") == "grade-0-code"
    assert [g["code"] for g in edited.grades] == ["B", "A", "Out"]
    assert edited.document()["limits"][0]["limit"] == {"B": "any", "A": 10}
    assert edited.changed("remove-grade-0") == "grade-0-code"
    assert edited.document()["limits"][0]["limit"] == {"A": 10}
    assert edited.changed("add-limit") == "limit-2-kinds"
    assert len(edited.document()["limits"]) == 2  # an empty row is no limit
    assert edited.changed("remove-limit-0") == "limit-0-kinds"
    for nonsense in ("remove-limit-99", "up-grade-99", "remove-limit-", "drop table"):
        assert edited.changed(nonsense) == ""
    assert edited.document()["limits"][0]["kinds"] == ["wane"]


def test_typed_numbers_and_fields_of_problems() -> None:
    post = {
        "code": "x", "title": "X", "grade-0-code": "A", "limit-0-kinds": "", "limit-0-metric": "size_mm",
        "limit-0-place": "any", "limit-0-origin": "own", "limit-1-kinds": "dead knot,gnome",
        "limit-1-metric": "count", "limit-1-origin": "own", "limit-1-value-0": "x", "limit-1-window_mm": "1,5",
        "piece-widths_mm": "75, 97,5 100", "piece-min_width_mm": "wide",
    }  # fmt: skip
    edited = edited_post(post)
    content = edited.document()
    assert content["limits"][0]["window_mm"] == 1.5
    assert content["limits"][0]["kinds"] == ["dead_knot", "gnome"]
    assert content["piece"]["widths_mm"] == [75, 97.5, 100]
    places = {edited.place_of(key) for key, _ in document_problems(content)}
    assert places >= {
        "limit-1-kinds",
        "limit-1-value-0",
        "piece-min_width_mm",
    }  # the empty first row is skipped


def test_prices_the_form_does_not_show_are_kept() -> None:
    priced = small(prices=[{"grade": "A", "price_per_m3": 300}])
    assert edited_document(priced).document(priced)["prices"] == priced["prices"]
    assert json.loads(json.dumps(edited_document(priced).document(priced)))

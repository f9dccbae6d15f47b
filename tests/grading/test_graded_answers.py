"""What grading says about a board: not assessed is never a pass, what decides, heartwood, what cannot be graded."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from grading.calc.best_piece import GradingOptions, NotGradable, grade_boards
from grading.calc.graded_boards import GradedBoard
from grading.calc.rule_limits import GradeRule, GradingRules, Limit, PieceSizes, Price
from grading.calc.rule_set_documents import read_rule_set
from tests.grading.random_boards import frame

ALL = GradingOptions(assessed=("all",))
LOOK = read_rule_set(Path(__file__).resolve().parents[2] / "fixtures/rule_sets/trial_appearance.toml").rules()
BOARD = {"board": "b", "length_m": 3.0, "width_mm": 150.0, "thickness_mm": 25.0}


def feature(kind: str, x: float | None = 1500.0, **more: Any) -> dict[str, Any]:
    return {"board": "b", "kind": kind, "face": "face1", "x_mm": x, "y_mm": 75.0} | more


def grade(
    *features: dict[str, Any],
    rules: GradingRules = LOOK,
    options: GradingOptions = ALL,
    prices: tuple[Price, ...] = (),
    **board: Any,
) -> GradedBoard:
    boards = pd.DataFrame([BOARD | board])
    (answer,) = grade_boards(boards, frame(list(features)), rules, prices, options)
    return answer


def simple(*limits: Limit, **sizes: Any) -> GradingRules:
    """Two grades, F and S, with sizes that leave only the whole board."""
    shortest = float(sizes.get("min_length_mm", 900))
    grades = (
        GradeRule("F", "", "", False, shortest),
        GradeRule("S", "", "", False, shortest),
        GradeRule("X", "", "", True, 1.0),
    )
    piece = PieceSizes(**{"may_rip": False, "cut_step_mm": 100, "length_module_mm": 100} | sizes)
    return GradingRules("two", "Two", 1, grades, limits, piece)


def knots(grade_code: str, most: float, **more: Any) -> Limit:
    return Limit(grade_code, ("sound_knot",), "face", "size_mm", most, "own", "", "knots", **more)


# not assessed


def test_a_board_without_any_row_has_no_grade_but_a_provisional_one() -> None:
    answer = grade(options=GradingOptions())
    assert (answer.grade, answer.pieces, answer.value) == (None, (), None)
    assert answer.provisional_grade == "Clear"
    assert {"sound_knot", "check", "wane", "pith", "decay"} <= set(answer.not_assessed)


def test_looking_for_everything_that_the_grade_limits_settles_it() -> None:
    looked = ("knots", "fissures", "wane", "pockets", "rot", "pith")
    answer = grade(options=GradingOptions(assessed=looked))
    assert (answer.grade, answer.not_assessed) == ("Clear", ())
    without_pith = grade(options=GradingOptions(assessed=looked[:-1]))
    assert without_pith.not_assessed == ("pith",)


def test_a_grade_that_does_not_ask_for_what_is_missing_is_sure() -> None:
    """B lets pith pass: unseen pith keeps a board from Clear and A, not from B."""
    answer = grade(options=GradingOptions(assessed=("knots", "fissures", "wane", "pockets", "rot")))
    assert (answer.grade, answer.provisional_grade, answer.not_assessed) == ("B", "Clear", ("pith",))


def test_a_row_of_size_0_says_that_nothing_was_found() -> None:
    rows = [feature(k, None, size_mm=0) for k in ("knots", "fissures", "wane", "pockets", "rot", "pith")]
    assert grade(*rows, options=GradingOptions()).grade == "Clear"


def test_a_knot_of_one_kind_says_that_knots_were_looked_for() -> None:
    others = tuple(k for k in ("fissures", "wane", "pockets", "rot", "pith"))
    answer = grade(feature("sound_knot", size_mm=10.0), options=GradingOptions(assessed=others))
    assert answer.not_assessed == ()
    assert answer.grade == "Clear"


def test_a_feature_without_the_measure_a_limit_needs_is_not_assessed() -> None:
    limit = Limit("F", ("sound_knot",), "any", "area_ratio", 0.3, "own", "", "")
    rules = simple(limit, replace(limit, grade="S", limit=0.5))
    assert grade(feature("sound_knot", size_mm=20), rules=rules).not_assessed == ("sound_knot",)
    assert grade(feature("sound_knot", size_mm=20, percent=20), rules=rules).grade == "F"


def test_a_reject_is_sure_without_looking_further() -> None:
    """What is there already refuses every grade; looking for more cannot change that."""
    answer = grade(feature("decay", None, y_mm=None), options=GradingOptions())
    assert (answer.grade, answer.not_assessed, answer.value) == ("Reject", (), 0.0)


# limits not filled in


def test_grades_without_limits_are_skipped_and_none_at_all_cannot_grade() -> None:
    rules = simple(knots("F", float("nan")), knots("S", 10.0))
    assert grade(rules=rules).grade == "S"
    assert grade(feature("sound_knot", None, size_mm=20), rules=rules).grade is None, "F is not known"
    with pytest.raises(NotGradable, match="limits not filled in"):
        grade(rules=simple(knots("F", float("nan")), knots("S", float("nan"))))


# what decides


def test_the_feature_whose_absence_raises_the_value_most_decides() -> None:
    """By hand, to a multiple of 100 mm from the butt: free stretches of 700, 1,400 and 700 mm; without the first knot
    2,200 mm, without the second 2,200 mm: of equal ones the nearest to the butt. A small knot is of no matter."""
    rules = simple(knots("F", 10.0), knots("S", 10.0), min_length_mm=500)
    rows = (feature("sound_knot", 2250.0, size_mm=20), feature("sound_knot", 750.0, size_mm=20))
    answer = grade(*rows, feature("sound_knot", 1500.0, size_mm=8), rules=rules)
    assert (answer.pieces[0].from_mm, answer.pieces[0].to_mm) == (800, 2200)
    assert answer.deciding_feature is not None
    assert (answer.deciding_feature.row, answer.deciding_feature.x_mm) == (1, 750.0)
    nearer = grade(*rows, feature("sound_knot", 2950.0, size_mm=30), rules=rules)
    assert nearer.deciding_feature is not None
    assert nearer.deciding_feature.row == 1


def test_where_no_single_feature_decides_it_is_the_one_furthest_beyond_a_limit() -> None:
    """Two knots in one place: neither alone would help. 30 mm is further beyond 10 mm than 20 mm."""
    rules = simple(knots("F", 10.0), knots("S", 100.0), min_length_mm=2500)
    rows = (feature("sound_knot", size_mm=20), feature("sound_knot", size_mm=30, y_mm=30.0))
    answer = grade(*rows, rules=rules)
    assert answer.grade == "S"
    assert answer.deciding_feature is not None
    assert answer.deciding_feature.row == 1
    assert answer.reasons == ("sound knot 30 mm at 1500 mm on face1: 30; at most 10 mm",)


def test_a_clean_board_has_no_deciding_feature() -> None:
    answer = grade(feature("sound_knot", size_mm=5), rules=simple(knots("F", 10.0), knots("S", 20.0)))
    assert (answer.grade, answer.deciding_feature, answer.reasons) == ("F", None, ())
    assert answer.whole_board_grade == "F"


def test_a_rejected_board_names_what_the_last_grade_has_against_it() -> None:
    rows = [feature("sound_knot", x, size_mm=40) for x in (500.0, 1000.0, 1500.0, 2000.0, 2500.0)]
    answer = grade(*rows, rules=simple(knots("F", 10.0), knots("S", 20.0)))
    assert (answer.grade, answer.whole_board_grade) == ("X", "X")
    assert answer.deciding_feature is not None
    assert "at most 20 mm" in answer.reasons[0]


def test_a_grade_that_wants_longer_pieces_is_the_reason() -> None:
    rules = simple(knots("F", 10.0), knots("S", 10.0))
    grades = (replace(rules.grades[0], min_length_mm=2000.0), *rules.grades[1:])
    answer = grade(rules=replace(rules, grades=grades), length_m=1.5)
    assert (answer.grade, answer.reasons) == ("S", ("shorter than 2000 mm for F",))


# heartwood


def test_heartwood_only_leaves_the_sapwood_at_the_edge() -> None:
    """Sapwood of 30 mm along edge 1 of a board of 150 mm: on a rip lattice of 25 mm the heart piece is 100 mm wide."""
    rules = replace(LOOK, piece=replace(LOOK.piece, keep_full_width=True))
    sapwood = feature("sapwood", None, y_mm=15.0, width_mm=30.0)
    assert grade(sapwood, rules=rules).pieces[0].graded_width_mm == 150
    heart = grade(sapwood, rules=rules, options=replace(ALL, heartwood_only=True)).pieces[0]
    assert (heart.from_edge_mm, heart.to_edge_mm, heart.graded_width_mm) == (50, 150, 100)
    assert heart.graded_length_m == 3.0


def test_the_heart_of_the_log_stands_for_a_look_at_the_sapwood() -> None:
    looked = GradingOptions(
        assessed=("knots", "fissures", "wane", "pockets", "rot", "pith"), heartwood_only=True
    )
    assert grade(options=looked).not_assessed == ("sapwood",)
    answer = grade(options=looked, heart_from_mm=20.0, heart_to_mm=150.0)
    assert (answer.grade, answer.not_assessed) == ("Clear", ())
    assert (answer.pieces[0].from_edge_mm, answer.pieces[0].to_edge_mm) == (25, 150)
    assert answer.deciding_feature is not None
    assert answer.deciding_feature.row == -1
    none = grade(options=looked, heart_from_mm=0.0, heart_to_mm=150.0)
    assert none.pieces[0].graded_width_mm == 150


# what stands where


def test_a_knot_cut_by_a_new_edge_counts_on_that_edge() -> None:
    """A knot of 20 mm in the middle of a board of 25 mm: ripped through, it takes four fifths of the new edge."""
    limit = Limit("F", ("sound_knot",), "any", "dimension_ratio", 0.5, "own", "", "")
    rules = simple(limit, replace(limit, grade="S"), may_rip=True, widths_mm=(75,), keep_full_width=False)
    kept = grade(feature("sound_knot", size_mm=20), rules=rules).pieces[0]
    assert kept.graded_length_m == 3.0, "another strip leaves it whole or aside"
    assert not kept.from_edge_mm < 75.0 < kept.to_edge_mm or kept.from_edge_mm <= 65 <= 85 <= kept.to_edge_mm
    only = replace(rules, piece=replace(rules.piece, rip_step_mm=75.0))
    assert grade(feature("sound_knot", size_mm=20), rules=only).pieces[0].graded_length_m < 1.5


def test_an_edge_feature_goes_with_its_edge_as_deep_as_it_reaches() -> None:
    wane = feature("wane", None, face="edge1", size_mm=20.0, y_mm=None)
    rules = replace(LOOK, piece=replace(LOOK.piece, keep_full_width=True))
    assert grade(wane, rules=rules).pieces[0].from_edge_mm == 25.0
    assert grade(wane | {"depth_mm": 30.0}, rules=rules).pieces[0].from_edge_mm == 50.0


def test_prices_choose_a_shorter_better_piece() -> None:
    """By hand: 3.0 m of S at 100 against 1.4 m of F at 300: 420 against 300."""
    rules = simple(knots("F", 10.0), knots("S", 30.0))
    prices = (Price("F", 300.0), Price("S", 100.0))
    knot = feature("sound_knot", 1550.0, size_mm=20)
    by_value = grade(knot, rules=rules, prices=prices)
    assert (by_value.grade, by_value.pieces[0].graded_length_m) == ("F", 1.5)
    assert by_value.value == pytest.approx(300 * 1.5 * 0.15 * 0.025)
    cheap = grade(knot, rules=rules, prices=(Price("F", 150.0), Price("S", 100.0)))
    assert (cheap.grade, cheap.pieces[0].graded_length_m) == ("S", 3.0)


def test_missing_prices_and_sizes_are_refused() -> None:
    rules = simple(knots("F", 10.0), knots("S", 30.0))
    with pytest.raises(ValueError, match="no price for S, 150 × 25 mm"):
        grade(rules=rules, prices=(Price("F", 1.0),))
    with pytest.raises(ValueError, match="needs prices"):
        grade(rules=rules, options=replace(ALL, mode="value"))
    with pytest.raises(ValueError, match="above 0"):
        grade(rules=rules, width_mm=0.0)
    with pytest.raises(ValueError, match="no kind of feature"):
        grade(feature("knotty", size_mm=3), rules=rules)


def test_pieces_one_behind_the_other_where_the_set_allows() -> None:
    """A bad knot in the middle: two pieces of 1.4 m, and the answer is worth both."""
    rules = simple(knots("F", 10.0), knots("S", 10.0), may_split=True, kerf_mm=4)
    prices = (Price("F", 100.0), Price("S", 50.0))
    answer = grade(feature("sound_knot", 1550.0, size_mm=20), rules=rules, prices=prices)
    assert [(p.from_mm, p.to_mm) for p in answer.pieces] == [(0, 1500), (1600, 3000)]
    assert answer.value == pytest.approx(100 * 2.9 * 0.15 * 0.025)


def test_many_boards_keep_their_own_features_and_progress_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Boards in chunks of 3: the deciding feature is named by its place in the whole frame, whatever their order."""
    monkeypatch.setattr("grading.calc.best_piece.CHUNK", 3)
    codes = [f"b{n}" for n in range(8)]
    boards = pd.DataFrame([BOARD | {"board": code} for code in codes])
    rows = [feature("dead_knot", 1500.0, size_mm=30) | {"board": code} for code in reversed(codes[::2])]
    rows.insert(1, feature("dead_knot", 1500.0, size_mm=30) | {"board": "elsewhere"})
    told: list[tuple[int, int]] = []
    graded = grade_boards(boards, frame(rows), LOOK, (), ALL, lambda done, of: told.append((done, of)))
    assert told == [(3, 8), (6, 8), (8, 8)]
    assert [a.board for a in graded] == codes
    places = [None if a.deciding_feature is None else a.deciding_feature.row for a in graded]
    assert places == [4, None, 3, None, 2, None, 0, None]

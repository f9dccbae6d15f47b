"""Recovery and value of a study: agreement with a slow and obvious version, and what must always hold."""

from __future__ import annotations

import json
import math
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.calc.figures import Figures
from reports.calc.recovery import RecoveryOptions, RecoveryResult, compute_recovery
from tests.reports.studies import StudyFrames, random_study, slow_recovery

FAST = RecoveryOptions(resamples=100)
seeds = st.integers(0, 10_000)


def computed(study: StudyFrames, **options: Any) -> RecoveryResult:
    return compute_recovery(*study.all(), RecoveryOptions(**{"resamples": 100, **options}))


def compare(figures: Figures, slow: dict[str, Any]) -> None:
    assert (figures.trees, figures.logs, figures.boards) == (len(slow["trees"]), slow["logs"], slow["boards"])
    assert figures.log_volume_m3 == pytest.approx(slow["log"], rel=1e-12)
    assert figures.green_volume_m3 == pytest.approx(slow["green"], rel=1e-12)
    assert figures.green_recovery == pytest.approx(slow["green"] / slow["log"], rel=1e-12)
    assert figures.best_use.value == pytest.approx(slow["best"], rel=1e-12)
    assert figures.best_use.value_per_m3_log == pytest.approx(slow["best"] / slow["log"], rel=1e-12)
    for rule_set, graded in figures.graded.items():
        sums = slow["by"].get(rule_set, {"value": 0.0, "grades": {}})
        total = sum(volume for _, volume in sums["grades"].values())
        assert graded.value == pytest.approx(sums["value"], rel=1e-12)
        assert graded.value_per_m3_log == pytest.approx(sums["value"] / slow["log"], rel=1e-12)
        assert graded.graded_volume_m3 == pytest.approx(total, rel=1e-12)
        assert graded.graded_recovery == pytest.approx(total / slow["log"], rel=1e-12)
        assert set(graded.by_grade) == set(sums["grades"])
        for grade, (boards, volume) in sums["grades"].items():
            assert graded.by_grade[grade].boards == boards
            assert graded.by_grade[grade].volume_m3 == pytest.approx(volume, rel=1e-12)
            assert graded.by_grade[grade].share == pytest.approx(volume / total, rel=1e-12)
    assert set(slow["by"]) <= set(figures.graded)


@given(seed=seeds)
@settings(max_examples=40, deadline=None)
def test_agrees_with_the_slow_version_at_every_level(seed: int) -> None:
    study = random_study(seed)
    result = computed(study)
    compare(result.total, slow_recovery(study, "total")["total"])
    for level in ("log", "tree", "clone"):
        figures, slow = getattr(result, f"by_{level}"), slow_recovery(study, level)
        assert list(figures) == sorted(slow)
        for code in slow:
            compare(figures[code], slow[code])


@given(seed=seeds)
@settings(max_examples=15, deadline=None)
def test_order_of_rows_changes_nothing_at_all(seed: int) -> None:
    study = random_study(seed)
    shuffled = StudyFrames(*(frame.sample(frac=1, random_state=seed) for frame in study.all()))
    first, second = computed(study).to_dict(), computed(shuffled).to_dict()
    first["warnings"], second["warnings"] = None, None  # these follow the files' order
    assert first == second


@given(seed=seeds, factor=st.sampled_from([0.5, 2.0, 3.7]))
@settings(max_examples=15, deadline=None)
def test_scaling(seed: int, factor: float) -> None:
    """Wood longer by a factor: volumes follow, recoveries stay. Prices by a factor: values follow."""
    study = random_study(seed)
    longer = StudyFrames(
        study.trees,
        study.logs.assign(length_m=study.logs["length_m"] * factor),
        study.boards.assign(length_m=study.boards["length_m"] * factor),
        study.grades.assign(graded_length_m=study.grades["graded_length_m"] * factor),
        study.prices.assign(price_per_m3=study.prices["price_per_m3"] * factor),
    )
    first, second = computed(study), computed(longer)
    assert second.total.log_volume_m3 == pytest.approx(first.total.log_volume_m3 * factor)
    for clone, figures in first.by_clone.items():
        other = second.by_clone[clone]
        assert other.green_recovery == pytest.approx(figures.green_recovery)
        assert other.best_use.value_per_m3_log == pytest.approx(
            (figures.best_use.value_per_m3_log or 0) * factor
        )
        for rule_set, graded in figures.graded.items():
            assert other.graded[rule_set].graded_recovery == pytest.approx(graded.graded_recovery)


@given(seed=seeds)
@settings(max_examples=15, deadline=None)
def test_one_more_board_never_lowers_green_recovery(seed: int) -> None:
    study = random_study(seed)
    log = study.logs["log"].iloc[0]
    extra = pd.DataFrame(
        {"board": ["extra"], "log": [log], "thickness_mm": [20.0], "width_mm": [60.0], "length_m": [1.0]}
    )
    more = StudyFrames(
        study.trees,
        study.logs,
        pd.concat([study.boards, extra], ignore_index=True),
        study.grades,
        study.prices,
    )
    before, after = computed(study), computed(more)
    for level in ("by_log", "by_tree", "by_clone"):
        for code, figures in getattr(before, level).items():
            assert getattr(after, level)[code].green_recovery >= figures.green_recovery
    assert (after.total.green_recovery or 0) > (before.total.green_recovery or 0)


@given(seed=seeds)
@settings(max_examples=15, deadline=None)
def test_levels_add_up_and_best_use_is_at_least_every_rule_set(seed: int) -> None:
    result = computed(random_study(seed))
    for level in (result.by_log, result.by_tree, result.by_clone):
        for name in ("logs", "boards", "log_volume_m3", "green_volume_m3"):
            summed = sum(getattr(figures, name) for figures in level.values())
            assert summed == pytest.approx(getattr(result.total, name))
        for figures in level.values():
            for graded in figures.graded.values():
                assert (figures.best_use.value or 0) >= (graded.value or 0) * (1 - 1e-12)
                shares = [grade.share or 0 for grade in graded.by_grade.values()]
                assert not shares or sum(shares) == pytest.approx(1.0)


def test_logs_without_boards_count_in_the_denominator() -> None:
    study = random_study(3)
    without = StudyFrames(study.trees, study.logs, study.boards.iloc[:0], study.grades.iloc[:0], study.prices)
    figures = computed(without).total
    assert figures.green_recovery == 0.0
    assert figures.logs == len(study.logs)
    assert figures.graded == {}
    assert figures.best_use.value is None


def test_trees_without_logs_are_not_in_the_study() -> None:
    study = random_study(3)
    result = computed(study)
    assert study.trees["tree"].iloc[-1] not in result.by_tree
    assert result.total.trees == study.logs["tree"].nunique()


def test_without_prices_there_is_no_value() -> None:
    study = random_study(5)
    for prices in (None, study.prices.iloc[:0]):
        result = compute_recovery(study.trees, study.logs, study.boards, study.grades, prices, FAST)
        assert result.total.best_use.value is None
        for figures in result.by_clone.values():
            assert figures.ci95 is not None
            assert figures.ci95.best_use_value_per_m3_log is None
            for rule_set, graded in figures.graded.items():
                assert (graded.value, graded.value_per_m3_log, graded.currency) == (None, None, None)
                assert figures.ci95.value_per_m3_log[rule_set] is None


def test_without_grades_there_is_green_recovery_alone() -> None:
    study = random_study(5)
    result = compute_recovery(study.trees, study.logs, study.boards, options=FAST)
    assert result.total.green_recovery == computed(study).total.green_recovery
    assert result.to_dict()["graded"] == {}


def test_interval_of_a_clone_does_not_depend_on_other_clones() -> None:
    study = random_study(8, n_trees=20)
    everything = computed(study)
    for clone in everything.by_clone:
        trees = study.trees[study.trees["clone"] == clone]
        logs = study.logs[study.logs["tree"].isin(trees["tree"])]
        boards = study.boards[study.boards["log"].isin(logs["log"])]
        grades = study.grades[study.grades["board"].isin(boards["board"])]
        alone = compute_recovery(trees, logs, boards, grades, study.prices, FAST)
        assert alone.by_clone[clone].ci95 == everything.by_clone[clone].ci95


def test_a_clone_with_one_tree_has_no_interval_and_says_so() -> None:
    study = random_study(2)
    lonely = study.trees.assign(clone=["C0", *["C1"] * (len(study.trees) - 1)])
    plain = json.loads(json.dumps(computed(StudyFrames(lonely, *study.all()[1:])).to_dict(), allow_nan=False))
    assert plain["by_clone"]["C0"]["ci95"]["green_recovery"] is None
    assert plain["by_clone"]["C0"]["ci95"]["note"] == "one tree: no interval can be given"
    low, high = plain["by_clone"]["C1"]["ci95"]["green_recovery"]
    assert low <= plain["by_clone"]["C1"]["green_recovery"] <= high


def test_json_has_the_promised_keys_and_plain_numbers() -> None:
    plain = computed(random_study(1)).to_dict()
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    figures = {
        "trees",
        "logs",
        "boards",
        "log_volume_m3",
        "green_volume_m3",
        "green_recovery",
        "graded",
        "best_use",
    }
    assert {*figures, "log_volume_formula", "by_clone", "by_tree", "by_log", "problems"} <= set(plain)
    clone: Any = next(iter(plain["by_clone"].values()))  # type: ignore[attr-defined]
    assert figures | {"ci95"} == set(clone)
    assert {"green_recovery", "graded_recovery", "value_per_m3_log", "best_use_value_per_m3_log"} <= set(
        clone["ci95"]
    )
    for rule_set, graded in clone["graded"].items():
        assert {
            "graded_volume_m3",
            "graded_recovery",
            "by_grade",
            "value",
            "value_per_m3_log",
            "currency",
        } <= set(graded)
        assert len(clone["ci95"]["graded_recovery"][rule_set]) == 2
        for grade in graded["by_grade"].values():
            assert set(grade) == {"boards", "volume_m3", "share"}
            assert type(grade["boards"]) is int
    assert plain["log_volume_formula"] == "smalian"
    assert plain["size_basis"] == "actual_green"


def test_grades_come_in_the_order_asked_for() -> None:
    study = random_study(1, n_trees=20)
    assert list(computed(study).total.graded) == ["visual", "machine"]
    assert list(computed(study).total.graded["visual"].by_grade) == ["clear", "knotty"]
    order = {"machine": ["soft", "stiff"], "visual": ["knotty"], "unused": ["x"]}
    asked = computed(study, grade_order=order).total.graded
    assert list(asked) == ["machine", "visual"]
    assert list(asked["machine"].by_grade) == ["soft", "stiff"]
    assert list(asked["visual"].by_grade) == ["knotty", "clear"]


def test_formula_and_its_volume_are_the_chosen_ones() -> None:
    study = random_study(4)
    result = computed(study, log_volume="Huber")
    by_hand = sum(
        math.pi / 4 * log["mid1_mm"] ** 2 / 1e6 * log["length_m"] for log in study.logs.to_dict("records")
    )
    assert result.formula.name == "huber"
    assert result.total.log_volume_m3 == pytest.approx(by_hand)
    with pytest.raises(ValueError, match="unknown log volume formula"):
        computed(study, log_volume="guess")
    with pytest.raises(ValueError, match="unknown size basis"):
        computed(study, size_basis="wet")


def test_input_hash_follows_the_data_and_nothing_else() -> None:
    study = random_study(6)
    first = computed(study).input_hash
    noted = StudyFrames(
        study.trees.assign(site="Upland"),
        study.logs.assign(_row=range(2, len(study.logs) + 2)),
        *study.all()[2:],
    )
    assert computed(noted, log_volume="huber").input_hash == first
    whole = study.boards.assign(width_mm=study.boards["width_mm"].astype("int64"))
    assert (
        computed(StudyFrames(study.trees, study.logs, whole, study.grades, study.prices)).input_hash == first
    )
    nudged = study.boards.copy()
    nudged.loc[0, "width_mm"] -= 1.0
    assert (
        computed(StudyFrames(study.trees, study.logs, nudged, study.grades, study.prices)).input_hash != first
    )


def test_frames_of_any_missing_kind_are_read_alike() -> None:
    """None, NaN and an absent column mean the same; so do object, string and nullable columns."""
    study = random_study(9)
    as_object = StudyFrames(*(frame.astype(object).where(frame.notna(), None) for frame in study.all()))
    as_nullable = StudyFrames(*(frame.convert_dtypes() for frame in study.all()))
    expected = computed(study).to_dict()
    assert computed(as_object).to_dict() == expected
    assert computed(as_nullable).to_dict() == expected

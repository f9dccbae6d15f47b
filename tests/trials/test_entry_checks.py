"""Doubts about single measurements: each kind of slip is asked about, sound rows are left in peace."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.trials.entry_rows import sound_visit, spoilt
from trials.calc.entry_checks import (
    check_rows,
    circumference_as_diameter,
    duplicates,
    height_against_diameter,
    impossible_change,
    outside_limits,
    status_conflicts,
    transposed_digits,
    unit_slips,
)
from trials.calc.findings import DBH, HEIGHT, Finding, TraitRule, expectation, resistant_line
from trials.calc.height_curves import band_from_numbers, fit_height_curve

POSITION = st.integers(0, 99)


def said_of(findings: list[Finding], at: int) -> dict[str, Finding]:
    return {finding.check: finding for finding in findings if f"m{at}" in finding.rows}


@pytest.mark.parametrize("seed", range(8))
def test_a_sound_visit_raises_no_question(seed: int) -> None:
    rows = sound_visit(seed)
    curve = fit_height_curve(rows["dbh_mm"], rows["height_m"])
    assert [f for f in check_rows(rows, curve=curve) if f.check != "height_band"] == []
    # The band leaves out one tree in a hundred by its meaning.
    assert len([f for f in check_rows(rows, curve=curve) if f.check == "height_band"]) <= 3


@given(at=POSITION, seed=st.integers(0, 5))
@settings(deadline=None, max_examples=40)
def test_a_circumference_typed_as_diameter(at: int, seed: int) -> None:
    diameter = float(sound_visit(seed)["dbh_mm"].iloc[at])
    findings = check_rows(spoilt("dbh_mm", at, float(round(math.pi * diameter)), seed))
    found = said_of(findings, at)
    assert found["circumference"].severity == "high"
    assert found["circumference"].suggestion == pytest.approx(diameter, abs=1.0)
    assert "grew" not in found
    assert {row for f in findings for row in f.rows if f.column == "dbh_mm"} == {f"m{at}"}


def test_a_circumference_typed_last_time() -> None:
    last = sound_visit()["last_dbh_mm"].iloc[7]
    found = said_of(check_rows(spoilt("last_dbh_mm", 7, round(math.pi * last))), 7)
    assert set(found) == {"circumference_last"}


def test_a_whole_visit_in_circumferences() -> None:
    rows = sound_visit()
    rows["dbh_mm"] = (math.pi * rows["dbh_mm"]).round()
    assert len(circumference_as_diameter(rows)) > 90
    # Young trees may well have tripled: within the growth a year can bring, nothing is said.
    young = sound_visit().assign(last_dbh_mm=20.0, dbh_mm=63.0)
    assert circumference_as_diameter(young) == []


@given(at=POSITION, factor=st.sampled_from([10.0, 0.1]), column=st.sampled_from(["dbh_mm", "height_m"]))
@settings(deadline=None, max_examples=40)
def test_a_slip_by_ten(at: int, factor: float, column: str) -> None:
    value = float(sound_visit()[column].iloc[at])
    found = said_of(check_rows(spoilt(column, at, value * factor)), at)
    assert found["factor_ten"].suggestion == pytest.approx(value)
    assert "shrank" not in found
    assert "grew" not in found


def test_a_slip_by_ten_of_a_tree_without_a_last_value() -> None:
    rows = sound_visit()
    rows["last_dbh_mm"] = np.nan
    value = rows["dbh_mm"].iloc[30]
    for factor in (10.0, 0.1):
        rows.loc["m30", "dbh_mm"] = value * factor
        assert [(f.rows, f.suggestion) for f in unit_slips(rows, DBH)] == [(("m30",), pytest.approx(value))]
    assert unit_slips(rows.head(9).assign(dbh_mm=[1.0] * 8 + [1000.0]), DBH) == []


def test_a_whole_visit_in_centimetres() -> None:
    rows = sound_visit()
    rows["dbh_mm"] = rows["dbh_mm"] / 10
    assert len(unit_slips(rows, DBH)) == 100


@given(at=POSITION, seed=st.integers(0, 5))
@settings(deadline=None, max_examples=60)
def test_transposed_digits(at: int, seed: int) -> None:
    rows = sound_visit(seed)
    value = int(rows["dbh_mm"].iloc[at])
    typed = int(str(value)[1] + str(value)[0] + str(value)[2])
    assume(abs(typed - value) > 60 and not 0.08 < typed / value < 0.135)
    found = said_of(check_rows(spoilt("dbh_mm", at, float(typed), seed)), at)
    assume("circumference" not in found and "circumference_last" not in found)
    assert found["transposed"].suggestion == value
    assert "digits changed places" in found["transposed"].text


def test_transposed_heights_count_tenths() -> None:
    rows = sound_visit()
    rows["last_height_m"], rows["height_m"] = 12.0, 13.6
    rows.loc["m4", "height_m"] = 31.6
    assert [(f.rows, f.suggestion) for f in transposed_digits(rows, HEIGHT)] == [(("m4",), 13.6)]


@pytest.mark.parametrize(
    ("column", "loss", "asked"),
    [("dbh_mm", 2.0, False), ("dbh_mm", 3.0, True), ("height_m", 0.5, False), ("height_m", 0.6, True)],
)
def test_shrinking_beyond_the_limit_is_asked_about(column: str, loss: float, asked: bool) -> None:
    """Limits of 2 mm and 0.5 m: our own."""
    rows = sound_visit()
    rule = {"dbh_mm": DBH, "height_m": HEIGHT}[column]
    rows.loc["m5", column] = rows[f"last_{column}"].iloc[5] - loss
    found = impossible_change(rows, rule)
    assert [(f.check, f.rows) for f in found] == ([("shrank", ("m5",))] if asked else [])


def test_growth_beyond_belief_needs_the_years() -> None:
    rows = sound_visit()
    rows.loc["m5", "dbh_mm"] = rows["last_dbh_mm"].iloc[5] + 121.0
    assert [f.check for f in impossible_change(rows, DBH)] == ["grew"]
    assert impossible_change(rows.assign(years=4.0), DBH) == []
    assert impossible_change(rows.drop(columns="years"), DBH) == []


def test_limits_are_inclusive_and_optional() -> None:
    rule = TraitRule("sweep_mm_per_m", "sweep", "mm/m", 1.0, least=0.0, most=80.0)
    rows = pd.DataFrame({"tree": list("ABCDE"), "sweep_mm_per_m": [0.0, 80.0, -1.0, 81.0, np.nan]})
    found = outside_limits(rows, rule)
    assert [f.rows for f in found] == [(2,), (3,)]
    assert found[0].text == "sweep -1 mm/m is below 0 mm/m"
    free = TraitRule("sweep_mm_per_m", "sweep", "mm/m", 1.0)
    assert outside_limits(rows, free) == []


def test_a_height_outside_its_band_is_asked_about_as_on_the_phone() -> None:
    rows = sound_visit()
    curve = fit_height_curve(rows["dbh_mm"], rows["height_m"])
    band = band_from_numbers(curve.numbers(), float(rows["dbh_mm"].iloc[3]))
    assert band is not None
    for height, asked in ((band[2] + 0.01, True), (band[2] - 0.01, False), (band[0] - 0.01, True)):
        found = said_of(height_against_diameter(spoilt("height_m", 3, height), curve), 3)
        assert ("height_band" in found) is asked


@pytest.mark.parametrize(
    ("dbh_mm", "height_m", "check"),
    [
        (20.0, 1.2, "below_breast_height"),
        (100.0, 1.9, "slenderness"),
        (100.0, 20.1, "slenderness"),
        (100.0, 2.0, None),
        (100.0, 20.0, None),
        (np.nan, 1.2, None),
        (100.0, np.nan, None),
    ],
)
def test_height_over_diameter_lies_in_20_to_200(dbh_mm: float, height_m: float, check: str | None) -> None:
    """Limits of height over diameter: common practice, no published source."""
    rows = pd.DataFrame({"tree": ["A"], "dbh_mm": [dbh_mm], "height_m": [height_m]})
    assert [f.check for f in height_against_diameter(rows)] == ([check] if check else [])


def test_the_dead_do_not_rise_nor_grow() -> None:
    rows = sound_visit()
    rows.loc["m1", "last_alive"] = False
    rows.loc["m2", "alive"] = False
    rows.loc["m3", "alive"] = False
    rows.loc["m3", ["dbh_mm", "height_m"]] = rows.loc["m3", ["last_dbh_mm", "last_height_m"]].to_numpy()
    found = status_conflicts(rows)
    assert {(f.check, f.rows[0]) for f in found} == {("alive_again", "m1"), ("dead_grew", "m2")}


def test_a_tree_entered_twice() -> None:
    rows = sound_visit()
    same, other = rows.loc[["m1"]].rename({"m1": "x"}), rows.loc[["m2"]].rename({"m2": "y"})
    found = duplicates(pd.concat([rows, same, other.assign(dbh_mm=99.0)]))
    assert [(f.rows, f.severity) for f in found] == [(("m1", "x"), "low"), (("m2", "y"), "middle")]
    assert "differ" in found[1].text


@given(
    at=POSITION,
    value=st.floats(allow_nan=True, allow_infinity=True),
    column=st.sampled_from(["dbh_mm", "height_m"]),
)
@settings(deadline=None, max_examples=80)
def test_whatever_is_typed_the_checks_only_ask(at: int, value: float, column: str) -> None:
    rows = spoilt(column, at, value)
    before = rows.copy()
    findings = check_rows(rows, curve=fit_height_curve(sound_visit()["dbh_mm"], sound_visit()["height_m"]))
    pd.testing.assert_frame_equal(rows, before)
    assert all(f.text and set(f.rows) <= set(rows.index) for f in findings)
    assert [f.severity for f in findings] == sorted(
        (f.severity for f in findings), key=("high", "middle", "low").index
    )


def test_a_first_visit_and_an_empty_one() -> None:
    first = sound_visit().drop(columns=["last_dbh_mm", "last_height_m", "last_alive", "years"])
    assert check_rows(first) == []
    assert check_rows(first.head(0)) == []
    assert check_rows(first[["tree"]]) == []


def test_few_trees_are_expected_as_they_were() -> None:
    rows = pd.DataFrame({"tree": list("AB"), "dbh_mm": [110.0, 120.0], "last_dbh_mm": [100.0, np.nan]})
    found = expectation(rows, DBH)
    assert found.value.tolist() == pytest.approx([100.0, np.nan], nan_ok=True)
    assert found.spread[0] == pytest.approx(10.0)


@given(slope=st.floats(0.2, 3), level=st.floats(-50, 50), wrong=st.integers(0, 6))
def test_the_resistant_line_stands_a_fifth_of_wrong_values(slope: float, level: float, wrong: int) -> None:
    x = np.random.default_rng(1).permutation(np.linspace(50, 300, 30))
    y = slope * x + level
    y[:wrong] *= 10
    found = resistant_line(x, y)
    clean = np.median(np.abs(y - found[0] * x - found[1]))
    assert clean <= 0.12 * np.ptp(slope * x)
    if wrong == 0:
        assert found == pytest.approx((slope, level), abs=1e-6)

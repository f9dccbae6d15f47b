"""Doubts that many measurements show together: rows out of step, favourite digits, outliers."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.trials.entry_rows import COLS, sound_visit, spoilt
from trials.calc.entry_outliers import (
    modified_z,
    outliers_from_curve,
    outliers_in_plot,
    robust_height_curve,
)
from trials.calc.entry_patterns import (
    check_patterns,
    check_visit,
    digit_preference,
    last_digits,
    sequence_shifts,
)
from trials.calc.findings import DBH, HEIGHT


def shifted(first: int, last: int, step: int, seed: int = 0) -> pd.DataFrame:
    """The sound visit with the diameters of second-row trees `first` to `last` taken from their neighbours."""
    rows = sound_visit(seed)
    values = rows["dbh_mm"].to_numpy().copy()
    at = np.arange(COLS + first, COLS + last + 1)
    values[at] = rows["dbh_mm"].to_numpy()[at + step]
    return rows.assign(dbh_mm=values)


@pytest.mark.parametrize("seed", range(8))
def test_a_sound_visit_is_in_step(seed: int) -> None:
    assert sequence_shifts(sound_visit(seed), DBH) == []


@given(
    first=st.integers(1, 10),
    length=st.integers(10, 14),
    step=st.sampled_from([1, -1]),
    seed=st.integers(0, 8),
)
@settings(deadline=None, max_examples=60)
def test_a_run_out_of_step_is_found_where_it_is(first: int, length: int, step: int, seed: int) -> None:
    last = min(first + length, COLS - 2)
    found = sequence_shifts(shifted(first, last, step, seed), DBH)
    assert len(found) == 1
    where = [int(str(row)[1:]) - COLS for row in found[0].rows]
    # The ends may be off where neighbours happen to be alike.
    assert abs(where[0] - first) <= 3
    assert abs(where[-1] - last) <= 3
    assert ("next" if step == 1 else "previous") in found[0].text


def test_a_whole_short_row_out_of_step() -> None:
    rows = sound_visit().head(COLS)
    values = rows["dbh_mm"].to_numpy()
    rows = rows.assign(dbh_mm=np.append(values[1:], np.nan))
    found = sequence_shifts(rows, DBH)
    assert len(found) == 1
    # Its ends may be off where neighbours happen to be alike.
    assert len(found[0].rows) >= COLS - 6


def test_dead_trees_do_not_break_a_run() -> None:
    """The crew walks past the dead: the next tree is the next living one."""
    rows = sound_visit()
    rows.loc[["m30", "m34"], ["dbh_mm", "last_dbh_mm"]] = np.nan
    living = [i for i in range(COLS, 2 * COLS) if i not in (30, 34)]
    values = rows["dbh_mm"].to_numpy().copy()
    values[living[2:16]] = rows["dbh_mm"].to_numpy()[living[3:17]]
    found = sequence_shifts(rows.assign(dbh_mm=values), DBH)
    assert len(found) == 1
    assert len(found[0].rows) >= 10


def test_one_typing_error_is_no_run() -> None:
    assert sequence_shifts(spoilt("dbh_mm", 40, 2100.0), DBH) == []


def test_changes_within_a_run_are_not_asked_about_one_by_one() -> None:
    rows = shifted(3, 18, 1)
    run = next(f for f in check_visit(rows) if f.check == "sequence")
    alone = [f for f in check_visit(rows) if f.check in ("shrank", "grew", "transposed")]
    assert not {row for f in alone for row in f.rows if f.column == "dbh_mm"} & set(run.rows)
    assert check_visit(rows)[0].severity == "high"


def digits_of(use: list[float], n: int, seed: int = 0) -> pd.DataFrame:
    """Diameters whose last digits are drawn with the given chances."""
    rng = np.random.default_rng(seed)
    tens = 10.0 * rng.integers(8, 30, n)
    return pd.DataFrame({"crew": "A", "dbh_mm": tens + rng.choice(10, n, p=use)})


def test_chi_square_agrees_with_scipy() -> None:
    rows = digits_of([0.1] * 10, 300)
    counts = np.bincount((rows["dbh_mm"] % 10).astype(int), minlength=10)
    expected = stats.chisquare(counts)
    use = last_digits(rows)[0]
    assert use.counts == tuple(counts)
    assert (use.chi_square, use.p_value) == (
        pytest.approx(expected.statistic),
        pytest.approx(expected.pvalue),
    )


def test_a_crew_that_rounds_to_fives_is_named_with_its_digits() -> None:
    even, fives = digits_of([0.1] * 10, 200), digits_of([0.35, *[0.05] * 4, 0.25, *[0.05] * 4], 200, seed=1)
    rows = pd.concat([even, fives.assign(crew="B")], ignore_index=True)
    found = digit_preference(rows)
    assert [f.severity for f in found] == ["low"]
    assert "crew B" in found[0].text
    assert "end in 0 or 5, 20% would be even" in found[0].text
    assert set(rows.loc[list(found[0].rows), "dbh_mm"] % 10) == {0.0, 5.0}
    assert set(rows.loc[list(found[0].rows), "crew"]) == {"B"}


def test_even_digits_are_seldom_called_a_preference() -> None:
    """At a level of 0.001, none of 200 even crews but for bad luck: two or more have a chance of 2 %."""
    calls = sum(bool(digit_preference(digits_of([0.1] * 10, 100, seed))) for seed in range(200))
    assert calls <= 1


def test_digits_of_heights_count_tenths() -> None:
    rng = np.random.default_rng(2)
    rows = pd.DataFrame({"crew": "A", "height_m": rng.integers(10, 30, 120) + rng.choice([0.0, 0.5], 120)})
    assert "end in 0 or 5" in digit_preference(rows, HEIGHT)[0].text


def test_too_few_or_too_narrow_readings_say_nothing_of_digits() -> None:
    assert last_digits(digits_of([0.1] * 10, 49)) == []
    narrow = pd.DataFrame({"crew": "A", "dbh_mm": np.tile([100.0, 101.0, 102.0], 50)})
    assert last_digits(narrow) == []


def test_modified_z_by_hand() -> None:
    """Median 3, deviations 2 1 0 1 97 with median 1: the last scores 0.6745 x 97."""
    assert modified_z(np.array([1.0, 2.0, 3.0, 4.0, 100.0]), 0.0) == pytest.approx(
        [0.6745 * d for d in (-2.0, -1.0, 0.0, 1.0, 97.0)]
    )
    alike = modified_z(np.array([5.0, 5.0, 5.0, 5.0, 6.0, np.nan]), 1.0)
    assert alike[:5] == pytest.approx([0, 0, 0, 0, 0.6745])
    assert np.isnan(alike[5])


def test_an_outlier_against_its_plot_or_else_the_visit() -> None:
    rows = spoilt("dbh_mm", 50, 700.0)
    assert [(f.rows, "its plot" in f.text) for f in outliers_in_plot(rows)] == [(("m50",), True)]
    single = outliers_in_plot(rows, by=("tree",))
    assert [(f.rows, "the visit" in f.text) for f in single] == [(("m50",), True)]
    assert outliers_in_plot(rows.iloc[48:54]) == []


@pytest.mark.parametrize("wrong", [0.1, 0.5, 1.7, 10.0])
def test_heights_off_the_curve_of_the_others(wrong: float) -> None:
    rows = sound_visit()
    at = [3, 33, 63]
    rows.loc[[f"m{i}" for i in at], "height_m"] *= wrong
    assert {f.rows[0] for f in outliers_from_curve(rows)} == {f"m{i}" for i in at}


def test_the_robust_curve_is_that_of_the_sound_trees() -> None:
    rows = sound_visit()
    spoilt_heights = rows["height_m"].to_numpy().copy()
    spoilt_heights[::10] *= 10
    clean = robust_height_curve(rows["dbh_mm"].to_numpy(), rows["height_m"].to_numpy())
    found = robust_height_curve(rows["dbh_mm"].to_numpy(), spoilt_heights)
    assert found.height_m(200.0) == pytest.approx(float(clean.height_m(200.0)), abs=0.2)


def test_too_few_pairs_say_nothing() -> None:
    assert outliers_from_curve(sound_visit().head(9)) == []


def test_only_what_the_columns_allow_is_checked() -> None:
    rows = spoilt("dbh_mm", 50, 700.0)
    assert check_patterns(rows[["tree"]]) == []
    assert {f.check for f in check_patterns(rows[["tree", "plot", "dbh_mm"]])} == {"outlier"}
    assert check_visit(rows.head(0)) == []

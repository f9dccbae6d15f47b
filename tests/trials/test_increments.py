"""Growth between visits: same stems, errors flagged and kept, ratios of totals."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from trials.calc.increments import (
    mean_annual_increment,
    periodic_increment,
    stem_increments,
    with_mean_increments,
)


def visit(age: float, **columns: object) -> pd.DataFrame:
    return pd.DataFrame({"tree": list("ABCDE"), "age_years": age, **columns})


def pair() -> tuple[pd.DataFrame, pd.DataFrame]:
    first = visit(10.0, dbh_mm=[100.0, 110.0, 120.0, np.nan, 140.0])
    second = visit(
        14.0,
        dbh_mm=[120.0, 108.0, 117.0, 150.0, 150.0],
        alive=[True, True, True, True, False],
        clone=["K1", "K1", "K2", "K2", "K2"],
    )
    return first, second


def test_only_stems_measured_twice_have_an_increment() -> None:
    stems = stem_increments(*pair(), "dbh_mm")
    assert stems["change"].to_list() == pytest.approx([20.0, -2.0, -3.0, np.nan, np.nan], nan_ok=True)
    assert stems["dbh_mm_per_year"].to_list()[:3] == pytest.approx([5.0, -0.5, -0.75])
    assert stems["left_out"].to_list() == [None, None, None, "not measured at the earlier visit", "dead"]


def test_shrinking_beyond_the_limit_is_flagged_and_kept() -> None:
    """Beyond 2 mm, 0.5 m: our own limits; exactly 2 mm is not beyond."""
    stems = stem_increments(*pair(), "dbh_mm")
    assert stems["is_error"].to_list() == [False, False, True, False, False]
    heights = stem_increments(
        visit(10.0, height_m=[10.0, 10.0, 10.0, 10.0, 10.0]),
        visit(12.0, height_m=[9.5, 9.4, 12.0, 10.0, np.nan]),
        "height_m",
    )
    assert heights["is_error"].to_list() == [False, True, False, False, False]
    table = periodic_increment(stems, "dbh_mm")
    assert table["dbh_mm_per_year"].item() == pytest.approx(15.0 / 12.0)
    assert (table["n_stems"].item(), table["n_left_out"].item(), table["n_errors"].item()) == (3, 2, 1)


def test_groups_and_their_unequal_periods() -> None:
    first, second = pair()
    second["age_years"] = [14.0, 12.0, 14.0, 14.0, 14.0]
    table = periodic_increment(stem_increments(first, second, "dbh_mm"), "dbh_mm", ("clone",))
    assert table["clone"].to_list() == ["K1", "K2"]
    assert table["dbh_mm_per_year"].to_list() == pytest.approx([18.0 / 6.0, -3.0 / 4.0])
    assert table["years"].to_list() == pytest.approx([3.0, 4.0])


def test_a_group_without_a_pair_has_no_increment() -> None:
    first, second = pair()
    table = periodic_increment(stem_increments(first.assign(dbh_mm=np.nan), second, "dbh_mm"), "dbh_mm")
    assert table["n_stems"].item() == 0
    assert math.isnan(table["dbh_mm_per_year"].item())


def test_a_measured_height_is_not_set_against_an_estimated_one() -> None:
    first = visit(10.0, height_m=10.0, height_source=["measured", "curve", "curve", "measured", "measured"])
    second = visit(
        12.0, height_m=12.0, height_source=["measured", "measured", "curve", "measured", "measured"]
    )
    left_out = stem_increments(first, second, "height_m")["left_out"].to_list()
    assert left_out == [None, "one height measured, the other from a curve", None, None, None]


def test_trees_new_at_the_later_visit_are_left_out() -> None:
    first, second = pair()
    stems = stem_increments(first.head(2), second, "dbh_mm")
    assert stems["left_out"].to_list()[2] == "not measured at the earlier visit"
    assert list(stems["tree"]) == list(second["tree"])


def test_refusals() -> None:
    first, second = pair()
    with pytest.raises(ValueError, match="later visit is not later"):
        stem_increments(second, first, "dbh_mm")
    with pytest.raises(ValueError, match="tree A stands twice"):
        stem_increments(pd.concat([first, first.head(1)]), second, "dbh_mm")
    with pytest.raises(ValueError, match="without column age_years"):
        stem_increments(first.drop(columns="age_years"), second, "dbh_mm")
    with pytest.raises(ValueError, match="age 0 years"):
        mean_annual_increment(10.0, 0.0)


def test_mean_increments_stand_beside_the_sizes_there_are() -> None:
    figures = pd.DataFrame({"volume_m3_per_ha": [300.0, np.nan], "mean_height_m": [20.0, 15.0], "notes": ""})
    found = with_mean_increments(figures, [25.0, 10.0])
    assert found["volume_mai_m3_per_ha_year"].to_list() == pytest.approx([12.0, np.nan], nan_ok=True)
    assert found["height_mai_m_per_year"].to_list() == pytest.approx([0.8, 1.5])
    assert "dbh_mai_mm_per_year" not in found.columns

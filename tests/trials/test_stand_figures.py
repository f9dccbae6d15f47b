"""Stand figures whatever the stand: relations that always hold, and what is missing stays missing."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trials.calc.height_curves import borrowed, fit_height_curve
from trials.calc.stand import FIGURES, position_area_ha, quadratic_mean_mm, stand_figures
from trials.calc.top_height import top_height

AREA_HA = 0.03


@st.composite
def stands(draw: st.DrawFn) -> pd.DataFrame:
    """Two plots of two clones; trees alive, dead or not seen, some not measured."""
    n = draw(st.integers(4, 24))
    numbers = st.floats(60, 500).map(lambda v: float(round(v)))
    frame = pd.DataFrame(
        {
            "tree": [f"T{i}" for i in range(n)],
            "site": "S",
            "plot": [f"P{i % 2}" for i in range(n)],
            "clone": [f"K{i // 2 % 2}" for i in range(n)],
            "plot_ha": AREA_HA,
            "alive": draw(st.lists(st.sampled_from([True, True, True, False, None]), min_size=n, max_size=n)),
            "dbh_mm": draw(st.lists(st.one_of(numbers, st.just(np.nan)), min_size=n, max_size=n)),
            "height_m": draw(st.lists(st.one_of(st.floats(5, 30), st.just(np.nan)), min_size=n, max_size=n)),
        }
    )
    frame["alive"] = frame["alive"].astype(object)
    return frame


@given(trees=stands())
@settings(deadline=None)
def test_relations_that_always_hold(trees: pd.DataFrame) -> None:
    table = stand_figures(trees, ("clone",)).table
    for row in table.to_dict("records"):
        assert row["n_planted"] == row["n_live"] + row["n_dead"] + row["n_not_seen"]
        if row["n_dbh"]:
            assert row["quadratic_mean_dbh_mm"] >= row["mean_dbh_mm"] * (1 - 1e-12)
            assert row["mean_top_dbh_mm"] >= row["quadratic_mean_dbh_mm"] * (1 - 1e-12)
            # G = N pi/4 Dq^2, with live stems without a diameter at the mean.
            expected = row["stems_per_ha"] * math.pi / 4 * (row["quadratic_mean_dbh_mm"] / 1000) ** 2
            assert row["basal_area_m2_per_ha"] == pytest.approx(expected)
        elif row["n_live"]:
            assert math.isnan(row["basal_area_m2_per_ha"])
        if row["n_planted"] > row["n_not_seen"]:
            assert 0 <= row["survival"] <= 1
        else:
            assert math.isnan(row["survival"])


@given(trees=stands(), seed=st.integers(0, 5))
@settings(deadline=None, max_examples=30)
def test_order_and_labels_of_rows_do_not_matter(trees: pd.DataFrame, seed: int) -> None:
    shuffled = trees.sample(frac=1.0, random_state=seed)
    one, two = stand_figures(trees).table, stand_figures(shuffled).table
    pd.testing.assert_frame_equal(one, two)


@given(trees=stands())
@settings(deadline=None, max_examples=30)
def test_groups_share_the_ground_of_the_whole(trees: pd.DataFrame) -> None:
    whole = stand_figures(trees, ("site",)).table
    for by in (("plot",), ("clone",), ("clone", "plot")):
        parts = stand_figures(trees, by).table
        assert parts["plot_area_ha"].sum() == pytest.approx(2 * AREA_HA)
        for column in ("n_planted", "n_live", "n_dead", "n_not_seen", "n_dbh"):
            assert parts[column].sum() == whole[column].item()


@given(trees=stands())
@settings(deadline=None, max_examples=30)
def test_readings_of_dead_trees_count_for_nothing(trees: pd.DataFrame) -> None:
    measured_dead = trees.copy()
    dead = measured_dead["alive"].map(lambda value: value is False).to_numpy(dtype=bool)
    measured_dead.loc[dead, ["dbh_mm", "height_m"]] = [999.0, 99.0]
    pd.testing.assert_frame_equal(stand_figures(trees).table, stand_figures(measured_dead).table)


def small(**columns: object) -> pd.DataFrame:
    frame = pd.DataFrame(
        {
            "tree": ["A", "B", "C", "D"],
            "plot": "P",
            "plot_ha": 0.04,
            "alive": [True, True, True, False],
            "dbh_mm": [100.0, 200.0, 300.0, np.nan],
            "height_m": [10.0, 15.0, 20.0, np.nan],
        }
    )
    return frame.assign(**columns)


def row_of(frame: pd.DataFrame, **options: object) -> dict[str, object]:
    return stand_figures(frame, **options).table.iloc[0].to_dict()  # type: ignore[arg-type]


def test_slenderness_is_total_height_over_total_diameter() -> None:
    assert row_of(small())["slenderness"] == pytest.approx(45.0 / 0.6)
    only_two = row_of(small(height_m=[10.0, np.nan, 20.0, np.nan]))
    assert only_two["slenderness"] == pytest.approx(30.0 / 0.4)


def test_positions_not_seen_are_not_dead() -> None:
    row = row_of(small(alive=pd.Series([True, True, None, False], dtype=object)))
    assert (row["n_planted"], row["n_live"], row["n_not_seen"]) == (4, 2, 1)
    assert row["survival"] == pytest.approx(2 / 3)
    assert row["stems_per_ha"] == pytest.approx(2 / 0.03)
    assert "not seen: 1" in str(row["notes"])


def test_a_live_stem_without_a_diameter_counts_at_the_mean_and_is_told() -> None:
    row = row_of(small(dbh_mm=[100.0, np.nan, 300.0, np.nan]))
    mean = math.pi / 4 * (0.1**2 + 0.3**2) / 2
    assert row["basal_area_m2_per_ha"] == pytest.approx(3 * mean / 0.04)
    assert "without a diameter: 1" in str(row["notes"])


def test_a_stem_below_breast_height_has_no_basal_area() -> None:
    row = row_of(small(dbh_mm=[np.nan, 200.0, 300.0, np.nan], height_m=[0.9, 15.0, 20.0, np.nan]))
    assert row["basal_area_m2_per_ha"] == pytest.approx(math.pi / 4 * (0.2**2 + 0.3**2) / 0.04)
    assert "without a diameter" not in str(row["notes"])


def test_without_an_area_there_is_nothing_per_hectare() -> None:
    row = row_of(small(plot_ha=np.nan))
    for column in ("plot_area_ha", "stems_per_ha", "basal_area_m2_per_ha", "top_height_m"):
        assert math.isnan(row[column])  # type: ignore[arg-type]
    assert row["survival"] == pytest.approx(0.75)
    assert "no plot area" in str(row["notes"])


def test_a_plot_where_all_died_has_a_true_zero() -> None:
    row = row_of(small(alive=False))
    assert row["survival"] == 0.0
    assert row["stems_per_ha"] == 0.0
    assert row["basal_area_m2_per_ha"] == 0.0
    assert math.isnan(row["mean_dbh_mm"])  # type: ignore[arg-type]


def test_impossible_readings_are_named_and_left_out() -> None:
    figures = stand_figures(small(dbh_mm=[-100.0, 200.0, np.inf, np.nan]))
    assert [(p.index, p.column, p.found) for p in figures.problems] == [
        (0, "dbh_mm", "-100"),
        (2, "dbh_mm", "inf"),
    ]
    assert figures.table["mean_dbh_mm"].item() == 200.0


def test_estimated_heights_are_counted_apart_and_kept_out_of_slenderness() -> None:
    row = row_of(small(height_source=["measured", "curve", "measured", None]))
    assert (row["n_heights"], row["n_heights_estimated"]) == (2, 1)
    assert row["slenderness"] == pytest.approx(30.0 / 0.4)
    assert row["mean_height_m"] == pytest.approx(15.0)
    assert "estimated from a curve: 1" in str(row["notes"])


def test_volume_per_hectare() -> None:
    row = row_of(small(volume_m3=[0.1, 0.3, 0.5, np.nan]))
    assert row["volume_m3_per_ha"] == pytest.approx(0.9 / 0.04)
    assert row["mean_volume_m3"] == pytest.approx(0.3)


def test_refusals() -> None:
    with pytest.raises(ValueError, match="tree A stands twice"):
        stand_figures(pd.concat([small(), small().head(1)]))
    with pytest.raises(ValueError, match=r"plot_ha of P is 0.03 and 0.04"):
        stand_figures(small(plot_ha=[0.04, 0.03, 0.04, 0.04]))
    with pytest.raises(ValueError, match="without column alive"):
        stand_figures(small().drop(columns="alive"))
    with pytest.raises(ValueError, match="expected a height-diameter curve"):
        stand_figures(small(), top_method="curve at top diameter")


def test_no_trees_no_rows_but_all_columns() -> None:
    table = stand_figures(small().head(0)).table
    assert len(table) == 0
    assert list(table.columns) == ["plot", *FIGURES]


def test_the_same_plot_code_in_two_blocks_is_two_plots() -> None:
    two = pd.concat([small(), small(tree=list("EFGH"))], ignore_index=True)
    two["block"] = [1] * 4 + [2] * 4
    assert position_area_ha(two) == pytest.approx(np.full(8, 0.01))
    assert stand_figures(two, ("block", "plot")).table["plot_area_ha"].to_list() == pytest.approx(
        [0.04, 0.04]
    )


def test_trees_without_a_clone_keep_their_place() -> None:
    table = stand_figures(small(clone=["K1", None, "K1", None]), ("clone",)).table
    assert table["n_planted"].to_list() == [2, 2]
    assert table["clone"].isna().to_list() == [False, True]


def test_top_height_does_not_depend_on_the_order_of_equal_diameters() -> None:
    dbh, height = [300.0, 300.0, 300.0], [20.0, 24.0, np.nan]
    values = {top_height(np.take(dbh, o), np.take(height, o), 0.02).height_m for o in ([0, 1, 2], [2, 1, 0])}
    assert values == {22.0}


def test_top_height_names_what_it_lacks_and_borrows() -> None:
    dbh = np.linspace(150, 350, 30)
    curve = borrowed(fit_height_curve(dbh, 1.3 + (0.27 + 7.7 / dbh) ** -2.5, group="P1"), "P2")
    top = top_height([400.0, 380.0, 200.0], [np.nan, 25.0, 18.0], 0.02, curve)
    assert top.method == "curve at top diameter"
    assert "height curve borrowed from P1" in top.notes
    assert "mean top diameter outside the diameters of the height curve" in top.notes
    measured = top_height(
        [400.0, 380.0, 200.0], [np.nan, 25.0, 18.0], 0.02, curve, "mean of measured heights"
    )
    assert (measured.height_m, measured.stems, measured.stems_measured) == (25.0, 2, 1)
    assert measured.notes == ("top stems without a measured height: 1 of 2",)
    few = top_height([200.0], [18.0], 0.05)
    assert few.notes == ("fewer live stems with a diameter (1) than top stems asked for (5)",)


def test_quadratic_mean_of_nothing_is_missing() -> None:
    assert math.isnan(quadratic_mean_mm([]))
    assert math.isnan(quadratic_mean_mm([np.nan]))

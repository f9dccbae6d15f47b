"""Growth curves per clone: intervals over plots, the same stems, where a form is fitted and where not."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trials.calc.clone_growth import Visit, clone_growth
from trials.calc.clustered import clustered_mean, clustered_rate
from trials.calc.growth_forms import FormRefusedError, fit_growth


def visit(
    age: float, values: list[float], site: str = "S", plots: list[str] | None = None, **more: object
) -> Visit:
    n = len(values)
    frame = pd.DataFrame(
        {
            "tree": [f"{site}{i}" for i in range(n)],
            "clone": ["A" if i % 2 == 0 else "B" for i in range(n)],
            "plot": plots or [str(i) for i in range(n)],
            "alive": True,
            "dbh_mm": values,
        }
    )
    return Visit(site, f"at {age:g}", age, frame.assign(**more))


def of(growth: object, clone: str, age: float) -> pd.Series:
    return growth.table.set_index(["clone", "age_class"]).loc[(clone, age)]  # type: ignore[attr-defined]


def test_with_one_tree_a_plot_the_interval_is_the_usual_one() -> None:
    """scipy.stats: mean and t interval of a plain sample."""
    values = np.array([12.0, 15.0, 11.0, 19.0, 14.5])
    found = clustered_mean(values, list("abcde"))
    low, high = stats.t.interval(0.95, 4, loc=values.mean(), scale=stats.sem(values))
    assert (found.estimate, found.low, found.high) == pytest.approx((values.mean(), low, high))
    assert (found.n, found.clusters) == (5, 5)


def test_trees_of_one_plot_count_as_one_draw() -> None:
    """Every value four times in its plot: the interval is that of the plots, not half as wide."""
    once = clustered_mean([12, 15, 11, 19], list("abcd"))
    four = clustered_mean(np.repeat([12, 15, 11, 19], 4), np.repeat(list("abcd"), 4))
    assert (four.estimate, four.low, four.high) == pytest.approx((once.estimate, once.low, once.high))
    assert four.n == 16


def test_equal_plots_give_the_interval_of_their_means() -> None:
    """scipy.stats on the plot means, which for plots of equal size is the same variance."""
    values = np.array([[1.0, 2, 4], [3, 3, 8], [5, 9, 1], [2, 2, 2]])
    means = values.mean(axis=1)
    low, high = stats.t.interval(0.95, 3, loc=means.mean(), scale=stats.sem(means))
    found = clustered_mean(values.ravel(), np.repeat(list("abcd"), 3))
    assert (found.low, found.high) == pytest.approx((low, high))


def test_one_plot_has_no_interval_and_no_tree_no_mean() -> None:
    one = clustered_mean([3.0, 5.0], ["a", "a"])
    assert one.estimate == 4.0
    assert math.isnan(one.low)
    assert math.isnan(clustered_mean([], []).estimate)
    with pytest.raises(ValueError, match="denominator"):
        clustered_rate([1.0], [0.0], ["a"])
    with pytest.raises(ValueError, match="level"):
        clustered_rate([1.0], [1.0], ["a"], level=1.0)


def test_a_curve_has_a_point_a_visit_with_its_trees() -> None:
    growth = clone_growth([visit(5, [50, 60, 70, 80]), visit(9, [90, math.nan, 130, 120])], "dbh_mm")
    assert list(growth.table.columns[:2]) == ["clone", "age_class"]
    first, second = of(growth, "A", 5.0), of(growth, "A", 9.0)
    assert (first["mean"], first["n_trees"], first["mai"]) == (60.0, 2, 12.0)
    assert math.isnan(first["pai"])
    assert (second["mean"], second["pai"], second["n_stems"]) == (110.0, 12.5, 2)


def test_increments_are_of_the_same_stems_only() -> None:
    """B's first tree was not measured again: its mean rises with the tree left, its increment does not."""
    growth = clone_growth([visit(5, [50, 10, 70, 80]), visit(9, [90, math.nan, 130, 120])], "dbh_mm")
    later = of(growth, "B", 9.0)
    assert (later["mean"], later["n_trees"]) == (120.0, 1)
    assert (later["pai"], later["n_stems"], later["n_left_out"]) == (10.0, 1, 0)
    new = clone_growth([visit(5, [50, math.nan, 70, 80]), visit(9, [90, 20, 130, 120])], "dbh_mm")
    assert (of(new, "B", 9.0)["n_stems"], of(new, "B", 9.0)["n_left_out"]) == (1, 1)


def test_dead_trees_and_estimated_heights_are_no_growth() -> None:
    visits = [visit(5, [50, 60, 70, 80]), visit(9, [90, 99, 130, 120], alive=[True, True, False, True])]
    assert of(clone_growth(visits, "dbh_mm"), "A", 9.0)["n_trees"] == 1
    heights = [visit(a, [5, 6, 7, 8]) for a in (5, 9)]
    marked = [
        Visit(
            v.site,
            v.name,
            v.age_years,
            v.trees.rename(columns={"dbh_mm": "height_m"}).assign(height_source=s),
        )
        for v, s in zip(heights, ("measured", ["measured", "measured", "curve", "measured"]), strict=True)
    ]
    growth = clone_growth(marked, "height_m")
    assert of(growth, "A", 9.0)["n_trees"] == 1


def test_a_shrunken_stem_is_counted_and_kept() -> None:
    growth = clone_growth([visit(5, [50, 60, 70, 80]), visit(9, [40, 99, 130, 120])], "dbh_mm")
    later = of(growth, "A", 9.0)
    assert (later["n_errors"], later["pai"]) == (1, pytest.approx((-10 + 60) / 8))


def test_sites_meet_by_whole_years() -> None:
    visits = [
        visit(4.9, [50, 60, 70, 80]),
        visit(5.2, [52, 62], site="T"),
        visit(9.1, [90, 99, 130, 120]),
        visit(8.9, [92, 70], site="T"),
    ]
    growth = clone_growth(visits, "dbh_mm", classes=True)
    assert sorted(set(growth.table["age_class"])) == [5.0, 9.0]
    row = of(growth, "A", 9.0)
    assert (row["n_trees"], row["n_plots"], row["n_stems"]) == (3, 3, 3)
    total = (90 - 50) + (130 - 70) + (92 - 52)
    assert row["pai"] == pytest.approx(total / (4.2 + 4.2 + 3.7))
    assert growth.sites == ("S", "T")


def test_a_form_needs_three_ages_and_says_so() -> None:
    two = clone_growth([visit(a, [50 + 9 * a, 60, 70 + a, 80]) for a in (5, 9)], "dbh_mm")
    assert two.forms == {}
    assert two.no_form["A"] == "2 ages: a growth form needs at least 3"
    three = clone_growth([visit(a, [50 + 9 * a, 60 + a, 70 + a, 80]) for a in (5, 9, 14)], "dbh_mm")
    assert three.forms["A"].name == "Schumacher"


@pytest.mark.parametrize("name", ["Schumacher", "asymptotic"])
def test_exact_sizes_give_their_curve_back(name: str) -> None:
    ages = np.array([4.0, 8, 15] if name == "Schumacher" else [4.0, 8, 15, 22, 30])
    sizes = 40 * np.exp(-9 / ages) if name == "Schumacher" else 30 - 33 * np.exp(-0.08 * ages)
    form = fit_growth(ages, sizes)
    assert form.name == name
    expected = (40, 9) if name == "Schumacher" else (30, -3, math.log(0.08))
    assert form.parameters == pytest.approx(expected, rel=1e-5)
    assert form.size([10.0])[0] == pytest.approx(
        40 * math.exp(-0.9) if name == "Schumacher" else 30 - 33 * math.exp(-0.8)
    )
    assert np.isnan(form.size([1.0, 60.0])).all()
    assert "3 ages" in form.words or "5 ages" in form.words


def test_trees_weigh_in_the_fit() -> None:
    """A mean of many trees counts as if each were there: the same as its point repeated."""
    ages, sizes = np.array([4.0, 8, 15]), np.array([4.3, 13.4, 21.0])
    weighted = fit_growth(ages, sizes, [1, 5, 2])
    repeated = fit_growth(np.repeat(ages, [1, 5, 2]), np.repeat(sizes, [1, 5, 2]))
    assert weighted.parameters == pytest.approx(repeated.parameters, rel=1e-6)


@pytest.mark.parametrize(
    ("ages", "sizes"),
    [([1, 2], [1, 2]), ([1, 2, 3], [3, 2, 1]), ([0, 1, 2], [1, 2, 3]), ([1, 2, 3], [0, 1, 2]), ([], [])],
)
def test_no_form_without_growth(ages: list[float], sizes: list[float]) -> None:
    with pytest.raises(FormRefusedError):
        fit_growth(ages, sizes)


def test_refusals_and_nothing_at_all() -> None:
    assert clone_growth([], "dbh_mm").table.empty
    with pytest.raises(ValueError, match="age above 0"):
        clone_growth([visit(0, [1, 2])], "dbh_mm")
    with pytest.raises(ValueError, match="without column height_m"):
        clone_growth([visit(3, [1, 2])], "height_m")
    empty = clone_growth([visit(3, [math.nan, math.nan])], "dbh_mm")
    assert empty.table.empty

"""Choosing trees to fell: limits kept, balance proved against brute force, reserves, reasons."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trials.calc import felling_list, felling_model
from trials.calc.felling_choice import FellingChoice, choose_trees
from trials.calc.felling_requirements import Wanted, class_labels, diameter_classes

EDGES = (200.0, 260.0)


def stand(seed: int, *, clones: int = 3, sites: int = 2, blocks: int = 2, trees: int = 2) -> pd.DataFrame:
    """A small invented stand: one plot of every clone in each block."""
    rng = np.random.default_rng(seed)
    rows = [
        (f"{site}{block}-{clone}-{tree}", f"c{clone}", site, str(block), str(clone))
        for site in "ABCDEFGH"[:sites]
        for block in range(1, blocks + 1)
        for clone in range(1, clones + 1)
        for tree in range(1, trees + 1)
    ]
    frame = pd.DataFrame(rows, columns=["tree", "clone", "site", "block", "plot"])
    frame["dbh_mm"] = rng.normal(230, 40, len(frame)).round()
    return frame.assign(healthy=rng.random(len(frame)) > 0.1, edge=rng.random(len(frame)) < 0.1)


def imbalance(chosen: pd.DataFrame, trees: pd.DataFrame, wanted: Wanted) -> float:
    """The definition, counted the slow way: squared differences from the even share, over clones and all."""
    blocks = sorted(set(zip(trees["site"], trees["block"], strict=True)))
    total = 0.0
    for clone in (*wanted.per_clone, None):
        part = chosen if clone is None else chosen[chosen["clone"] == clone]
        counts = {
            "class": [
                (part["diameter_class"] == label).sum() for label in class_labels(wanted.class_edges_mm)
            ],
            "site": [(part["site"] == site).sum() for site in sorted(set(trees["site"]))],
            "block": [((part["site"] == s) & (part["block"] == b)).sum() for s, b in blocks],
        }
        for over, numbers in counts.items():
            share = len(part) / len(numbers)
            total += wanted.weights.get(over, 0) * sum((number - share) ** 2 for number in numbers)
    return total


def brute_force(trees: pd.DataFrame, wanted: Wanted) -> float | None:
    """Least imbalance over every allowed choice, None when there is none: all of them are looked at."""
    good = trees[trees["healthy"] & ~trees["edge"]]
    labels = class_labels(wanted.class_edges_mm)
    places = {
        "class": [labels.index(label) for label in good["diameter_class"]],
        "site": pd.factorize(good["site"])[0],
        "block": good.groupby(["site", "block"]).ngroup(),
    }
    one_hot = {over: np.eye(3 if over == "class" else max(at) + 1)[at] for over, at in places.items()}
    plots = np.eye(len(good))[good.groupby(["site", "block", "plot"]).ngroup()]
    clones = good["clone"].to_numpy()
    of_clone = [
        itertools.combinations(np.flatnonzero(clones == clone), number)
        for clone, number in wanted.per_clone.items()
    ]
    best: float | None = None
    for parts in itertools.product(*of_clone):
        chosen = [i for part in parts for i in part]
        if plots[chosen].sum(axis=0).max() > wanted.most_per_plot:
            continue
        if one_hot["class"][chosen].sum(axis=0).min() < wanted.least_per_class:
            continue
        value = 0.0
        for over, cells in one_hot.items():
            for group in (*(list(part) for part in parts), chosen):
                counts = cells[group].sum(axis=0)
                value += wanted.weights.get(over, 0) * float(((counts - counts.mean()) ** 2).sum())
        best = value if best is None else min(best, value)
    return best


@given(st.integers(0, 10_000), st.integers(1, 2), st.sampled_from([(1, 1, 1), (4, 1, 0), (0, 2, 1)]))
@settings(max_examples=12, deadline=None)
def test_the_choice_is_as_balanced_as_the_best_of_all_choices(
    seed: int, most_per_plot: int, weights: tuple[int, int, int]
) -> None:
    trees = stand(seed).assign(diameter_class=lambda t: diameter_classes(t["dbh_mm"], EDGES))
    wanted = Wanted(
        {"c1": 2, "c2": 2, "c3": 1},
        EDGES,
        most_per_plot=most_per_plot,
        weights=dict(zip(("class", "site", "block"), weights, strict=True)),
    )
    best = brute_force(trees, wanted)
    found = choose_trees(trees.drop(columns="diameter_class"), wanted, seed=seed)
    if best is None:
        assert found.proof.status == "infeasible"
        assert found.obstacles
        return
    good = trees[trees["healthy"] & ~trees["edge"]]
    assert found.proof.status == "optimal"
    assert found.proof.imbalance == pytest.approx(best, abs=1e-6)
    assert found.proof.bound == pytest.approx(best, abs=1e-5)
    assert imbalance(found.chosen, good, wanted) == pytest.approx(best, abs=1e-6)


@given(st.integers(0, 10_000), st.integers(1, 3), st.integers(1, 5), st.integers(0, 2))
@settings(max_examples=40, deadline=None)
def test_no_limit_is_ever_exceeded(seed: int, most_per_plot: int, number: int, reserves: int) -> None:
    trees = stand(seed, clones=4, blocks=3, trees=3)
    leave = frozenset(trees["tree"].sample(5, random_state=seed))
    wanted = Wanted(
        {"c1": number, "c3": 2},
        EDGES,
        most_per_plot=most_per_plot,
        leave=leave,
        reserves=reserves,
        least_per_site=1,
    )
    found = choose_trees(trees, wanted, seed=seed)
    if found.proof.status == "infeasible":
        assert found.obstacles
        assert len(found.chosen) == 0
        return
    chosen = found.chosen
    assert chosen["clone"].value_counts().to_dict() == {"c1": number, "c3": 2}
    assert chosen.groupby(["site", "block", "plot"]).size().max() <= most_per_plot
    assert set(chosen["diameter_class"]) == set(class_labels(EDGES))
    assert set(chosen["site"]) == {"A", "B"}
    assert chosen["healthy"].all()
    assert not chosen["edge"].any()
    named = found.reserves["reserve"].dropna()
    assert not set(chosen["tree"]) & leave
    assert not set(named) & (leave | set(chosen["tree"]))
    assert not named.duplicated().any()
    assert len(found.reserves) == reserves * len(chosen)
    assert_reserves_fit(found, trees, most_per_plot)


def assert_reserves_fit(found: FellingChoice, trees: pd.DataFrame, most_per_plot: int) -> None:
    at = trees.set_index("tree")
    for row in found.reserves.dropna(subset=["reserve"]).itertuples():
        assert at.loc[row.tree, "clone"] == at.loc[row.reserve, "clone"]
        after = [*(tree for tree in found.chosen["tree"] if tree != row.tree), row.reserve]
        assert at.loc[after].groupby(["site", "block", "plot"]).size().max() <= most_per_plot


def test_same_seed_same_choice_whatever_the_order_of_rows() -> None:
    trees = stand(1, clones=6, sites=3, blocks=4, trees=3)
    wanted = Wanted({"c1": 3, "c2": 3, "c5": 2}, EDGES, reserves=2)
    one = choose_trees(trees, wanted, seed=4)
    two = choose_trees(trees.sample(frac=1.0, random_state=3), wanted, seed=4)
    pd.testing.assert_frame_equal(one.chosen, two.chosen)
    pd.testing.assert_frame_equal(one.reserves, two.reserves)
    others = [choose_trees(trees, wanted, seed=seed) for seed in range(5, 10)]
    assert {other.proof.imbalance for other in others} == {one.proof.imbalance}
    assert any(other.chosen["tree"].tolist() != one.chosen["tree"].tolist() for other in others)


def test_ties_are_broken_at_random() -> None:
    """Eight trees alike but for their plots: over 80 seeds none is chosen far more often than another."""
    trees = stand(0, clones=1, sites=2, blocks=4, trees=1).assign(dbh_mm=220.0, healthy=True, edge=False)
    counts: dict[str, int] = {}
    for seed in range(80):
        tree = choose_trees(trees, Wanted({"c1": 1}, reserves=0), seed=seed).chosen["tree"].iloc[0]
        counts[tree] = counts.get(tree, 0) + 1
    assert len(counts) == 8
    assert (
        sum((count - 10.0) ** 2 / 10.0 for count in counts.values()) < 24.4
    )  # chi-square, 7 df, 0.1 % point


def test_the_balance_is_shown_in_counts() -> None:
    trees = stand(2, clones=4, sites=2, blocks=2, trees=4)
    found = choose_trees(trees, Wanted({"c1": 2, "c2": 2}, EDGES), seed=1)
    balance = found.balance
    together = balance[balance["clone"].isna() & (balance["over"] == "site")]
    assert together["trees"].tolist() == [2, 2]
    assert together["share"].tolist() == [2.0, 2.0]
    of_one = balance[(balance["clone"] == "c1") & (balance["over"] == "class")]
    assert of_one["trees"].sum() == 2
    assert of_one["share"].iloc[0] == pytest.approx(2 / 3)
    assert found.proof.imbalance == pytest.approx(((balance["trees"] - balance["share"]) ** 2).sum())


def test_every_tree_left_out_has_its_reason() -> None:
    trees = stand(3, clones=2, sites=2, blocks=3, trees=2).assign(healthy=True, edge=False)
    trees = trees.astype({"healthy": object, "edge": object})
    trees.loc[0, "healthy"], trees.loc[4, "edge"], trees.loc[1, "dbh_mm"] = False, True, np.nan
    trees.loc[5, "healthy"], trees.loc[5, "edge"] = None, None
    wanted = Wanted({"c1": 2}, sites=("A",), leave=frozenset({trees["tree"].iloc[8]}))
    found = choose_trees(trees, wanted, seed=1)
    reasons = found.left_out.set_index("tree")["reason"]
    at = trees["tree"]
    assert reasons[at[0]] == "not healthy"
    assert reasons[at[1]] == "no diameter"
    assert reasons[at[4]] == "at an edge"
    assert reasons[at[8]] == "named to be left"
    assert reasons[at[2]] == "clone not asked for"
    assert (
        reasons[trees[(trees["site"] == "B") & (trees["clone"] == "c1")]["tree"]] == "site not asked for"
    ).all()
    assert at[5] not in reasons.index
    assert found.notes == (
        "1 candidates without a record of 'healthy' were kept",
        "1 candidates without a record of 'edge' were kept",
    )
    allowed = choose_trees(trees, Wanted({"c1": 2}, leave_unhealthy=False, leave_edge=False), seed=1)
    assert set(allowed.left_out["reason"]) == {"clone not asked for", "no diameter"}


def test_reserves_are_as_alike_as_can_be() -> None:
    """Same class before same site before same block before nearest diameter."""
    frame = pd.DataFrame(
        [
            ("felled", "c1", "A", "1", "1", 230.0),
            ("far class", "c1", "A", "1", "2", 150.0),
            ("far site", "c1", "B", "1", "1", 230.0),
            ("far block", "c1", "A", "2", "1", 231.0),
            ("near", "c1", "A", "1", "3", 250.0),
            ("nearer", "c1", "A", "1", "4", 240.0),
        ],
        columns=["tree", "clone", "site", "block", "plot", "dbh_mm"],
    ).assign(healthy=True, edge=False)
    others = frozenset(frame["tree"]) - {"felled"}
    for best, differs in [
        ("nearer", ""),
        ("near", ""),
        ("far block", "another block"),
        ("far site", "another site"),
        ("far class", "another diameter class"),
    ]:
        wanted = Wanted({"c1": 1}, EDGES, least_per_class=0)
        only = frame[frame["tree"].isin({"felled"} | others)]
        found = reserve_of(only, wanted)
        assert found == (best, differs)
        others -= {best}
    assert reserve_of(frame[frame["tree"] == "felled"], wanted) == (
        None,
        "no free tree of the clone within the limits",
    )


def reserve_of(trees: pd.DataFrame, wanted: Wanted) -> tuple[Any, str]:
    from trials.calc.felling_reserves import name_reserves

    classed = trees.assign(diameter_class=diameter_classes(trees["dbh_mm"], wanted.class_edges_mm))
    chosen = classed[classed["tree"] == "felled"]
    reserves = name_reserves(classed.reset_index(drop=True), chosen, 1, 1, np.random.default_rng(1))
    reserve = reserves["reserve"].iloc[0]
    return (None if pd.isna(reserve) else reserve), reserves["differs"].iloc[0]


def test_a_clone_with_too_few_trees_is_named() -> None:
    trees = stand(4, clones=2, sites=1, blocks=2, trees=2).assign(healthy=True, edge=False)
    found = choose_trees(trees, Wanted({"c1": 3, "c2": 2}), seed=1)
    assert found.proof.status == "infeasible"
    assert np.isnan(found.proof.imbalance)
    by = {obstacle.requirement: obstacle for obstacle in found.obstacles}
    assert by["trees of a clone"].details == ("c1: 3 wanted, 2 possible",)
    assert by["trees of a clone"].alone
    plots = by["trees of a plot"].details
    assert len(plots) == 1
    assert plots[0].endswith("at most 1 asked, 2 needed")
    unknown = choose_trees(trees, Wanted({"c1": 1, "c9": 2}), seed=1)
    assert [o.details for o in unknown.obstacles] == [("c9: 2 wanted, 0 possible",)]


def test_a_class_without_trees_is_named() -> None:
    trees = stand(5, clones=2, sites=1, blocks=3, trees=2).assign(healthy=True, edge=False, dbh_mm=220.0)
    found = choose_trees(trees, Wanted({"c1": 3}, (200.0, 260.0)), seed=1)
    assert [o.requirement for o in found.obstacles] == ["trees of a diameter class"]
    assert found.obstacles[0].details == (
        "under 200 mm: 1 wanted, 0 possible",
        "260 mm and over: 1 wanted, 0 possible",
    )
    each = choose_trees(
        trees.assign(dbh_mm=[150.0, 300.0] * 6),
        Wanted({"c1": 2, "c2": 1}, (200.0,), cover="each clone"),
        seed=1,
    )
    assert {o.requirement for o in each.obstacles} == {"trees of a clone", "trees of a diameter class"}
    assert each.obstacles[0].details == ("c2: 1 asked, 2 needed",)
    assert "of c2: 1 wanted, 0 possible" in each.obstacles[1].details[0]


def test_requirements_that_fail_only_together_are_named_together() -> None:
    """c1 has one tree where two are wanted, and no tree is of the upper class: neither alone helps."""
    trees = stand(6, clones=1, sites=1, blocks=1, trees=1).assign(healthy=True, edge=False, dbh_mm=150.0)
    found = choose_trees(trees, Wanted({"c1": 2}, (200.0,)), seed=1)
    assert {(o.requirement, o.alone) for o in found.obstacles} == {
        ("trees of a clone", False),
        ("trees of a diameter class", False),
    }


def test_an_exclusion_that_prevents_the_choice_is_named() -> None:
    trees = stand(7, clones=1, sites=2, blocks=2, trees=1).assign(
        healthy=True, edge=[True, False, False, False]
    )
    found = choose_trees(trees, Wanted({"c1": 4}), seed=1)
    assert found.proof.status == "infeasible"
    assert found.notes == ("with the 1 trees allowed that were left out as 'at an edge' a choice exists",)


def test_a_choice_without_anything_to_balance_or_to_choose_from() -> None:
    trees = stand(8)
    free = choose_trees(trees, Wanted({"c1": 2}, weights={}), seed=1)
    assert (free.proof.status, free.proof.imbalance) == ("optimal", 0.0)
    assert len(free.chosen) == 2
    none = choose_trees(trees.iloc[:0], Wanted({"c1": 2}), seed=1)
    assert none.proof.status == "infeasible"
    assert none.obstacles[0].details == ("c1: 2 wanted, 0 possible",)


def test_the_time_limit_is_said() -> None:
    trees = stand(3, clones=12, sites=4, blocks=6, trees=3)
    wanted = Wanted({f"c{number}": 3 for number in range(1, 13)}, EDGES)
    found = choose_trees(trees, wanted, seed=1, time_limit_s=0.01)
    assert found.proof.status == "time limit"
    assert found.obstacles == ()
    assert len(found.chosen) in (0, 36)
    if len(found.chosen):
        assert found.proof.bound <= found.proof.imbalance


def test_an_unfinished_draw_among_even_choices_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """The choice is as even as with the draw; only which of the even ones it is hangs on the time."""
    trees = stand(3, clones=6, sites=3, blocks=4, trees=3)
    wanted = Wanted({f"c{number}": 3 for number in range(1, 7)}, EDGES)
    drawn = choose_trees(trees, wanted, seed=1)
    assert drawn.proof.ties_drawn
    assert felling_list.TIES not in felling_list.proof_in_words(drawn.proof, 30)
    monkeypatch.setattr(felling_model, "TIE_SHARE", 1e-9)
    cut = choose_trees(trees, wanted, seed=1)
    assert (cut.proof.status, cut.proof.ties_drawn) == ("optimal", False)
    assert cut.proof.imbalance == drawn.proof.imbalance
    assert felling_list.proof_in_words(cut.proof, 30).endswith(felling_list.TIES)


def test_classes_take_in_their_lower_bound() -> None:
    found = diameter_classes(pd.Series([199.9, 200.0, 259.9, 260.0, np.nan]), EDGES)
    assert found.tolist() == [
        "under 200 mm",
        "200 to under 260 mm",
        "200 to under 260 mm",
        "260 mm and over",
        None,
    ]
    assert class_labels(()) == ("all diameters",)


def test_nonsense_is_refused() -> None:
    trees = stand(9)
    with pytest.raises(ValueError, match="rising numbers"):
        choose_trees(trees, Wanted({"c1": 1}, (260.0, 200.0)), seed=1)
    with pytest.raises(ValueError, match="without the columns edge"):
        choose_trees(trees.drop(columns="edge"), Wanted({"c1": 1}), seed=1)
    with pytest.raises(ValueError, match="named twice"):
        choose_trees(pd.concat([trees, trees.iloc[:1]]), Wanted({"c1": 1}), seed=1)
    with pytest.raises(ValueError, match="0 or more"):
        choose_trees(trees, Wanted({"c1": -1}), seed=1)
    with pytest.raises(ValueError, match="0 or more"):
        choose_trees(trees, Wanted({}), seed=1)
    with pytest.raises(ValueError, match="expected class, site, block"):
        choose_trees(trees, Wanted({"c1": 1}, weights={"row": 1}), seed=1)
    with pytest.raises(ValueError, match="sites without candidates: Z"):
        choose_trees(trees, Wanted({"c1": 1}, sites=("A", "Z")), seed=1)

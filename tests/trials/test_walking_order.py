"""Walking a site back and forth: order, corners, distances, gaps."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trials.calc.designs import complete_blocks
from trials.calc.field_layout import Ground, lay_out, line_plots
from trials.calc.walking_order import CORNERS, Along, Corner, Walk, plot_walk, tree_walk


def site(rows: int, columns: int) -> pd.DataFrame:
    row, col = np.indices((rows, columns))
    frame = pd.DataFrame({"row": row.ravel() + 1, "col": col.ravel() + 1})
    return frame.assign(tree=frame["row"].astype(str) + "-" + frame["col"].astype(str))


@pytest.mark.parametrize(
    ("corner", "along", "expected"),
    [
        ("top left", "rows", "1-1 1-2 1-3 2-3 2-2 2-1"),
        ("top right", "rows", "1-3 1-2 1-1 2-1 2-2 2-3"),
        ("bottom left", "rows", "2-1 2-2 2-3 1-3 1-2 1-1"),
        ("bottom right", "rows", "2-3 2-2 2-1 1-1 1-2 1-3"),
        ("top left", "columns", "1-1 2-1 2-2 1-2 1-3 2-3"),
        ("bottom right", "columns", "2-3 1-3 1-2 2-2 2-1 1-1"),
    ],
)
def test_from_every_corner(corner: Corner, along: Along, expected: str) -> None:
    assert " ".join(tree_walk(site(2, 3), Walk(corner, along))["tree"]) == expected


@given(st.integers(1, 6), st.integers(1, 6), st.sampled_from(CORNERS), st.sampled_from(["rows", "columns"]))
@settings(max_examples=60, deadline=None)
def test_a_full_site_is_walked_without_a_detour(
    rows: int, columns: int, corner: Corner, along: Along
) -> None:
    """Every step goes to a neighbour: with 1 m spacing n trees take n - 1 metres."""
    walked = tree_walk(site(rows, columns), Walk(corner, along, 1.0, 1.0))
    assert sorted(walked["order"]) == list(range(1, rows * columns + 1))
    assert walked["walked_m"].iloc[-1] == pytest.approx(rows * columns - 1)
    assert (walked["step_m"].iloc[1:] == 1.0).all()


def test_distances_use_both_spacings() -> None:
    trees = pd.DataFrame({"tree": ["a", "b", "c"], "row": [1, 1, 3], "col": [1, 4, 2]})
    walked = tree_walk(trees, Walk(row_spacing_m=2.5, col_spacing_m=2.0))
    assert walked["tree"].tolist() == ["a", "b", "c"]
    assert walked["step_m"].tolist() == pytest.approx([0.0, 6.0, np.hypot(5.0, 4.0)])
    assert walked["walked_m"].iloc[-1] == pytest.approx(6.0 + np.hypot(5.0, 4.0))


def test_an_empty_row_does_not_send_the_crew_back() -> None:
    """Row 2 has no trees: row 3 is begun at the end where row 1 was left."""
    trees = site(3, 3)
    walked = tree_walk(trees[trees["row"] != 2])
    assert walked["tree"].tolist() == ["1-1", "1-2", "1-3", "3-3", "3-2", "3-1"]


def test_each_site_is_a_walk_of_its_own() -> None:
    trees = pd.concat([site(2, 2).assign(site="B"), site(1, 2).assign(site="A")], ignore_index=True)
    walked = tree_walk(trees, Walk(row_spacing_m=1.0, col_spacing_m=1.0))
    assert walked["site"].tolist() == ["B"] * 4 + ["A"] * 2
    assert walked["order"].tolist() == [1, 2, 3, 4, 1, 2]
    assert walked["walked_m"].tolist() == [0.0, 1.0, 2.0, 3.0, 0.0, 1.0]


def test_unknown_spacing_is_not_zero() -> None:
    walked = tree_walk(site(2, 2))
    assert walked["step_m"].iloc[0] == 0.0
    assert walked["step_m"].iloc[1:].isna().all()
    along_only = tree_walk(site(1, 3), Walk(col_spacing_m=2.0))
    assert along_only["walked_m"].tolist() == [0.0, 2.0, 4.0]


def test_plots_are_walked_in_the_order_of_their_numbers() -> None:
    """A layout's own plot numbers are the walk from its first corner, block after block."""
    clones = [f"c{number}" for number in range(12)]
    layout = lay_out(complete_blocks(clones, 2, seed=1, plot_columns=4), Ground("AR", line_plots(3)))
    for _, block in layout.groupby("block"):
        walked = plot_walk(block, Walk(row_spacing_m=3.0, col_spacing_m=2.0))
        assert walked["plot"].tolist() == [str(number) for number in range(1, 13)]
        assert (walked["trees"] == 3).all()
        assert walked["step_m"].iloc[1:].tolist() == [6.0, 6.0, 6.0, 3.0, 6.0, 6.0, 6.0, 3.0, 6.0, 6.0, 6.0]


def test_plots_of_several_rows_from_the_far_corner() -> None:
    layout = lay_out(
        complete_blocks("abcd", 1, seed=1, plot_columns=2), Ground("AR", line_plots(2, along="column"))
    )
    walked = plot_walk(layout, Walk("bottom right"))
    assert walked["plot"].tolist() == ["3", "4", "1", "2"]
    assert walked["row"].tolist() == [3.5, 3.5, 1.5, 1.5]


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="corner 'north'"):
        tree_walk(site(1, 2), Walk("north"))  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="expected rows or columns"):
        tree_walk(site(1, 2), Walk(along="paths"))  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="above 0"):
        tree_walk(site(1, 2), Walk(row_spacing_m=0.0))
    with pytest.raises(ValueError, match="without row or column"):
        tree_walk(site(1, 2).assign(row=[1.0, np.nan]))
    assert len(tree_walk(site(0, 0))) == 0

"""From a design to trees: addresses, serpentine plot numbers, codes, guards."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portal.calc.file_spec import FileKind
from trials.calc.designs import alpha_blocks, complete_blocks, row_column
from trials.calc.efficiency import efficiency
from trials.calc.field_layout import (
    LAYOUT_COLUMNS,
    SINGLE_TREE,
    Codes,
    Ground,
    Guards,
    PlotShape,
    lay_out,
    line_plots,
    without_guards,
)
from trials.columns import LAYOUT

CLONES = tuple(f"HL-{number:02d}" for number in range(1, 25))
SIX = ("a", "b", "c", "d", "e", "f")


def of_trial(layout: pd.DataFrame) -> pd.DataFrame:
    return without_guards(layout, "GUARD")


def test_it_has_the_columns_of_the_layout_file() -> None:
    layout = lay_out(complete_blocks(CLONES, 2, seed=1), Ground("AR"))
    kind: FileKind = LAYOUT
    assert list(layout.columns) == list(LAYOUT_COLUMNS)
    assert [column.name for column in kind.columns if column.required] == list(LAYOUT_COLUMNS)
    assert kind.check is not None
    assert kind.check(layout.assign(_row=range(2, len(layout) + 2)), {}, "layout.csv") == []


@given(
    st.integers(1, 3),
    st.integers(1, 3),
    st.integers(1, 3),
    st.integers(0, 3),
    st.integers(1, 6),
    st.integers(1, 5),
)
@settings(max_examples=50, deadline=None)
def test_every_place_once(
    rows: int, columns: int, blocks_across: int, lines: int, across: int, blocks: int
) -> None:
    """The site is a full rectangle; every clone has its trees in every block; guards only of their clone."""
    design = complete_blocks(SIX, blocks, seed=1, plot_columns=across)
    ground = Ground("AR", PlotShape(rows, columns), blocks_across, Guards("GUARD", lines))
    layout = lay_out(design, ground)
    assert not layout.duplicated(["row", "col"]).any()
    assert len(layout) == layout["row"].max() * layout["col"].max()
    assert not layout["tree"].duplicated().any()
    counts = of_trial(layout).groupby(["block", "plot", "clone"]).size()
    assert (counts == rows * columns).all()
    assert len(counts) == 6 * blocks
    assert set(layout[layout["clone"] == "GUARD"]["block"]) <= {"guard"}


def test_plots_are_numbered_back_and_forth() -> None:
    design = complete_blocks(CLONES, 2, seed=1, plot_columns=6)
    layout = lay_out(design, Ground("AR"))
    first = layout[layout["block"] == "1"].pivot(index="row", columns="col", values="plot").to_numpy()
    assert first[:2].tolist() == [["1", "2", "3", "4", "5", "6"], ["12", "11", "10", "9", "8", "7"]]
    for _, block in layout.groupby("block"):
        steps = (
            block.assign(plot=block["plot"].astype(int)).sort_values("plot")[["row", "col"]].diff().iloc[1:]
        )
        assert (steps.abs().sum(axis=1) == 1).all()


def test_blocks_fill_their_lines_back_and_forth() -> None:
    layout = lay_out(complete_blocks(SIX, 4, seed=1), Ground("AR", blocks_across=2))
    corners = layout.groupby("block")[["row", "col"]].min()
    assert corners.loc[["1", "2", "3", "4"]].to_numpy().tolist() == [[1, 1], [1, 7], [2, 7], [2, 1]]


def test_line_plots_lie_along_row_or_column() -> None:
    for along, high, wide in (("row", 1, 4), ("column", 4, 1)):
        layout = lay_out(complete_blocks(SIX, 1, seed=1), Ground("AR", line_plots(4, along=along)))
        for _, plot in layout.groupby("plot"):
            assert (plot["row"].nunique(), plot["col"].nunique()) == (high, wide)
    assert line_plots(1) == SINGLE_TREE
    with pytest.raises(ValueError, match="expected 'row' or 'column'"):
        line_plots(4, along="slope")


def test_guards_surround_the_site_and_are_not_compared() -> None:
    design = complete_blocks(CLONES[:23], 2, seed=1, plot_columns=5)
    layout = lay_out(design, Ground("AR", guards=Guards("GUARD", 2)))
    guard = layout["clone"] == "GUARD"
    border = layout["row"].isin([1, 2, layout["row"].max() - 1, layout["row"].max()]) | layout["col"].isin(
        [1, 2, layout["col"].max() - 1, layout["col"].max()]
    )
    assert guard[border].all()
    assert int(guard[~border].sum()) == 2 * 2  # 23 plots in lines of 5 leave two places in each block
    counted = efficiency(layout["clone"].tolist(), [layout["block"].tolist()], exclude=["GUARD"])
    assert "GUARD" not in counted.variances.index
    assert counted.average == 1.0
    assert counted.mean_variance == pytest.approx(design.efficiency.mean_variance)


def test_incomplete_blocks_are_carried_as_a_further_column() -> None:
    design = alpha_blocks(CLONES, 4, 3, seed=1, steps=200)
    layout = lay_out(design, Ground("AR", line_plots(4), guards=Guards("GUARD")))
    assert list(layout.columns) == [*LAYOUT_COLUMNS, "incomplete_block"]
    trees = of_trial(layout)
    assert layout[layout["clone"] == "GUARD"]["incomplete_block"].isna().all()
    plots = trees.drop_duplicates(["block", "plot"])
    levels = (plots["block"] + "/" + plots["incomplete_block"].astype(str)).tolist()
    again = efficiency(plots["clone"].tolist(), [levels])
    assert again.average == pytest.approx(design.efficiency.average, rel=1e-12)


def test_rows_and_columns_of_a_row_column_design_are_those_of_the_site() -> None:
    design = row_column(SIX, 3, 4, blocks=2, seed=1, steps=60)
    layout = lay_out(design, Ground("AR"))
    rows = (layout["block"] + "/" + layout["row"].astype(str)).tolist()
    columns = (layout["block"] + "/" + layout["col"].astype(str)).tolist()
    again = efficiency(layout["clone"].tolist(), [rows, columns])
    assert again.average == pytest.approx(design.efficiency.average, rel=1e-12)


def test_codes_follow_the_callers_patterns() -> None:
    codes = Codes(block="R{number}", plot="{block}.{number:02d}", tree="{site}/{plot}/{number}")
    layout = lay_out(complete_blocks(SIX, 2, seed=1), Ground("AR", line_plots(2), codes=codes))
    first = layout.iloc[0]
    assert (first["block"], first["plot"], first["tree"]) == ("R1", "R1.01", "AR/R1.01/1")
    serial = lay_out(complete_blocks(SIX, 1, seed=1), Ground("AR", codes=Codes(tree="T{serial:03d}")))
    assert serial["tree"].tolist() == [f"T{number:03d}" for number in range(1, 7)]
    default = lay_out(complete_blocks(SIX, 1, seed=1), Ground("AR"))
    assert default["tree"].iloc[0] == "AR-01-01"


@pytest.mark.parametrize(
    ("codes", "reason"),
    [
        (Codes(tree="{site}"), "gives 'AR' twice"),
        (Codes(tree="{site.__class__}-{row}-{col}"), "expected only"),
        (Codes(tree="{row!r}{col}"), "expected only"),
        (Codes(tree="{row:9999d}{col}"), "expected only"),
        (Codes(tree="{height}"), "expected only"),
        (Codes(tree="{row"), "tree pattern"),
        (Codes(tree="{}"), "expected only"),
        (Codes(block="B"), "gives 'B' twice"),
        (Codes(plot="P"), "gives a code twice in a block"),
        (Codes(plot="{row}"), "expected only"),
    ],
)
def test_patterns_that_are_refused(codes: Codes, reason: str) -> None:
    with pytest.raises(ValueError, match=reason):
        lay_out(complete_blocks(SIX, 2, seed=1), Ground("AR", codes=codes))


def test_grounds_that_are_refused() -> None:
    design = complete_blocks(SIX, 2, seed=1)
    with pytest.raises(ValueError, match="part of the design"):
        lay_out(design, Ground("AR", guards=Guards("a")))
    with pytest.raises(ValueError, match="expected 0 or more"):
        lay_out(design, Ground("AR", guards=Guards("G", -1)))
    with pytest.raises(ValueError, match="1 x 1 trees or more"):
        lay_out(design, Ground("AR", PlotShape(0, 4)))
    with pytest.raises(ValueError, match="guard block '1' is a block of the design"):
        lay_out(design, Ground("AR", guards=Guards("G", block="1")))


def test_same_seed_same_layout() -> None:
    ground = Ground("AR", line_plots(4), 2, Guards("GUARD", 2))
    one, two = (lay_out(alpha_blocks(CLONES, 4, 3, seed=9, steps=300), ground) for _ in range(2))
    pd.testing.assert_frame_equal(one, two)
    assert np.issubdtype(one["row"].dtype, np.integer)

"""Planned designs: every clone where it should be, reproducible, refused with a reason."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trials.calc.alpha_arrays import DesignRefusedError, array_efficiency, blocks_of, find_array
from trials.calc.designs import Design, alpha_blocks, complete_blocks, design_efficiency, row_column
from trials.calc.efficiency import efficiency
from trials.calc.row_columns import inverse_sum, row_column_bound, search_row_columns

CLONES = tuple(f"HL-{number:02d}" for number in range(1, 25))


def every_clone_once_per_block(design: Design) -> bool:
    counts = design.plots.groupby(["block", "clone"]).size()
    return bool((counts == 1).all()) and len(counts) == design.n_blocks * len(design.clones)


@given(st.integers(2, 30), st.integers(1, 6), st.integers(0, 2**31), st.data())
@settings(max_examples=40, deadline=None)
def test_complete_blocks(n_clones: int, blocks: int, seed: int, data: st.DataObject) -> None:
    clones = [f"c{number}" for number in range(n_clones)]
    across = data.draw(st.integers(1, n_clones))
    design = complete_blocks(clones, blocks, seed=seed, plot_columns=across)
    assert every_clone_once_per_block(design)
    assert design.efficiency.average == 1.0
    assert int(design.plots["grid_col"].max()) == across
    assert not design.plots.duplicated(["block", "grid_row", "grid_col"]).any()


@given(st.sampled_from([(12, 3), (12, 4), (15, 5), (20, 4), (24, 6)]), st.integers(2, 4), st.integers(0, 999))
@settings(max_examples=15, deadline=None)
def test_alpha_blocks(numbers: tuple[int, int], replicates: int, seed: int) -> None:
    n_clones, size = numbers
    clones = [f"c{number}" for number in range(n_clones)]
    design = alpha_blocks(clones, size, replicates, seed=seed, steps=300)
    assert every_clone_once_per_block(design)
    sizes = design.plots.groupby(["block", "incomplete_block"]).size()
    assert (sizes == size).all()
    assert design.efficiency.connected
    assert design.efficiency.upper_bound is not None
    assert design.efficiency.average <= design.efficiency.upper_bound + 1e-9


def test_every_design_is_reproducible_by_its_seed() -> None:
    makers = [
        lambda seed: complete_blocks(CLONES, 3, seed=seed),
        lambda seed: alpha_blocks(CLONES, 4, 3, seed=seed, steps=500),
        lambda seed: row_column(CLONES, 4, 6, blocks=3, seed=seed, steps=600),
    ]
    for make in makers:
        pd.testing.assert_frame_equal(make(5).plots, make(5).plots)
        assert not make(5).plots.equals(make(6).plots)


def test_randomisation_reaches_every_place() -> None:
    """Over 400 seeds the first clone stands about equally often in each of 4 places (chi-square, 3 df)."""
    places = [complete_blocks("abcd", 1, seed=seed).plots["clone"].tolist().index("a") for seed in range(400)]
    counts = np.bincount(places, minlength=4)
    assert ((counts - 100.0) ** 2 / 100.0).sum() < 16.3  # 0.1 % point


def test_incomplete_blocks_lie_in_one_piece() -> None:
    for across in (2, 4, 8, 24):
        plots = alpha_blocks(CLONES, 4, 2, seed=1, plot_columns=across, steps=100).plots
        for _, block in plots.groupby(["block", "incomplete_block"]):
            high = block["grid_row"].nunique()
            wide = block["grid_col"].nunique()
            assert high * wide == 4
            assert np.ptp(block["grid_row"]) == high - 1
            assert np.ptp(block["grid_col"]) == wide - 1


def test_alpha_search_is_as_good_as_looking_at_every_array() -> None:
    """Brute force over all 3^4 arrays of 3 replicates, blocks of 3, 3 blocks (first row and column zero)."""
    best = 0.0
    for entries in np.ndindex(3, 3, 3, 3):
        array = np.zeros((3, 3), dtype=np.int64)
        array[1:, 1:] = np.reshape(entries, (2, 2))
        best = max(best, array_efficiency(array, 3))
    found = find_array(3, 3, 3, meetings=9, rng=np.random.default_rng(0))
    assert found is not None
    assert found.average == pytest.approx(best, rel=1e-12)


@given(st.integers(2, 5), st.integers(2, 5), st.integers(2, 6), st.integers(0, 999))
@settings(max_examples=60, deadline=None)
def test_efficiency_by_frequencies_is_the_efficiency_of_the_blocks(r: int, k: int, s: int, seed: int) -> None:
    array = np.random.default_rng(seed).integers(0, s, (r, k))
    plots = blocks_of(array, s).reshape(-1, k)
    direct = efficiency(plots.ravel().tolist(), [np.repeat(np.arange(len(plots)), k).tolist()])
    assert array_efficiency(array, s) == pytest.approx(direct.average, abs=1e-9)


def test_alpha_designs_asked_for_by_meetings() -> None:
    once = alpha_blocks(CLONES, 4, 3, seed=1, meetings=1)
    assert once.notes == ("alpha(0,1): series III, 4006 generating arrays tried",) or once.notes[
        0
    ].startswith("alpha(0,1)")
    either = alpha_blocks(CLONES, 6, 3, seed=1, steps=500)
    assert either.notes[0].startswith("alpha(0,1,2)")
    assert "some two clones must meet twice" in either.notes[1]
    met = either.plots.merge(either.plots, on=["block", "incomplete_block"])
    pairs = met[met["clone_x"] < met["clone_y"]].groupby(["clone_x", "clone_y"]).size()
    assert int(pairs.max()) == 2


@pytest.mark.parametrize(
    ("clones", "size", "replicates", "reason"),
    [
        (CLONES[:23], 4, 3, "23 clones do not fill incomplete blocks of 4.*prime.*or 24 clones"),
        (CLONES, 5, 3, "expected block sizes 2, 3, 4, 6, 8, 12, or 25 clones"),
        (CLONES, 24, 3, "at least two to a replicate"),
        (CLONES, 1, 3, "do not fill incomplete blocks of 1"),
        (CLONES, 4, 1, "cannot be compared"),
        (CLONES, 8, 7, "7 replicates of 3 blocks some two clones must meet more than 2 times"),
        (("a", "a", "b", "c"), 2, 2, "named twice: a"),
        (("a", " ", "b", "c"), 2, 2, "without a code"),
        (("a",), 2, 2, "expected 2 clones"),
    ],
)
def test_alpha_refusals(clones: tuple[str, ...], size: int, replicates: int, reason: str) -> None:
    with pytest.raises(DesignRefusedError, match=reason):
        alpha_blocks(clones, size, replicates, seed=1, steps=200)


def test_more_alpha_refusals() -> None:
    with pytest.raises(DesignRefusedError, match="block size <= blocks a replicate"):
        alpha_blocks(CLONES, 6, 3, seed=1, meetings=1)
    with pytest.raises(DesignRefusedError, match="none found in which clones meet at most once"):
        alpha_blocks(CLONES, 4, 6, seed=1, meetings=1, steps=300)
    with pytest.raises(DesignRefusedError, match="cut incomplete blocks of 4 plots apart"):
        alpha_blocks(CLONES, 4, 3, seed=1, plot_columns=6)
    with pytest.raises(DesignRefusedError, match="expected 1 to 24"):
        complete_blocks(CLONES, 3, seed=1, plot_columns=25)


@pytest.mark.parametrize(
    ("n_clones", "rows", "columns", "blocks", "expected"),
    [(5, 5, 5, 1, 1.0), (6, 6, 6, 2, 1.0), (7, 3, 7, 1, 7 / 9), (7, 7, 3, 1, 7 / 9), (25, 5, 5, 3, 2 / 3)],
)
def test_row_column_designs_of_known_efficiency(
    n_clones: int, rows: int, columns: int, blocks: int, expected: float
) -> None:
    """Latin squares 1, Youden squares 7/9, lattice squares with every pair once in a line (Yates 1937): all
    roots lose 1/3, so 2/3 (computed)."""
    clones = [f"c{number}" for number in range(n_clones)]
    design = row_column(clones, rows, columns, blocks=blocks, seed=3)
    assert design.efficiency.average == pytest.approx(expected, rel=1e-9)
    assert design.efficiency.upper_bound == pytest.approx(expected, rel=1e-9)


def test_row_column_search_beats_random_designs_and_keeps_its_bound() -> None:
    """Better than the best of 200 random ones, every clone once in each block, within 5 % of the bound."""
    design = row_column(CLONES, 4, 6, blocks=6, seed=1)
    assert every_clone_once_per_block(design)
    rng = np.random.default_rng(0)
    drawn = [np.array([rng.permutation(24).reshape(4, 6) for _ in range(6)]) for _ in range(200)]
    best = min(inverse_sum(array, 24) for array in drawn)
    assert design.efficiency.average > (24 - 1) / 6 / best
    assert design.efficiency.upper_bound is not None
    assert 0.95 * design.efficiency.upper_bound < design.efficiency.average < design.efficiency.upper_bound


@given(
    st.sampled_from([(6, 2, 3, 4), (6, 3, 4, 2), (8, 4, 4, 2), (12, 3, 4, 3), (4, 4, 4, 1)]),
    st.integers(0, 99),
)
@settings(max_examples=20, deadline=None)
def test_row_column_counts_agree_with_the_information_matrix(
    numbers: tuple[int, int, int, int], seed: int
) -> None:
    n_clones, rows, columns, blocks = numbers
    found = search_row_columns(*numbers, rng=np.random.default_rng(seed), steps=60)
    block, row, column = np.indices(found.array.shape)
    direct = efficiency(
        found.array.ravel().tolist(),
        [(block * rows + row).ravel().tolist(), (block * columns + column).ravel().tolist()],
    )
    replication = rows * columns * blocks / n_clones
    if direct.connected:
        assert (n_clones - 1) / replication / found.inverse_sum == pytest.approx(direct.average, rel=1e-6)
    assert direct.average <= row_column_bound(*numbers).value + 1e-9
    assert (np.bincount(found.array.ravel()) == replication).all()


@pytest.mark.parametrize(
    ("rows", "columns", "blocks", "reason"),
    [
        (5, 5, 1, "25 plots do not hold 24 clones equally often"),
        (1, 24, 3, "expected 2 or more of each"),
        (4, 6, 1, "leave 15 comparisons free of rows and columns, 24 clones need 23"),
        (4, 6, 0, "1 block or more"),
    ],
)
def test_row_column_refusals(rows: int, columns: int, blocks: int, reason: str) -> None:
    with pytest.raises(DesignRefusedError, match=reason):
        row_column(CLONES, rows, columns, blocks=blocks, seed=1)


def test_efficiency_of_plots_from_elsewhere() -> None:
    """Plots planned by somebody else, guards among them: block alone, then columns within blocks."""
    plots = pd.DataFrame(
        {
            "block": ["1"] * 5 + ["2"] * 5,
            "grid_col": [1, 1, 2, 2, 3] * 2,
            "clone": ["a", "b", "c", "d", "guard", "a", "c", "b", "d", "guard"],
        }
    )
    assert design_efficiency(plots, (), exclude=["guard"]).average == 1.0
    within = design_efficiency(plots, ("grid_col",), exclude=["guard"])
    assert within.average == pytest.approx(3 / (1 + 2 * 2))  # simple lattice of four: roots 1, 1/2, 1/2

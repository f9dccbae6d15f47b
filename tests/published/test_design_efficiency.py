"""Efficiency of designs against closed forms and published values.

Sources, with their marks:
- balanced incomplete blocks: E = v(k - 1)/(k(v - 1)), a theorem (John and Williams 1995; from memory, and the
  sum of the roots proves it);
- square lattices: E = (k + 1)(r - 1)/((k + 1)(r - 1) + r), Yates 1936 and Bailey, Cameron, Soicher and Williams
  2020 (J. Agric. Biol. Environ. Stat. 25:473-499); formula from memory, it follows from the roots (r - 1)/r,
  r(k - 1) times, and 1;
- dual of the lines of the affine plane of order 3: A = 33/41, found in the manual of the GAP package DESIGN,
  which computes in rational numbers;
- bound of Patterson and Williams 1976 for 30 clones in 2 x 10 blocks of 3: 0.6170213, found as the printed
  output of a statistical package's reference page;
- oats in an alpha(0,1) design, 24 varieties in 3 x 6 blocks of 4: John and Williams 1995, page 146, found in
  the open R data collection agridat (john.alpha), with the intra-block variety effects printed there.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from trials.calc.alpha_arrays import (
    array_efficiency,
    blocks_of,
    find_array,
    meeting_counts,
    published_array,
)
from trials.calc.efficiency import (
    Efficiency,
    efficiency,
    information_matrix,
    patterson_williams_bound,
    resolvable_bound,
)

OATS = """
R1 B1 11 4.1172 04 4.4461 05 5.8757 22 4.5784
R1 B2 21 4.6540 10 4.1736 20 4.0141 02 4.3350
R1 B3 23 4.2323 14 4.7572 16 4.4906 18 3.9737
R1 B4 13 4.2530 03 3.3420 19 4.7269 08 4.9989
R1 B5 17 4.7876 15 5.0902 07 4.1505 01 5.1202
R1 B6 06 4.7085 12 5.2560 24 4.9577 09 3.3986
R2 B1 08 3.9926 20 3.6056 14 4.5294 04 4.3599
R2 B2 24 3.9039 15 4.9114 03 3.7999 23 4.3042
R2 B3 12 5.3127 11 5.1163 21 5.3802 17 5.0744
R2 B4 05 5.1202 09 4.2955 10 4.9057 01 5.7161
R2 B5 02 5.1566 18 5.0988 13 5.4840 22 5.0969
R2 B6 19 5.3148 07 4.6297 06 5.1751 16 5.3024
R3 B1 11 3.9205 01 4.6512 14 4.3887 19 4.5552
R3 B2 02 4.0510 15 4.6783 09 3.1407 08 3.9821
R3 B3 17 4.3234 18 4.2486 04 4.3960 06 4.2474
R3 B4 12 4.1746 13 4.7512 10 4.0875 23 3.8721
R3 B5 21 4.4130 22 4.2397 16 4.3852 24 3.5655
R3 B6 03 2.8873 05 4.1972 20 3.7349 07 3.6096
"""
OATS_INTRA_BLOCK = [
    5.268742,
    4.665389,
    3.803790,
    4.728175,
    5.225708,
    4.618234,
]  # varieties 1 to 6, as printed


def of_blocks(blocks: list[list[int]]) -> Efficiency:
    clones = [clone for block in blocks for clone in block]
    return efficiency(clones, [[number for number, block in enumerate(blocks) for _ in block]])


def cyclic(v: int, *starts: tuple[int, ...]) -> list[list[int]]:
    return [[(clone + step) % v for clone in start] for start in starts for step in range(v)]


@pytest.mark.parametrize(
    ("v", "k", "blocks"),
    [
        (7, 3, cyclic(7, (0, 1, 3))),
        (13, 4, cyclic(13, (0, 1, 3, 9))),
        (11, 5, cyclic(11, (1, 3, 4, 5, 9))),
        (13, 3, cyclic(13, (0, 1, 4), (0, 2, 7))),
        (6, 2, [list(pair) for pair in itertools.combinations(range(6), 2)]),
        (6, 4, [list(four) for four in itertools.combinations(range(6), 4)]),
    ],
)
def test_balanced_incomplete_blocks(v: int, k: int, blocks: list[list[int]]) -> None:
    """v = 7, k = 3 gives 7/9; every difference has the same variance."""
    found = of_blocks(blocks)
    assert found.average == pytest.approx(v * (k - 1) / (k * (v - 1)), rel=1e-12)
    assert found.min_variance == pytest.approx(found.max_variance, rel=1e-12)
    r = len(blocks) * k / v
    assert found.mean_variance == pytest.approx(2 / (r * found.average), rel=1e-12)


@pytest.mark.parametrize(
    ("k", "r"), [(3, 2), (3, 3), (5, 2), (5, 3), (5, 4), (5, 5), (7, 2), (7, 4), (7, 7), (11, 3)]
)
def test_square_lattices(k: int, r: int) -> None:
    array, _ = published_array(r, k, k) or (None, "")
    assert array is not None
    found = of_blocks(blocks_of(array, k).reshape(-1, k).tolist())
    expected = (k + 1) * (r - 1) / ((k + 1) * (r - 1) + r)
    assert found.average == pytest.approx(expected, rel=1e-12)
    assert array_efficiency(array, k) == pytest.approx(expected, rel=1e-12)
    assert resolvable_bound(k * k, k, r).value == pytest.approx(expected, rel=1e-12)
    assert patterson_williams_bound(k * k, k, r) == pytest.approx(expected, rel=1e-12)


def test_simple_triple_and_balanced_lattice_of_nine() -> None:
    """Lattices of nine built by hand from rows, columns and both diagonals: 2/3, 8/11 and (balanced, r = 4) 3/4."""
    square = np.arange(9).reshape(3, 3)
    line = np.add.outer(np.arange(3), np.arange(3)) % 3
    other = np.subtract.outer(np.arange(3), np.arange(3)) % 3
    classes = [
        square.tolist(),
        square.T.tolist(),
        [square[line == i].tolist() for i in range(3)],
        [square[other == i].tolist() for i in range(3)],
    ]
    averages = [of_blocks([block for one in classes[:r] for block in one]).average for r in (2, 3, 4)]
    assert averages == pytest.approx([2 / 3, 8 / 11, 3 / 4], rel=1e-12)


def test_dual_of_the_affine_plane_of_order_three() -> None:
    """12 clones in 9 blocks of 4: 33/41 = 0.804878, all losing roots 3/4."""
    lines = [
        [3 * x + (slope * x + start) % 3 for x in range(3)] for slope in range(3) for start in range(3)
    ] + [[3 * x + y for y in range(3)] for x in range(3)]
    dual = [[number for number, line in enumerate(lines) if point in line] for point in range(9)]
    found = of_blocks(dual)
    assert found.average == pytest.approx(33 / 41, rel=1e-12)
    assert found.canonical == pytest.approx([0.75] * 8 + [1.0] * 3, rel=1e-12)


def test_patterson_williams_bound() -> None:
    """Printed as 0.6170213; the sharper bound is below it and no alpha design comes above that."""
    assert round(patterson_williams_bound(30, 3, 2), 7) == 0.6170213
    sharper = resolvable_bound(30, 3, 2).value
    assert sharper < patterson_williams_bound(30, 3, 2)
    array, _ = published_array(2, 3, 10) or (None, "")
    assert array is not None
    assert array_efficiency(array, 10) < sharper


def test_bounds_hold_for_thousands_of_arrays() -> None:
    rng = np.random.default_rng(4)
    for _ in range(3000):
        r, k, s = rng.integers(2, 6), rng.integers(2, 6), rng.integers(2, 7)
        array = rng.integers(0, s, (r, k))
        assert array_efficiency(array, int(s)) <= resolvable_bound(int(k * s), int(k), int(r)).value + 1e-12


@pytest.mark.parametrize("s", range(3, 20))
def test_published_series_are_alpha_zero_one(s: int) -> None:
    """Patterson and Williams 1976, series I to IV, with the conditions printed in a statistical package's
    reference page (found): clones meet at most once, for every block size allowed."""
    made = []
    for r in (2, 3, 4):
        for k in range(2, s + 1):
            found = published_array(r, k, s)
            if found is not None:
                assert int(meeting_counts(found[0], s).max()) == 1
                made.append((r, k))
    assert {(2, k) for k in range(2, s + 1)} <= set(made)
    assert {(3, k) for k in range(2, s + 1 - (s % 2 == 0))} <= set(made)
    if s % 2 and s % 3:
        assert {(4, k) for k in range(2, s + 1)} <= set(made)


def test_blocks_of_an_array() -> None:
    """The construction worked by hand (computed): s = 3, rows (0, 0) and (0, 1)."""
    assert blocks_of(np.array([[0, 0], [0, 1]]), 3).tolist() == [
        [[0, 3], [1, 4], [2, 5]],
        [[0, 4], [1, 5], [2, 3]],
    ]


def oats() -> tuple[list[int], list[str], list[str], list[float]]:
    clones, blocks, replicates, yields = [], [], [], []
    for line in OATS.strip().splitlines():
        replicate, block, *plots = line.split()
        for clone, value in zip(plots[::2], plots[1::2], strict=True):
            clones.append(int(clone))
            blocks.append(replicate + block)
            replicates.append(replicate)
            yields.append(float(value))
    return clones, blocks, replicates, yields


def test_published_intra_block_effects_follow_from_the_information_matrix() -> None:
    """Solving C t = Q gives the printed intra-block differences of varieties 1 to 6 (printed to 1e-6)."""
    clones, blocks, _, yields = oats()
    y = np.array(yields)
    block_mean = {block: y[[b == block for b in blocks]].mean() for block in blocks}
    adjusted = y - np.array([block_mean[block] for block in blocks])
    totals = np.array([adjusted[np.array(clones) == clone].sum() for clone in range(1, 25)])
    effects = np.linalg.pinv(information_matrix(clones, [blocks]).to_numpy()) @ totals
    printed = np.array(OATS_INTRA_BLOCK)
    assert effects[:6] - effects[0] == pytest.approx(printed - printed[0], abs=3e-6)


def test_the_published_oats_design_is_reproduced() -> None:
    """The design that was planted is alpha(0,1) and has the roots, one by one, of our array for the same
    numbers (24 clones, 3 x 6 blocks of 4: series III), which our search does not improve: 0.7264882."""
    clones, blocks, replicates, _ = oats()
    planted = efficiency(clones, [replicates, blocks])
    together = information_matrix(clones, [blocks]).to_numpy()
    assert np.isin(np.round(-4 * together[~np.eye(24, dtype=bool)]), [0, 1]).all()
    ours = find_array(3, 4, 6, meetings=1, rng=np.random.default_rng(1))
    assert ours is not None
    assert ours.average == pytest.approx(planted.average, rel=1e-12)
    assert ours.average < resolvable_bound(24, 4, 3).value
    roots = of_blocks(blocks_of(ours.array, 6).reshape(-1, 4).tolist()).canonical
    assert roots == pytest.approx(planted.canonical, rel=1e-9)


def test_latin_square_loses_nothing() -> None:
    square = np.add.outer(np.arange(6), np.arange(6)) % 6
    rows, columns = np.indices((6, 6))
    found = efficiency(square.ravel().tolist(), [rows.ravel().tolist(), columns.ravel().tolist()])
    assert found.average == 1.0
    assert found.min_variance == pytest.approx(2 / 6, rel=1e-12)
    assert found.max_variance == pytest.approx(2 / 6, rel=1e-12)


def test_youden_square_keeps_the_efficiency_of_its_blocks() -> None:
    """Rows are complete, so that only the columns cost: 7/9 for seven clones in 3 x 7 (Youden 1937)."""
    array = np.array(cyclic(7, (0, 1, 3))).T
    rows, columns = np.indices(array.shape)
    found = efficiency(array.ravel().tolist(), [rows.ravel().tolist(), columns.ravel().tolist()])
    assert found.average == pytest.approx(7 / 9, rel=1e-12)


def test_variances_against_least_squares() -> None:
    """Slow obvious version: scipy's covariance of treatment differences from the whole model matrix."""
    rng = np.random.default_rng(2)
    clones = rng.permutation(np.tile(np.arange(5), 4))
    rows, columns = np.repeat(np.arange(4), 5), np.tile(np.arange(5), 4)
    model = np.hstack([np.eye(5)[clones], np.eye(4)[rows], np.eye(5)[columns]])
    inverse = np.linalg.pinv(model.T @ model)
    found = efficiency(clones.tolist(), [rows.tolist(), columns.tolist()])
    for one, other in itertools.combinations(range(5), 2):
        contrast = np.zeros(model.shape[1])
        contrast[one], contrast[other] = 1.0, -1.0
        assert found.variances.iloc[one, other] == pytest.approx(contrast @ inverse @ contrast, rel=1e-9)


def test_a_disconnected_design_is_named() -> None:
    found = of_blocks([[1, 2], [1, 2], [3, 4], [4, 3]])
    assert not found.connected
    assert found.groups == (("1", "2"), ("3", "4"))
    assert found.average == 0.0
    assert found.max_variance == np.inf
    assert found.variances.loc["1", "2"] == pytest.approx(1.0)


def test_guards_are_never_counted() -> None:
    clones = ["a", "b", "g", "b", "a", "g", "g", "a", "b"]
    blocks = [1, 1, 1, 2, 2, 2, 3, 3, 3]
    found = efficiency(clones, [blocks], exclude=["g"])
    assert found.average == 1.0
    assert list(found.variances.index) == ["a", "b"]
    assert found.mean_variance == pytest.approx(2 / 3)


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="one level a plot"):
        efficiency(["a", "b"], [[1]])
    with pytest.raises(ValueError, match="without its clone"):
        efficiency(["a", None], [[1, 1]])
    with pytest.raises(ValueError, match="k dividing v"):
        resolvable_bound(24, 5, 3)
    assert resolvable_bound(24, 4, 1).value == 0.0

"""Board ends spoilt mildly and harshly are read, and nothing wrong is accepted: a small seeded run.

The large one is `benchmarks/labels.py`.
"""

import numpy as np
import pytest

from portal.codes.reading import read_picture
from sawing.calc.label_lattice import Lattice, Slice, fewest_at_any_skew, fewest_whole
from sawing.labels.reading import is_label, labels_in_picture
from tests.sawing.spoilt_slices import HARSH, MILD, RUINED, Spoiling, cut

CLEAN = Spoiling("clean", 0.02, 1, 0.0, 0.0)


@pytest.mark.parametrize(
    ("spoiling", "pixels_per_mm", "ends", "missed"), [(MILD, 4, 12, 0), (HARSH, 6, 8, 0), (HARSH, 4, 8, 1)]
)
def test_at_least_one_code_of_a_board_is_read(
    spoiling: Spoiling, pixels_per_mm: float, ends: int, missed: int
) -> None:
    rng = np.random.default_rng(7064)
    read = 0
    for _ in range(ends):
        board = cut(rng, spoiling, pixels_per_mm=pixels_per_mm)
        found = labels_in_picture(board.picture)
        assert {code.text for code, _ in found} <= board.there
        read += bool(found)
    assert read >= ends - missed


def test_ruined_boards_are_not_misread() -> None:
    rng = np.random.default_rng(1)
    for _ in range(5):
        board = cut(rng, RUINED, pixels_per_mm=5)
        assert {code.text for code, _ in labels_in_picture(board.picture)} <= board.there


def test_simulated_boards_keep_what_the_lattice_promises() -> None:
    """The boards are cut by code of the test; none keeps fewer whole codes than the computed guarantee."""
    rng = np.random.default_rng(2)
    promised = fewest_at_any_skew(Lattice(7), Slice(25, 100, 1))
    for skew in (None, None, None, 0.0, 0.0, 45.0):
        board = cut(rng, HARSH, pixels_per_mm=1, skew_deg=skew)
        assert len(board.whole) >= promised
        if skew is not None:
            assert len(board.whole) >= fewest_whole(Lattice(7), Slice(25, 100, 1), skew)


def test_a_clean_board_gives_most_of_its_codes() -> None:
    board = cut(np.random.default_rng(3), CLEAN, pixels_per_mm=8, skew_deg=2.0)
    found = {c.text for c in read_picture(board.picture, accept=is_label)}
    assert found <= board.there
    assert len(found & board.whole) >= 0.8 * len(board.whole)


@pytest.mark.parametrize("text", ["", "1646683859", "164 668 385 8", "1646683858 ", "AR-12-07", "0000000006"])
def test_texts_that_are_no_labels(text: str) -> None:
    assert not is_label(text)


def test_a_label_is_one() -> None:
    assert is_label("1646683858")

"""The picture of a flitch: every board and dock is in it, in words too, and nothing unsafe."""

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from portal.calc.svg import NARROW, WIDE
from sawing.calc.dock_flitch import Flitch
from sawing.calc.dock_optimum import dock
from sawing.calc.dock_rules import Rules
from sawing.calc.picture_flitch import CutBoard, flitch_picture

RULES = Rules(widths_mm=(100.0, 150.0, 175.0), grid_step_mm=100.0)
TAPER = Flitch("<3>", 25.0, np.array([0.0, 4000.0]), np.zeros(2), np.array([205.0, 155.0]))


def drawn(flitch: Flitch = TAPER, rules: Rules = RULES, **more: object) -> ET.Element:
    svg = flitch_picture(flitch, dock(flitch, rules), rules, name="f", title="A <flitch>", **more)  # type: ignore[arg-type]
    return ET.fromstring(svg)


def having(root: ET.Element, css: str) -> list[ET.Element]:
    return [e for e in root.iter() if css in (e.get("class") or "").split()]


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_boards_and_dock_are_drawn_inside_the_picture(width: int) -> None:
    root = drawn(width=width)
    assert len(having(root, "flitch-board")) == 2
    assert len(having(root, "dock-line")) == 1
    _, _, wide, high = map(float, root.get("viewBox", "").split())
    assert wide == width
    for board in having(root, "flitch-board"):
        numbers = board.get("d", "").strip("MZ").replace("L", " ").split()
        x, y = [float(n) for n in numbers[::2]], [float(n) for n in numbers[1::2]]
        assert min(x) >= 0
        assert max(x) <= width
        assert min(y) >= 0
        assert max(y) <= high


def test_boards_keep_their_proportions_along_the_flitch() -> None:
    """Boards of 2000 and 1900 mm: their drawn lengths are as 20 to 19."""
    root = drawn()
    lengths = []
    for board in having(root, "flitch-board"):
        x = [float(n) for n in board.get("d", "").strip("MZ").replace("L", " ").split()[::2]]
        lengths.append(max(x) - min(x))
    planned = [b.length_mm for b in dock(TAPER, RULES).boards]
    assert lengths[0] / lengths[1] == pytest.approx(planned[0] / planned[1], rel=0.005)


def test_cut_boards_stand_below_from_their_ends() -> None:
    cut = [CutBoard("B1", 1500, 150, "butt", "/boards/1"), CutBoard("B2", 1500, 100, "top")]
    root = drawn(cut=cut)
    assert len(having(root, "flitch-board")) == 4
    assert "B2: 1500 by 100 mm" in "".join(root.itertext())
    assert any(e.get("href") == "/boards/1" for e in root.iter())


def test_no_board_says_so() -> None:
    thin = Flitch("1", 25.0, np.array([0.0, 4000.0]), np.zeros(2), np.array([50.0, 40.0]))
    root = drawn(thin)
    assert having(root, "flitch-board") == []
    assert "No board fits." in "".join(root.itertext())

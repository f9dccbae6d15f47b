"""Dock and edge against flitches whose best plan has a closed form.

Expected values: computed by hand from plane geometry (widest rectangle in a trapezium, sagitta of an arc c²/8R and
of its parts s(l/c)², steps, slanted strips); no published table of best docking positions was found. Boards of
100 to 300 mm in steps of 25, length module 100, shortest 1000, crosscut kerf 4, grid 100 mm unless said. Values
are areas in mm²: volume over thickness.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sawing.calc.dock_flitch import Flitch
from sawing.calc.dock_optimum import dock
from sawing.calc.dock_results import Docked
from sawing.calc.dock_rules import Price, Rules

THICKNESS = 25.0
WIDTHS = tuple(float(width) for width in range(100, 301, 25))


def rules(**changed: Any) -> Rules:
    return Rules(**{"widths_mm": WIDTHS, "grid_step_mm": 100.0, **changed})


def flitch(x: Any, left: Any, right: Any, **wide: Any) -> Flitch:
    return Flitch(
        "F", THICKNESS, np.asarray(x, float), np.asarray(left, float), np.asarray(right, float), **wide
    )


def strip(length: float, *widths: tuple[float, float]) -> Flitch:
    """Left edge straight, width changing linearly between the places given."""
    x = [place for place, _ in widths] if widths[0] else []
    return flitch(x, np.zeros(len(x)), [width for _, width in widths])


def arc(chord: float, sagitta: float, width: float) -> Flitch:
    x = np.union1d(np.linspace(0, chord, 401), [chord / 2])
    bow = sagitta * (1 - (2 * x / chord - 1) ** 2)
    return flitch(x, bow, bow + width)


def area(docked: Docked, docks: int | None = None) -> float:
    """Value over thickness, mm²."""
    worth = docked.worth if docks is None else docked.worth_by_docks[docks]
    return worth / 10_000 / THICKNESS


def test_parallel_flitch_needs_no_dock() -> None:
    found = dock(flitch([0, 4000], [0, 0], [155, 155]), rules())
    assert area(found, 0) == area(found, 1) == 600_000
    assert [b.widths_mm for b in found.boards] == [(150.0,)]
    assert found.bound_area == pytest.approx(155 * 4000 * THICKNESS / 1e9, rel=1e-12)


def test_taper_is_docked_at_half_length() -> None:
    """200 to 150 mm over 4 m: 150 x 4000 whole; 175 x 2000 + 150 x 1900 docked."""
    found = dock(flitch([0, 4000], [0, 0], [200, 150]), rules())
    assert area(found, 0) == 600_000
    assert area(found, 1) == 175 * 2000 + 150 * 1900 == 635_000


def test_arc_straightens_by_docking() -> None:
    """Chord 4000, sagitta 40, width 190: W = 190 - 40 whole; halves have a quarter of the sagitta, W = 180."""
    found = dock(arc(4000, 40, 190), rules())
    assert area(found, 0) == 600_000
    assert area(found, 1) == 175 * (2000 + 1900) == 682_500
    half = dock(arc(4000, 40, 190), rules(min_length_mm=2000.0, max_length_mm=2000.0))
    assert [b.available_mm for b in half.boards[:1]] == pytest.approx([180], abs=1e-9)


def test_cuts_from_both_ends() -> None:
    """4010 mm long: 2000 + 2000 needs positions counted from the butt and from the top."""
    assert area(dock(arc(4010, 40, 190), rules())) == 175 * (2000 + 2000) == 700_000


def test_step_in_width() -> None:
    stepped = flitch([0, 1500, 1510, 4000], [0] * 4, [250, 250, 150, 150])
    assert area(dock(stepped, rules())) == 250 * 1500 + 150 * 2400 == 735_000


def test_a_tie_goes_to_fewer_boards() -> None:
    """200 x 1000 and 100 x 2000 are worth the same to the last digit: one board, no dock."""
    found = dock(flitch([0, 1000, 1010, 2000], [0] * 4, [200, 200, 100, 100]), rules())
    assert area(found, 0) == area(found, 1) == 200_000
    assert len(found.boards) == 1


@pytest.mark.parametrize(
    ("length", "width", "status"), [(950, 300, "too short"), (4000, 95, "no board fits")]
)
def test_nothing_to_be_had(length: float, width: float, status: str) -> None:
    found = dock(flitch([0, length], [0, 0], [width, width]), rules())
    assert (area(found), found.boards, found.status) == (0, (), status)
    assert found.to_dict()["value_by_docks"] == {"0": 0.0, "1": 0.0}


def test_crossing_edges_are_not_spanned() -> None:
    """Edges cross within 10 mm of x = 2000: two boards of 1900."""
    crossing = flitch([0, 1990, 2000, 2010, 4000], [0, 0, 180, 0, 0], [150, 150, -30, 150, 150])
    assert area(dock(crossing, rules(grid_step_mm=10.0))) == 150 * (1900 + 1900) == 570_000


@pytest.mark.parametrize(
    ("changed", "docks", "expected"),
    [
        ({"max_skew": 0.05}, 1, 150 * 4000),
        ({"skew": False}, 1, 125 * 3900),
        ({"max_skew": 0.0}, 1, 125 * 3900),
        ({"max_skew": 0.004, "max_docks": 0}, 0, 125 * 4000),
    ],
)
def test_slanted_strip(changed: dict[str, Any], docks: int, expected: float) -> None:
    """150 mm wide, both edges rising 10 mm/m: whole with a skewed fence, in parts with a straight one."""
    slanted = flitch([0, 4000], [0, 40], [150, 190])
    assert area(dock(slanted, rules(**changed)), docks) == expected


def test_slope_bound_sets_the_width() -> None:
    """At most 4 mm/m along edges that rise 10 mm/m: W = 150 - (0.010 - 0.004) 4000 = 126."""
    slanted = flitch([0, 4000], [0, 40], [150, 190])
    found = dock(slanted, rules(max_skew=0.004, max_docks=0))
    assert found.boards[0].available_mm == pytest.approx(126, abs=1e-9)
    assert found.boards[0].slope == pytest.approx(0.004, abs=1e-15)


def test_parallel_boards() -> None:
    """Two of 125 and a kerf of 4 need 254 of 255."""
    wide = flitch([0, 4000], [0, 0], [255, 255])
    assert area(dock(wide, rules(boards_per_piece=2))) == 1_000_000
    narrow = dock(wide, rules(boards_per_piece=2, widths_mm=(100.0, 125.0)))
    assert area(narrow) == 1_000_000
    assert narrow.boards[0].widths_mm == (125.0, 125.0)
    assert area(dock(wide, rules(boards_per_piece=2, widths_mm=(125.0,), edger_kerf_mm=5.1))) == 500_000


@pytest.mark.parametrize(
    ("width_share", "edge_share", "expected"), [(0.05, 1.0, 150 * 4000), (1.0, 0.25, 125 * 4000)]
)
def test_wane(width_share: float, edge_share: float, expected: float) -> None:
    """Narrow face 0 to 140, wide face -10 to 150. 5 % of 150 at each edge: 140 + 15 holds 150. A quarter of the
    thickness: 140 + 5 holds 125. (A width share above one half is refused in rules files; here it only switches
    that limit off.)"""
    waney = flitch(
        [0, 4000],
        [0, 0],
        [140, 140],
        left_wide_mm=np.array([-10.0, -10.0]),
        right_wide_mm=np.array([150.0, 150.0]),
    )
    found = dock(waney, rules(wane_width_share=width_share, wane_edge_share=edge_share))
    assert area(found) == expected


def test_prices_by_width() -> None:
    """Price 3 for 200 and wider: 3 x 200 x 2000 + 150 x 1900."""
    wide_then_narrow = flitch([0, 2000, 2001, 4000], [0] * 4, [200, 200, 150, 150])
    prices = (Price(1.0, width_to=200.0), Price(3.0, width_from=200.0))
    assert area(dock(wide_then_narrow, rules(prices=prices))) == 3 * 200 * 2000 + 150 * 1900 == 1_485_000


def test_every_board_keeps_an_end() -> None:
    """Width 100 at both ends and 300 in the middle: the middle board has no coded end, so it may not be cut."""
    barrel = flitch([0, 1000, 1001, 2999, 3000, 4000], [0] * 6, [100, 100, 300, 300, 100, 100])
    free = dock(barrel, rules(max_docks=2, grid_step_mm=25.0))
    kept = dock(barrel, rules(max_docks=2, keep_end="each"))
    assert area(free) == 300 * 1900 + 2 * 100 * 1000
    assert area(kept) == 100 * 4000
    docked = dock(barrel, rules(max_docks=1, keep_end="each", widths_mm=(100.0, 300.0)))
    assert all(b.start_mm == 0 or b.end_mm == 4000 for b in docked.boards)

"""Bending formulae against values computed apart from this code.

EN 408 (found, by transcription; local MOE from memory), ISO 13061-3/-4 (from memory), EN 384:2016 (found): 45 x 145 mm
on 2610 mm and 20 x 20 mm on 280 mm, values computed apart from this code
(fixtures/reference/05_acoustic_bending.csv for the formulae).
"""

from __future__ import annotations

import math

import pytest

from grading.follow_on.calc import bending as be


def test_four_point_bending() -> None:
    assert be.strength_four_point(9000, 870, 45, 145) == pytest.approx(24.8276, abs=6e-5)
    plain = be.moe_global(400, 2610, 870, 45, 145)
    assert plain == pytest.approx(11040, abs=0.6)
    assert be.moe_global(400, 2610, 870, 45, 145, 650) == pytest.approx(11612, abs=0.6)
    assert be.moe_global(400, 2610, 870, 45, 145, 11552 / 16) == pytest.approx(11552, abs=1)
    assert be.moe_local(3000 / 0.70, 870, 725, 45, 145) == pytest.approx(10714.3, abs=0.06)


def test_small_clears() -> None:
    assert be.small_clear(1600, 300, 280, 20, 20) == pytest.approx((84, 10290))


def test_moisture_rules_give_different_answers() -> None:
    assert be.moe_at_12_en384(10, 16) == pytest.approx(10.40)
    assert be.at_12_iso13061(10, 16, strength=False) == pytest.approx(10.80)
    assert be.at_12_iso13061(40, 16, strength=True) == pytest.approx(46.40)
    assert be.moe_at_12_en384(10, math.nan) is None


def test_impossible_set_ups_are_refused() -> None:
    with pytest.raises(ValueError, match="half the span"):
        be.moe_global(400, 1000, 600, 45, 145)
    with pytest.raises(ValueError, match="shear"):
        be.moe_global(400, 2610, 870, 45, 145, 1)
    with pytest.raises(ValueError, match="depth_mm above 0"):
        be.strength_four_point(9000, 870, 45, 0)

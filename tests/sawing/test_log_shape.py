"""Shape and heartwood of logs, the preferred formula, and heartwood on the ends of boards."""

import math

import pandas as pd
import pytest

from sawing.calc.heart_in_board import heart_share
from sawing.calc.log_shape import log_shapes, preferred_formula, volumes_compared

LOG = {
    "log": "A", "tree": "T", "bottom_m": 0.3, "length_m": 6.0, "sed1_mm": 300.0, "led1_mm": 360.0, "sed2_mm": None,
    "led2_mm": None, "mid1_mm": None, "mid2_mm": None, "centroid_mm": None, "sections_mm": None,
    "heart_sed_mm": 180.0, "heart_led_mm": 240.0, "sweep_mm": 45.0, "bark": "under",
}  # fmt: skip


def one(**changes: object) -> pd.DataFrame:
    frame = pd.DataFrame([LOG | changes])
    numbers = [c for c in frame if c not in ("log", "tree", "bark", "sections_mm")]
    return frame.astype(dict.fromkeys(numbers, float))


def test_shape_of_the_reference_log() -> None:
    """fixtures/reference/02_log_volume.csv, L26 to L30: taper 10 mm/m, sweep 0.15, heartwood 0.36, 0.444444,
    0.406593 (computed: areas of circles, ratio of cone frusta)."""
    shape = log_shapes(one()).iloc[0]
    assert shape["taper_mm_per_m"] == pytest.approx(10)
    assert (shape["sweep_share"], shape["sweep_mm_per_m"]) == pytest.approx((0.15, 7.5))
    assert shape["heart_share_small"] == pytest.approx(0.36)
    assert shape["heart_share_large"] == pytest.approx(0.44444444, rel=1e-7)
    assert shape["heart_share_volume"] == pytest.approx(0.40659341, rel=1e-7)
    assert math.isnan(shape["ovality_small"])


def test_over_bark_the_heartwood_is_a_share_of_the_wood_alone() -> None:
    """k = 0.9 of 400/333.33 mm over bark is 360/300 mm under bark: the same log."""
    over = one(bark="over", sed1_mm=300 / 0.9, led1_mm=360 / 0.9)
    assert log_shapes(over, 0.9).iloc[0]["heart_share_volume"] == pytest.approx(0.40659341, rel=1e-7)
    unknown = log_shapes(over, None).iloc[0]
    assert math.isnan(unknown["heart_share_small"])
    assert math.isnan(unknown["taper_mm_per_m"])


def test_ovality_is_smaller_over_larger() -> None:
    shape = log_shapes(one(sed2_mm=270.0, led2_mm=400.0)).iloc[0]
    assert (shape["ovality_small"], shape["ovality_large"]) == pytest.approx((0.9, 0.9))


@pytest.mark.parametrize(
    ("measured", "formula"),
    [
        ({}, "cone_frustum"),
        ({"mid1_mm": 330.0}, "newton"),
        ({"mid2_mm": 330.0}, "newton"),
        ({"centroid_mm": 330.0}, "centroid"),
        ({"centroid_mm": 330.0, "mid1_mm": 330.0, "sections_mm": "360;330;300"}, "sections"),
    ],
)
def test_the_formula_to_prefer(measured: dict[str, object], formula: str) -> None:
    assert preferred_formula(one(**measured)) == formula


def test_a_flared_butt_by_its_two_ends_against_its_sections() -> None:
    """The flared butt of 6 m: 0.526138 m³ by sections; Smalian from the ends 0.600358, 14.1 % too much; cone
    0.584965, 11.2 % (fixtures/reference/02_log_volume.csv, computed)."""
    flared = one(led1_mm=420.0, sed1_mm=280.0, sections_mm="420;360;340;330;315;300;280")
    found = {c.info.name: c for c in volumes_compared(flared)}
    assert found["sections"].volume_m3 == pytest.approx(0.526138, abs=5e-7)
    assert [c.info.name for c in found.values() if c.preferred] == ["sections"]
    assert found["smalian"].difference == pytest.approx(0.600358 / 0.526138 - 1, abs=2e-6)
    assert found["cone_frustum"].percent == pytest.approx(100 * (0.584965 / 0.526138 - 1), abs=2e-4)
    assert math.isnan(found["huber"].volume_m3)
    assert "mid1_mm" in found["huber"].reason


def test_heartwood_on_a_board_end() -> None:
    """Areas by hand: a board within the heart, one beside it, a half of one, a quarter circle in its square."""
    assert heart_share((0, 0), (20, 10), (50, 50)) == 1
    assert heart_share((100, 0), (20, 10), (50, 50)) == 0
    assert heart_share((500, 0), (500, 1), (500, 500)) == pytest.approx(0.5, abs=0.01)
    assert heart_share((50, 50), (50, 50), (100, 100)) == pytest.approx(math.pi / 4, abs=0.01)
    assert heart_share((0, 0), (100, 100), (100, 50)) == pytest.approx(math.pi / 8, abs=0.01)
    assert heart_share((70, 0), (60, 5), (40, 40), 90) == 0  # upright, it lies beside the heart
    assert heart_share((0, 0), (20, 10), (0, 0)) == 0
    with pytest.raises(ValueError, match="half sizes"):
        heart_share((0, 0), (0, 10), (50, 50))

"""JAS log scaling against the rule as printed on two public scaling pages (found there; check the licensed
standard).

Expected values: computed by hand from that rule, fixtures/reference/02_jas.csv.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sawing.calc.log_formulae import jas_scaling_diameter_cm, jas_unrounded
from sawing.calc.log_volume import log_volumes
from tests.published.reference import rows

ROWS = rows("02_jas.csv")


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['sed_min_cm']}x{row['length_m']}")
def test_published_rule(row: dict[str, str]) -> None:
    small, length = np.array([10 * float(row["sed_min_cm"])]), np.array([float(row["length_m"])])
    assert jas_scaling_diameter_cm(small)[0] == float(row["rounded_sed_cm"])
    assert jas_unrounded(small, length)[0] == pytest.approx(float(row["volume_m3"]), rel=1e-9)
    logs = pd.DataFrame({"sed1_mm": small, "length_m": length})
    assert log_volumes(logs, "JAS").volume_m3.iloc[0] == pytest.approx(float(row["volume_m3_3dp"]), abs=1e-12)


def test_the_smaller_reading_is_scaled() -> None:
    logs = pd.DataFrame({"sed1_mm": [320.0, 304.0], "sed2_mm": [304.0, 320.0], "length_m": [5.9, 5.9]})
    assert log_volumes(logs, "jas").volume_m3.tolist() == [0.531, 0.531]


def test_a_short_log_scales_as_its_square_block() -> None:
    """Shorter than 6 m JAS takes the square of the diameter: 4/pi = 1.2732 of the small-end cylinder
    (computed)."""
    logs = pd.DataFrame({"sed1_mm": [300.0], "length_m": [4.0]})
    cylinder = log_volumes(logs, "small_end_cylinder").volume_m3.iloc[0]
    assert log_volumes(logs, "jas").volume_m3.iloc[0] / cylinder == pytest.approx(1.2732, abs=2e-4)


@pytest.mark.parametrize(
    ("small_mm", "scaled_cm"), [(139.0, 13), (140.0, 14), (159.9, 14), (160.0, 16), (99.9, 9), (100.0, 10)]
)
def test_edges_of_the_diameter_classes(small_mm: float, scaled_cm: int) -> None:
    assert jas_scaling_diameter_cm(np.array([small_mm]))[0] == scaled_cm


def test_bark_is_taken_off_before_scaling() -> None:
    """A log of 155.5556 mm over bark and k = 0.9 is exactly 14 cm under bark, also in binary arithmetic."""
    logs = pd.DataFrame({"sed1_mm": [140.0 / 0.9], "length_m": [3.0], "bark": ["over"]})
    assert log_volumes(logs, "jas", bark_factor=0.9).volume_m3.iloc[0] == 0.059

"""Taps as a table: what follows from them, and what is missing or odd."""

import math

import pandas as pd
import pytest

from grading.calc.stiffness_table import latest_of_each, stiffness_table

NAN = math.nan
USUAL = {
    "board": "B1",
    "read_on": None,
    "resonance_hz": 800.0,
    "harmonic": 1.0,
    "second_hz": NAN,
    "length_m": 3.0,
    "mass_kg": NAN,
    "density_kg_m3": 480.0,
    "mc_pct": 12.0,
    "board_length_m": 3.1,
    "board_width_mm": 150.0,
    "board_thickness_mm": 25.0,
}


def table(*rows: dict[str, object], rule: str = "en384") -> pd.DataFrame:
    return stiffness_table(pd.DataFrame([USUAL | row for row in rows]), rule)


def test_density_and_velocity_give_the_modulus() -> None:
    """3.0 m, 1600 Hz in the second mode: 4800 m/s, with 480 kg/m³ 11.0592 GPa (computed, rho v²)."""
    found = table({"resonance_hz": 1600.0, "harmonic": 2.0}).iloc[0]
    assert found["velocity_m_s"] == pytest.approx(4800)
    assert found["moe_gpa"] == pytest.approx(11.0592)
    assert found["moe12_gpa"] == pytest.approx(11.0592)


def test_to_twelve_percent_by_en_384() -> None:
    """EN 384:2016 (found, secondary transcription): E12 = E (1 + 0.01 (u - 12)), rho12 = rho (1 - 0.005 (u - 12))."""
    found = table({"mc_pct": 16.0}).iloc[0]
    assert found["moe12_gpa"] == pytest.approx(found["moe_gpa"] * 1.04)
    assert found["density12_kg_m3"] == pytest.approx(480 * 0.98)


def test_the_boards_own_sizes_stand_in_and_mass_gives_density() -> None:
    found = table({"length_m": NAN, "mass_kg": 5.58, "density_kg_m3": NAN}).iloc[0]
    assert found["length_used_m"] == 3.1
    assert found["density_used_kg_m3"] == pytest.approx(5.58 / (3.1 * 0.15 * 0.025))


def test_what_is_missing_stays_missing_and_is_told() -> None:
    light, wet = table({"density_kg_m3": NAN}, {"mc_pct": NAN}).to_dict("records")
    assert math.isnan(light["moe_gpa"])
    assert light["velocity_m_s"] == 4800
    assert wet["moe_gpa"] == pytest.approx(11.0592)
    assert math.isnan(wet["moe12_gpa"])
    assert wet["concerns"] == ("No moisture: nothing is brought to 12 %.",)
    green = table({"mc_pct": 60.0}).iloc[0]
    assert math.isnan(green["moe12_gpa"])
    assert "outside" in green["concerns"][0]


def test_a_misread_mode_is_told() -> None:
    found = table({"resonance_hz": 300.0, "second_hz": 750.0}).iloc[0]
    assert any("mode" in words for words in found["concerns"])


def test_one_tap_a_board_the_last_that_gives_a_modulus() -> None:
    rows = table(
        {"read_on": "2026-04-01", "resonance_hz": 790.0},
        {"read_on": "2026-04-03", "resonance_hz": 800.0},
        {"read_on": "2026-04-05", "resonance_hz": 810.0, "density_kg_m3": NAN},
        {"board": "B2", "resonance_hz": 700.0},
        {"board": "B2", "resonance_hz": 710.0},
    )
    assert list(latest_of_each(rows)["resonance_hz"]) == [800.0, 710.0]


def test_no_taps_and_an_unknown_rule() -> None:
    assert len(stiffness_table(pd.DataFrame(columns=list(USUAL)))) == 0
    with pytest.raises(ValueError, match="unknown rule"):
        table({}, rule="mine")

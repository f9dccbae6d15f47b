"""Moisture, drying and dried sizes: what holds for every board and stack, and every refusal in words."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sawing.calc import density_shrinkage as ds
from sawing.calc import moisture
from sawing.calc.drying_curve import CurveRefusedError, crossing_days, days_to, fit_curve, parts
from sawing.calc.drying_quality import mean_tolerance_pct, spread
from sawing.calc.drying_range import estimate_at, replicate, target_dates
from sawing.calc.equilibrium_moisture import YardClimate, emc_pct, fixed_line, rh_holding_pct, seasonal_line
from sawing.calc.picture_drying import ReadingDot, drying_picture

CLIMATE = YardClimate(
    (0.5, 1, 4, 7, 11, 14, 16, 16, 13, 9, 4, 1), (88, 84, 79, 75, 73, 75, 76, 78, 81, 85, 88, 89)
)
START = dt.date(2025, 5, 14)
LINE = seasonal_line(CLIMATE, START)
DAYS = np.array([0.0, 14, 28, 49, 77, 105, 140])


def lot(boards: int = 12, seed: int = 3, k: float = 0.022) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    fading, brought = parts(k * np.exp(rng.normal(0, 0.1, boards)), LINE, DAYS)
    start = 80 * np.exp(rng.normal(0, 0.1, boards))
    values = start[:, None] * fading + brought + rng.normal(0, 0.7, (boards, len(DAYS)))
    return np.tile(DAYS, boards), values.ravel(), np.repeat(np.arange(boards), len(DAYS))


@given(t=st.floats(0, 70), low=st.floats(5, 94), step=st.floats(0.1, 5))
def test_damper_air_holds_damper_wood(t: float, low: float, step: float) -> None:
    assert emc_pct(t, min(95, low + step)) > emc_pct(t, low)


@given(t=st.floats(0, 70), rh=st.floats(1, 99))
def test_humidity_undoes_equilibrium(t: float, rh: float) -> None:
    assert rh_holding_pct(float(emc_pct(t, rh)), t) == pytest.approx(rh, abs=1e-6)


@pytest.mark.parametrize(("t", "rh"), [(20, 101), (20, -1), (-60, 50), (200, 50)])
def test_air_that_cannot_be_is_refused(t: float, rh: float) -> None:
    with pytest.raises(ValueError):
        emc_pct(t, rh)


def test_a_climate_needs_all_its_months() -> None:
    with pytest.raises(ValueError, match="twelve"):
        YardClimate((1.0,) * 11, (80.0,) * 12)
    with pytest.raises(ValueError, match="each month"):
        YardClimate((math.nan,) * 12, (80.0,) * 12)


def test_seasons_step_at_the_first_of_each_month() -> None:
    assert LINE.at(0) == CLIMATE.emc_pct[4]
    assert LINE.at(17) == CLIMATE.emc_pct[4]
    assert LINE.at(18) == CLIMATE.emc_pct[5]  # 14 May + 18 days = 1 June
    assert LINE.at(18 + 30 + 31 + 365) == CLIMATE.emc_pct[7]


@given(dry=st.floats(10, 500), water=st.floats(0, 900))
def test_moisture_is_water_on_dry_mass_and_never_the_wet_basis(dry: float, water: float) -> None:
    mc = float(moisture.oven_dry_mc_pct(dry + water, dry))
    assert mc == pytest.approx(100 * water / dry, abs=1e-6)
    assert float(moisture.wet_basis_pct(mc)) <= min(100, mc + 1e-9)


@pytest.mark.parametrize(("wet", "dry"), [(90, 100), (0, 100), (100, 0), (-1, -2)])
def test_masses_that_cannot_be_are_refused(wet: float, dry: float) -> None:
    with pytest.raises(ValueError):
        moisture.oven_dry_mc_pct(wet, dry)
    assert moisture.sample_concerns(wet, dry)


def test_sample_concerns_name_the_mistake() -> None:
    assert moisture.sample_concerns(124.8, 98.6) == []
    assert "on the wet mass" in moisture.sample_concerns(124.8, 98.6, 21.0)[0]
    assert "the masses give" in moisture.sample_concerns(124.8, 98.6, 31.0)[0]
    assert "outside" in moisture.sample_concerns(100.1, 100.0)[0]


def test_constant_mass() -> None:
    assert moisture.is_constant_mass(98.65, 98.60)
    assert not moisture.is_constant_mass(98.75, 98.60)
    assert moisture.is_constant_mass(98.75, 98.60, hours=4)
    with pytest.raises(ValueError):
        moisture.is_constant_mass(98.6, 98.6, hours=0.5)


@pytest.mark.parametrize(
    ("text", "temperature", "value", "above"),
    [
        ("17.5", None, 17.5, False),
        ("17,5", 10.0, 18.5, False),
        ("> FSP", None, None, True),
        (">30", None, None, True),
        ("OL", None, None, True),
        ("30", None, None, True),
        ("29.5", 10.0, None, True),
    ],
)
def test_meter_readings_as_written(
    text: str, temperature: float | None, value: float | None, above: bool
) -> None:
    read = moisture.read_meter(text, temperature)
    assert (read.mc_pct, read.above_fsp) == (value, above)


@pytest.mark.parametrize("text", ["", "wet", "-3", "0", "900", "> 12", "nan", "1.5"])
def test_readings_that_say_nothing_are_refused(text: str) -> None:
    with pytest.raises(ValueError):
        moisture.read_meter(text)


def test_below_seven_percent_is_noted() -> None:
    assert moisture.read_meter("6.4").note
    assert not moisture.read_meter("9").note


def test_constants_of_a_meter_take_the_place_of_the_rule_of_thumb() -> None:
    """With neutral constants the form gives the reading itself; with a species line its inverse (by hand)."""
    neutral = moisture.MeterConstants(0, 0, 0, 1, 1, 1, 0)
    assert moisture.read_meter("18", 10.0, neutral).mc_pct == 18.0
    species = moisture.MeterConstants(2.0, 0.1, 0.0, 1.0, 1.0, 0.8, 3.0)
    assert moisture.read_meter("18", 10.0, species).mc_pct == pytest.approx((18 + 2 - 1 - 3) / 0.8)
    with pytest.raises(ValueError, match="temperature"):
        moisture.read_meter("18", None, neutral)


def test_calibration_refuses_what_is_no_line() -> None:
    with pytest.raises(ValueError, match="three pairs"):
        moisture.fit_calibration([10, 12], [11, 13])
    with pytest.raises(ValueError, match="alike"):
        moisture.fit_calibration([12, 12, 12], [11, 12, 13])
    with pytest.raises(ValueError, match="swapped"):
        moisture.fit_calibration([10, 12, 14], [14, 12, 10])
    few = moisture.fit_calibration([10, 12, 14, np.nan], [11, 13.1, 15, 20])
    assert (few.n, few.enough) == (3, False)
    assert float(few.corrected_pct(12)) == pytest.approx(13.0333, abs=1e-3)


def test_a_meter_that_hangs_is_seen() -> None:
    assert moisture.all_alike([14.2] * 5)
    assert not moisture.all_alike([14.2] * 3)
    assert not moisture.all_alike([14.2, 14.2, 14.3, 14.2])


@given(rho=st.floats(250, 700), m=st.floats(0, 150), sv=st.floats(0, 20))
def test_basic_density_undoes_density(rho: float, m: float, sv: float) -> None:
    assert float(ds.basic_density_kg_m3(ds.density_kg_m3(rho, m, sv), m, sv)) == pytest.approx(rho, rel=1e-9)


@given(size=st.floats(10, 400), low=st.floats(0, 29), step=st.floats(0.5, 20))
@pytest.mark.parametrize("model", [ds.MostSpecies(), ds.Measured(7, 5)])
def test_wetter_boards_are_never_smaller(model: ds.Shrinks, size: float, low: float, step: float) -> None:
    dry = float(ds.size_at(size, 0, model.width_pct(low)))
    wet = float(ds.size_at(size, 0, model.width_pct(low + step)))
    assert dry <= wet <= size * (1 + 1e-12)
    back = float(ds.size_at(dry, model.width_pct(low), model.width_pct(low + step)))
    assert back == pytest.approx(wet, rel=1e-9)


def test_measured_dry_sizes_are_compared() -> None:
    """106 mm green, 12 %: Green 1989 expects 3.451 % (by hand), 102.34 mm."""
    expected = float(ds.MostSpecies().width_pct(12))
    assert ds.compare_dry_size(106, 102.4, expected, "width").concern == ""
    assert ds.compare_dry_size(106, 102.4, expected, "width").expected_mm == pytest.approx(102.34, abs=0.01)
    assert "above the green" in ds.compare_dry_size(106, 107, expected, "width").concern
    assert "dressed" in ds.compare_dry_size(106, 95, expected, "width").concern
    assert "still wet" in ds.compare_dry_size(106, 106, expected, "width").concern
    assert ds.density_concern(480) == ""
    assert ds.density_concern(4800)


@given(k=st.floats(0.005, 0.2), start=st.floats(40, 150), target=st.floats(17.5, 30))
def test_crossing_is_where_the_curve_meets_the_target(k: float, start: float, target: float) -> None:
    day = float(crossing_days(start, k, fixed_line(16), target, 1e6))
    assert day == pytest.approx(days_to(start, target, k, 16), rel=1e-9)


@given(k=st.floats(0.01, 0.2), start=st.floats(40, 150), target=st.floats(16.0, 25))
@settings(deadline=None)
def test_crossing_over_the_seasons_is_the_first(k: float, start: float, target: float) -> None:
    day = float(crossing_days(start, k, LINE, target, 1000.0))
    at = np.linspace(0, 1000, 4001)
    fading, brought = parts(k, LINE, at)
    below = at[start * fading + brought <= target]
    if math.isinf(day):
        assert len(below) == 0
    else:
        assert below[0] - 0.25 - 1e-9 <= day <= below[0] + 1e-9


def test_no_curve_without_dates_without_drying_or_from_nonsense() -> None:
    with pytest.raises(CurveRefusedError, match="at least 3 dates"):
        fit_curve([0, 0, 7, 7], [80, 82, 60, 61], LINE)
    with pytest.raises(CurveRefusedError, match="do not come nearer"):
        fit_curve([0, 14, 28, 42], [60, 65, 72, 80], LINE)
    with pytest.raises(CurveRefusedError, match="would start"):
        fit_curve([60, 63, 66, 69], [60, 35, 24, 18.5], fixed_line(16))


def test_undefined_dates_are_answered_in_words() -> None:
    t, y, boards = lot()
    curve = fit_curve(t, y, LINE, 12)
    drawn = replicate(curve, t, y, boards)
    never = target_dates(curve, drawn, 8.0, START)
    assert (never.best, never.earliest) == (None, None)
    assert "will not be reached" in never.words
    assert f"{LINE.values_pct.min():.1f} %" in never.words
    with pytest.raises(ValueError, match="never gets there"):
        days_to(80, 16, 0.02, 16)
    slow = target_dates(fit_curve(t[:7], 60 - 0.01 * t[:7], LINE), None, 20, START)
    assert slow.best is None
    assert "three years" in slow.words


def test_the_range_holds_the_date_and_more_boards_make_it_narrower() -> None:
    widths = []
    for boards in (8, 80):
        t, y, labels = lot(boards)
        curve = fit_curve(t, y, LINE, boards)
        found = target_dates(curve, replicate(curve, t, y, labels), 20, START)
        assert found.best is not None
        assert found.earliest is not None
        assert found.latest is not None
        assert found.earliest <= found.best <= found.latest
        assert str(found.earliest.year) in found.words
        widths.append((found.latest - found.earliest).days)
    assert widths[1] < widths[0]


def test_few_boards_fall_back_on_residuals_and_fewer_readings_on_none() -> None:
    t, y, labels = lot(2)
    curve = fit_curve(t, y, LINE, 2)
    drawn = replicate(curve, t, y, labels)
    assert drawn is not None
    assert drawn.drawn == "residuals"
    now = estimate_at(curve, drawn, 100)
    assert now.low_pct is not None
    assert now.high_pct is not None
    assert now.low_pct < now.value_pct < now.high_pct
    three = fit_curve(t[:3], y[:3], LINE)
    assert replicate(three, t[:3], y[:3], labels[:3]) is None
    assert estimate_at(three, None, 50).low_pct is None
    assert "too few" in target_dates(three, None, 25, START).words


def test_residuals_drawn_spread_like_the_standard_error() -> None:
    """For one board the two ways must agree within a few per cent (a known equivalence)."""
    rng = np.random.default_rng(5)
    t = np.linspace(0, 120, 40)
    y = 16 + 70 * np.exp(-0.03 * t) + rng.normal(0, 1, 40)
    curve = fit_curve(t, y, fixed_line(16))
    drawn = replicate(curve, t, y, ["a"] * 40)
    assert drawn is not None
    assert float(np.std(drawn.rate_per_d)) == pytest.approx(curve.se_rate_per_d, rel=0.1)
    assert float(np.std(drawn.start_pct)) == pytest.approx(curve.se_start_pct, rel=0.1)


def test_the_order_of_readings_does_not_matter() -> None:
    t, y, labels = lot()
    mixed = np.random.default_rng(1).permutation(len(t))
    one, two = fit_curve(t, y, LINE), fit_curve(t[mixed], y[mixed], LINE)
    assert one.rate_per_d == pytest.approx(two.rate_per_d, rel=1e-6)
    a, b = replicate(one, t, y, labels), replicate(two, t[mixed], y[mixed], labels[mixed])
    assert a is not None
    assert b is not None
    np.testing.assert_allclose(a.rate_per_d, b.rate_per_d, rtol=1e-6)


def test_spread_of_a_lot_by_hand() -> None:
    """Ten boards around 16 %: mean 16.3, one beyond 1.3 x 16 = 20.8, one above fibre saturation."""
    values = [14, 15, 15, 16, 16, 17, 17, 18, 19, 21]
    found = spread(values, 16, above_fsp=0)
    assert found is not None
    assert found.mean_pct == pytest.approx(16.8)
    assert found.sd_pct == pytest.approx(float(np.std(values, ddof=1)))
    assert (found.share_at_target, found.share_within, found.share_shipping_dry) == (0.5, 0.9, 1.0)
    assert found.mean_within is True
    assert not found.pieces_within
    wet = spread(values, 16, above_fsp=1)
    assert wet is not None
    assert wet.share_shipping_dry == pytest.approx(10 / 11)
    assert wet.mean_within is None
    assert not wet.shipping_dry
    assert spread([np.nan], 16) is None
    with pytest.raises(ValueError):
        spread(values, 60)
    assert [mean_tolerance_pct(t) for t in (8, 12, 14, 18, 25)] == [1.0, 1.5, 2.0, 2.5, None]


@pytest.mark.parametrize("width", [720, 360])
def test_the_picture_shows_curve_target_and_range(width: int) -> None:
    t, y, labels = lot()
    curve = fit_curve(t, y, LINE, 12)
    dates = target_dates(curve, replicate(curve, t, y, labels), 20, START)
    dots = [ReadingDot(START + dt.timedelta(days=int(d)), float(m)) for d, m in zip(t, y, strict=True)]
    dots += [ReadingDot(START, None), ReadingDot(START, 81.0, True)]
    svg = drying_picture(
        dots, LINE, START, name="s", title="S1", curve=curve, dates=dates, target_pct=20, width=width
    )
    assert "style=" not in svg
    assert dates.words.rstrip(".") in svg
    assert svg.count('class="interval"') >= 1
    assert 'class="ground"' in svg
    assert 'class="reference"' in svg
    with pytest.raises(ValueError):
        drying_picture([], LINE, START, name="s", title="S1")

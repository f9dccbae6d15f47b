"""Warp: sagitta and its scaling (computed), fixtures/reference/06_warp.csv; limits from memory, 06_warp_limits.csv."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sawing.calc import warp
from tests.published.reference import checks, rows

CHECKS = checks("06_warp.csv")


def close(check_id: str) -> object:
    return pytest.approx(CHECKS[check_id].expected, rel=CHECKS[check_id].tolerance)


def test_every_value_of_the_table() -> None:
    radius = warp.radius_mm(4000, 40)
    assert radius == close("W1")
    assert warp.sagitta_mm(2000, radius) == close("W2")
    assert warp.over_length_mm("bow", 40, 4, 2) == close("W3")
    assert warp.over_length_mm("spring", 40, 4, 3) == close("W4")
    assert warp.over_length_mm("twist", 12, 4, 2) == close("W5")
    assert warp.over_length_mm("bow", 18, 3.6) == close("W6")
    assert warp.cup_over_width_mm(3, 200, 100) == close("W7")
    assert set(CHECKS) == {f"W{n}" for n in range(1, 8)}


def test_limits_are_those_of_the_table_and_say_that_they_are_from_memory() -> None:
    for limit, grade in zip(
        warp.LIMITS, ("strength classes up to C18", "strength classes above C18"), strict=True
    ):
        table = {r["type"]: r for r in rows("06_warp_limits.csv") if r["grade"] == grade}
        ours = {"bow": limit.bow_mm, "spring": limit.spring_mm, "twist": limit.twist_mm}
        assert ours == {kind: float(table[kind]["limit"]) for kind in ours}
        assert {table[kind]["origin"] for kind in ours} == {"memory"}
        assert limit.origin == "from memory"


@given(length=st.floats(500, 8000), part=st.floats(1e-4, 0.5))
def test_radius_and_sagitta_undo_each_other(length: float, part: float) -> None:
    radius = warp.radius_mm(length, length * part)
    assert warp.sagitta_mm(length, radius) == pytest.approx(length * part, rel=1e-6)


@given(deviation=st.floats(0.5, 30), length=st.floats(1, 6))
def test_quarter_rule_is_the_flat_limit_of_the_arc(deviation: float, length: float) -> None:
    half = warp.sagitta_mm(500 * length, warp.radius_mm(1000 * length, deviation))
    assert half == pytest.approx(deviation / 4, rel=4 * (deviation / (1000 * length)) ** 2 + 1e-9)
    assert half <= deviation / 4 * (1 + 1e-9)


def test_judged_beside_limits() -> None:
    """Bow of 18 mm over 3.6 m is 5.6 mm over 2 m: within both. 4 mm of twist in 100 mm of width: 4/4 per 25 mm."""
    bow = warp.judge("bow", 18, 3.6, 150)
    assert bow.on_2_m_mm == close("W6")
    assert bow.beyond == ()
    assert warp.judge("twist", 4.0, 2.0, 100).beyond == ()
    assert warp.judge("twist", 4.1, 2.0, 100).beyond == ("EN 14081-1, classes above C18",)
    assert len(warp.judge("spring", 13, 2.0, 100).beyond) == 2
    assert warp.judge("cup", 5, None, 100).beyond == ()


@pytest.mark.parametrize(
    ("kind", "deviation", "over"), [("bow", -1, 2), ("bow", 120, 2), ("spring", 5, None), ("cup", 60, None)]
)
def test_odd_values_are_asked_about(kind: str, deviation: float, over: float | None) -> None:
    assert warp.judge(kind, deviation, over, 100).concerns


def test_swapped_faces_are_asked_about() -> None:
    assert warp.swapped(4, 22, 28, 150)
    assert not warp.swapped(22, 4, 28, 150)
    assert not warp.swapped(4, 22, 100, 100)

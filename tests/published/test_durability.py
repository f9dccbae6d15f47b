"""Durability against values worked out elsewhere.

Mass loss, x-values: definitions (computed, fixtures/reference/09_durability.csv). Class bounds: EN 350, CEN/TS 15083-2
(value from memory, check against the licensed copy), AS 5604:2005 (found). Kaplan-Meier: R MASS::gehan, lifelines 0.30
(computed) and the textbook values of the same data (medians 23 and 8).
"""

from __future__ import annotations

import pytest

from grading.follow_on.calc import durability as du
from tests.published.reference import checks, rows

CHECKS = checks("09_durability.csv")
SCHEMES = {
    "EN 350:2016 basidiomycetes": "en350_2016",
    "EN 350-1:1994 basidiomycetes": "en350_1994",
    "CEN/TS 15083-2 soil (soft rot)": "soil",
    "EN 252 field stakes in EN 350": "stakes",
    "AS 5604 in ground": "as5604_in_ground",
    "AS 5604 above ground": "as5604_above",
}


def close(check_id: str) -> object:
    return pytest.approx(CHECKS[check_id].expected, rel=CHECKS[check_id].tolerance)


def test_mass_loss_and_x_values() -> None:
    assert float(du.mass_loss_pct(10.0, 9.31)) == close("U1")
    test = du.median_of([3.1, 4.2, 5.5, 6.0, 6.9, 7.4, 9.8])
    reference = du.median_of([24, 27, 28.5, 30.1, 33.2, 35.0, 36.4])
    assert test == close("U2")
    assert reference == close("U3")
    x = du.x_value(test, reference)
    assert x == close("U4")
    assert x is not None
    assert test is not None
    assert du.durability_class("en350_2016", test) == 2
    assert du.durability_class("en350_1994", x) == 2
    assert du.durability_class("soil", x) == 2
    life = du.x_value(11.5, 4.2)
    assert life == close("U5")
    assert life is not None
    assert du.durability_class("stakes", life) == 3


@pytest.mark.parametrize(
    "row", rows("09_durability_classes.csv"), ids=lambda r: f"{r['scheme']} {r['class']}"
)
def test_bounds_of_classes(row: dict[str, str]) -> None:
    scheme, number = SCHEMES[row["scheme"]], int(row["class"])
    if row["upper_inclusive"]:
        assert du.durability_class(scheme, float(row["upper_inclusive"])) == number
    if row["lower_exclusive"]:
        assert du.durability_class(scheme, float(row["lower_exclusive"]) + 1e-9) == number


@pytest.mark.parametrize("treat", ["6-MP", "control"])
def test_survival_on_an_open_data_set(treat: str) -> None:
    mine = [r for r in rows("09_gehan.csv") if r["treat"] == treat]
    answer = du.kaplan_meier([float(r["time"]) for r in mine], [int(float(r["event"])) == 1 for r in mine])
    assert answer.median == close(f"K_{treat}_median")
    shares = [c for c in CHECKS if c.startswith(f"K_{treat}_S")]
    assert len(shares) >= 6
    for check_id in shares:
        share = answer.at(float(check_id.rpartition("_S")[2]))
        assert share == pytest.approx(CHECKS[check_id].expected, abs=1e-7)

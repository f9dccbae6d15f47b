"""The database refuses impossible prices."""

from typing import Any

import pytest

from reports.models import Price, PriceList
from tests.conftest import Place
from tests.refusals import (
    NEGATIVE,
    NOT_POSITIVE,
    Attempt,
    insert,
    numbers_refused,
    refused,
    rules_named,
    rules_of,
    update,
)

NUMBERS = [
    *numbers_refused(Price, "not_negative", "price_per_m3 min_width_mm min_thickness_mm", NEGATIVE),
    *numbers_refused(Price, "positive", "max_width_mm", NOT_POSITIVE),
]
RULES: dict[str, list[Attempt]] = {
    "reports_pricelist_version_once": [lambda p: insert(PriceList, current=False)],
    "reports_pricelist_one_current": [lambda p: insert(PriceList, version=2)],
    "reports_pricelist_version_check": [lambda p: update(PriceList, version=-1)],
    "reports_price_band_once": [lambda p: insert(Price), lambda p: insert(Price, price_per_m3=1.0)],
    "reports_price_band_runs_upwards": [
        lambda p: insert(Price, min_width_mm=100.0, max_width_mm=100.0),
        lambda p: insert(Price, min_width_mm=200.0, max_width_mm=100.0),
    ],
}
ATTEMPTS = [
    pytest.param(rule, a, id=f"{rule}-{i}") for rule, tries in RULES.items() for i, a in enumerate(tries)
]


@pytest.mark.parametrize(("rule", "attempt"), ATTEMPTS)
def test_the_database_refuses(material: Place, rule: str, attempt: Attempt) -> None:
    with refused(rule):
        attempt(material)


@pytest.mark.parametrize(("model", "field", "value", "rule"), NUMBERS)
def test_prices_and_widths_are_finite(
    material: Place, model: Any, field: str, value: float, rule: str
) -> None:
    # Bands that do not run upwards are refused before their bounds are looked at.
    with refused(f"{rule}|reports_price_band_runs_upwards"):
        update(model, {"grade__code": "Plain"}, **{field: value})


def test_every_rule_of_the_room_is_tried(material: Place) -> None:
    assert rules_of("reports") == set(RULES) | rules_named(NUMBERS)

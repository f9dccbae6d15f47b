"""Characteristic values against values worked out elsewhere.

Order statistics and tolerance factors: ASTM D2915 principle, binomial and non-central t (computed, fixtures/reference/
08_order_statistics.csv and 08_tolerance_k.csv), EN 14358:2016 table 1 and formula (10) (found, by transcription).
Worked sample: R lme4::Pastes as if independent (computed, scipy and R agree). Several samples: EN 384:2016 (found, a
published coursework with 22.88 MPa, 13 492 MPa, 365.4 kg/m3).
"""

from __future__ import annotations

import pytest

from grading.follow_on.calc import characteristic as ch
from grading.follow_on.calc import tolerance
from tests.published.reference import checks, rows

CHECKS = checks("08_characteristic.csv")
PASTES = ch.sample_of([float(r["strength"]) for r in rows("08_pastes.csv")])


def close(check_id: str) -> object:
    return pytest.approx(CHECKS[check_id].expected, rel=CHECKS[check_id].tolerance)


@pytest.mark.parametrize("row", rows("08_order_statistics.csv"), ids=lambda r: r["rank_from_bottom"])
def test_smallest_numbers_of_pieces(row: dict[str, str]) -> None:
    rank, n = int(row["rank_from_bottom"]), int(row["n_min_75pct"])
    assert tolerance.smallest_n(rank) == n
    assert tolerance.limit_rank(n) == rank
    assert tolerance.limit_rank(n - 1) == rank - 1
    assert tolerance.smallest_n(rank, confidence=0.95) == int(row["n_min_95pct"])


@pytest.mark.parametrize("row", rows("08_tolerance_k.csv"), ids=lambda r: r["n"])
def test_tolerance_factors(row: dict[str, str]) -> None:
    n = int(row["n"])
    assert tolerance.tolerance_factor(n) == pytest.approx(float(row["k_5pct_75conf"]), abs=6e-5)
    assert tolerance.tolerance_factor(n, confidence=0.95) == pytest.approx(
        float(row["k_5pct_95conf"]), abs=6e-5
    )
    assert tolerance.en14358_factor(n) == pytest.approx(float(row["EN14358_formula10"]), abs=6e-5)
    assert tolerance.en14358_ranked_factor(n) == pytest.approx(float(row["EN14358_nonparam_k"]), abs=6e-5)
    if row["EN14358_table1"]:
        assert tolerance.tolerance_factor(n) == pytest.approx(float(row["EN14358_table1"]), abs=0.0051)


def test_a_worked_sample_by_every_method() -> None:
    answers = {name: method(PASTES, 0.75) for name, method in ch.METHODS.items()}
    assert PASTES.mean == close("P1")
    assert PASTES.sd == close("P2")
    assert answers["ranked"].limit == close("P3")
    assert tolerance.tolerance_factor(60) == close("P4")
    assert answers["normal"].point == close("P5")
    assert answers["normal"].limit == close("P6")
    assert answers["lognormal"].point == close("P9")
    assert answers["lognormal"].limit == close("P10")
    assert answers["en14358_lognormal"].limit == close("P11")
    assert answers["weibull"].point == close("P14")
    assert answers["en14358_ranked"].limit == close("P15")


def test_several_samples_to_one_value() -> None:
    numbers = [89, 90, 79]
    assert ch.several_samples([22.97, 28.29, 24.90], numbers) == pytest.approx(22.875, abs=6e-4)
    assert ch.several_samples([13706, 13388, 13839], numbers, "stiffness") == pytest.approx(13492, abs=0.6)
    assert ch.several_samples([401.6, 372.3, 392.8], numbers, "density") == pytest.approx(365.36, abs=6e-3)

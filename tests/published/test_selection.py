"""Intensity, gain, index and type-B correlation against fixtures/reference/10_selection_agreement.csv.

Expected values computed (formulae of Smith 1936 and Hazel 1943; φ(z)/p; normal order statistics by quadrature)."""

import numpy as np
import pytest

from reports.calc.selection import (
    expected_gain,
    intensity_of_best,
    intensity_of_share,
    smith_hazel,
    type_b_correlation,
)
from tests.published.reference import rows

EXPECTED = {r["check_id"]: float(r["expected"]) for r in rows("10_selection_agreement.csv")}
SHARES = [c for c in EXPECTED if c.startswith("I_0.")]
FINITE = [c for c in EXPECTED if c.startswith("I_") and c not in SHARES]
P, G, A = np.array([[4.0, 12], [12, 900]]), np.array([[1.6, 4], [4, 450]]), np.array([3, 0.1])


@pytest.mark.parametrize("check", SHARES)
def test_intensity_of_a_share(check: str) -> None:
    assert intensity_of_share(float(check[2:])) == pytest.approx(EXPECTED[check], rel=1e-6)


@pytest.mark.parametrize("check", FINITE)
def test_intensity_of_few_clones(check: str) -> None:
    count, best = map(int, check[2:].split("_"))
    assert intensity_of_best(best, count) == pytest.approx(EXPECTED[check], rel=1e-5)


def test_keeping_all_selects_nothing() -> None:
    assert intensity_of_best(7, 7) == pytest.approx(0, abs=1e-9)


def test_gain() -> None:
    assert expected_gain(1.754983, 0.35, 2.5) == pytest.approx(EXPECTED["G1"], rel=1e-6)


def test_index() -> None:
    found = smith_hazel(P, G, A)
    expected = [EXPECTED[f"X{i}"] for i in range(1, 7)]
    np.testing.assert_allclose(
        [*found.coefficients, found.sd, found.accuracy, *found.gains], expected, rtol=1e-6
    )
    assert A @ found.gains == pytest.approx(EXPECTED["X7"], rel=1e-6)


def test_type_b_correlation_of_machines() -> None:
    """Worker 22.85845 and worker × machine 13.90946: 0.621696 (computed with lme4)."""
    table = {
        (r["dataset"], r["quantity"]): float(r["expected"]) for r in rows("mixed_models/clone_stats.csv")
    }
    found = type_b_correlation(22.858445, 13.909457)
    assert found == pytest.approx(table["Machines", "type-B correlation"], rel=1e-6)
    assert type_b_correlation(0, 0) is None


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: intensity_of_share(1.0), "between 0 and 1"),
        (lambda: intensity_of_best(3, 2), "not 3"),
        (lambda: expected_gain(1, 1.2, 1), "heritability"),
        (lambda: expected_gain(1, 0.2, -1), "not negative"),
        (lambda: type_b_correlation(-1, 1), "not negative"),
        (lambda: smith_hazel(np.array([[1.0, 1], [1, 1]]), G, A), "not positive definite"),
        (lambda: smith_hazel(P, G[:1], A), "2 × 2"),
        (lambda: smith_hazel(P, np.array([[1.6, 4], [3, 450]]), A), "symmetric"),
        (lambda: smith_hazel(P, G, np.array([np.nan, 1])), "finite"),
        (lambda: smith_hazel(P, G, np.zeros(2)), "no genetic variance"),
    ],
)
def test_what_cannot_be_answered_is_said(call, message) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=message):
        call()

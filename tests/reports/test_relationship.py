"""Relationships of clones through parents: textbook coefficients (Falconer and Mackay 1996, chapter 9, from memory)."""

import pytest

from reports.calc.relationship import relationship_from_parents


def test_sibs_and_strangers() -> None:
    found = relationship_from_parents(
        ["A", "B", "C", "D", "E", "F"], ["m", "m", "m", "n", None, "m"], ["f", "f", "g", "h", None, "m"]
    )
    assert found.loc["A", "A"] == 1
    assert found.loc["A", "B"] == 0.5  # full sibs
    assert found.loc["A", "C"] == 0.25  # half sibs
    assert found.loc["A", "D"] == 0
    assert (found.loc["E", "E"], found.loc["E", "A"]) == (1, 0)  # parents unknown
    assert found.loc["F", "F"] == 1.5  # selfed
    assert found.loc["F", "A"] == 0.5
    assert (found == found.T).all().all()


@pytest.mark.parametrize(
    ("clones", "mothers", "fathers", "message"),
    [
        (["A"], [], ["f"], "one of each"),
        (["A", "A"], ["m", "m"], ["f", "f"], "named twice: A"),
        (["A", "B"], ["m", "A"], ["f", "f"], "parents too: A"),
    ],
)
def test_what_cannot_be_taken(clones, mothers, fathers, message) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=message):
        relationship_from_parents(clones, mothers, fathers)

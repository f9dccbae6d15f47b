"""Which entries stand: each rule by hand, and that the order of arrival does not matter."""

import itertools
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trials.calc.standing import (
    CURRENT,
    DISPUTED,
    LATE,
    REPEATED,
    REPLACED,
    SET_ASIDE,
    Stated,
    comparable,
    standings,
)


def said(
    name: str, value: float | None = None, device: str | None = "A", sequence: int = 1, **rest: Any
) -> Stated:
    kind = rest.pop("kind", "value")
    rest.setdefault("person", f"of {device}")
    return Stated(
        id=name,
        arrived=rest.pop("arrived", 0),
        kind=kind,
        trait="dbh" if kind == "value" else None,
        value=value,
        device=device,
        sequence=sequence,
        **rest,
    )


def found(*entries: Stated) -> str:
    """Standings in the order of the entries, as one word each."""
    stand = standings(entries)
    return " ".join(stand[e.id] for e in entries)


def test_one_entry_stands() -> None:
    assert found(said("a", 20)) == CURRENT


def test_the_same_phone_later_replaces_earlier() -> None:
    assert found(said("a", 20), said("b", 21, sequence=2)) == f"{REPLACED} {CURRENT}"
    assert found(said("b", 21, sequence=2), said("a", 20)) == f"{CURRENT} {REPLACED}"


def test_the_phones_count_rules_not_the_order_of_arrival() -> None:
    assert found(said("b", 21, sequence=2, arrived=1), said("a", 20, arrived=2)) == f"{CURRENT} {REPLACED}"


def test_another_phone_with_the_same_value_repeats() -> None:
    assert found(said("a", 20, arrived=1), said("b", 20, device="B", arrived=2)) == f"{CURRENT} {REPEATED}"


def test_another_phone_with_another_value_is_a_dispute() -> None:
    assert found(said("a", 20), said("b", 21, device="B")) == f"{DISPUTED} {DISPUTED}"


def test_a_third_phone_joins_the_dispute() -> None:
    assert found(said("a", 20), said("b", 21, device="B"), said("c", 20, device="C")) == " ".join(
        [DISPUTED] * 3
    )


def test_a_correction_to_the_others_value_ends_a_dispute() -> None:
    entries = (
        said("a", 20, arrived=1),
        said("b", 21, device="B", arrived=2),
        said("c", 20, device="B", sequence=2),
    )
    assert found(*entries) == f"{REPEATED} {REPLACED} {CURRENT}"


def test_a_persons_second_phone_corrects_the_first() -> None:
    entries = (
        said("a", 20, person="me", arrived=1),
        said("b", 21, "B", person="me", corrects="a", arrived=2),
    )
    assert found(*entries) == f"{REPLACED} {CURRENT}"


def test_somebody_elses_entry_is_contradicted_not_corrected() -> None:
    assert (
        found(said("a", 20, arrived=1), said("b", 21, "B", corrects="a", arrived=2))
        == f"{DISPUTED} {DISPUTED}"
    )


def test_an_entry_corrects_neither_itself_nor_a_later_one_of_its_phone() -> None:
    assert found(said("a", 20, corrects="a")) == CURRENT
    assert found(said("a", 20, corrects="b"), said("b", 21, sequence=2)) == f"{REPLACED} {CURRENT}"


def test_a_value_takes_back_a_death_it_corrects() -> None:
    entries = (said("a", kind="dead"), said("b", 21, sequence=2, corrects="a"))
    assert found(*entries) == f"{REPLACED} {CURRENT}"


def test_dead_and_missing_are_one_matter() -> None:
    assert found(said("a", kind="dead"), said("b", kind="missing", sequence=2)) == f"{REPLACED} {CURRENT}"
    assert found(said("a", kind="dead"), said("b", kind="missing", device="B")) == f"{DISPUTED} {DISPUTED}"
    assert (
        found(said("a", kind="dead"), said("b", kind="dead", device="B", arrived=1))
        == f"{CURRENT} {REPEATED}"
    )


def test_a_value_and_a_death_stand_side_by_side() -> None:
    assert found(said("a", 20), said("b", kind="dead", device="B")) == f"{CURRENT} {CURRENT}"


def test_measuring_takes_back_skipping() -> None:
    assert found(said("a", kind="skipped"), said("b", 20, sequence=2)) == f"{REPLACED} {CURRENT}"
    assert found(said("a", kind="skipped", sequence=3), said("b", 20, sequence=2)) == f"{CURRENT} {CURRENT}"
    assert found(said("a", kind="skipped"), said("b", 20, device="B")) == f"{CURRENT} {CURRENT}"


def test_notes_stand_beside_each_other() -> None:
    assert found(said("a", kind="note"), said("b", kind="note", sequence=2)) == f"{CURRENT} {CURRENT}"
    assert (
        found(said("a", kind="note"), said("b", kind="note", sequence=2, corrects="a"))
        == f"{REPLACED} {CURRENT}"
    )


def test_entries_without_a_phone_are_voices_of_their_own() -> None:
    assert found(said("a", 20, device=None), said("b", 21, device=None)) == f"{DISPUTED} {DISPUTED}"


def test_late_entries_have_no_effect_until_taken() -> None:
    assert found(said("a", 20), said("b", 21, sequence=2, standing=LATE)) == f"{CURRENT} {LATE}"
    assert found(said("a", 20), said("b", 21, sequence=2)) == f"{REPLACED} {CURRENT}"


def test_what_was_set_aside_still_replaces_what_its_phone_said_before() -> None:
    assert found(said("a", 20), said("b", 21, sequence=2, standing=SET_ASIDE)) == f"{REPLACED} {SET_ASIDE}"
    entries = (said("b", 21, device="B", standing=SET_ASIDE), said("a", 20, standing=CURRENT))
    assert found(*entries) == f"{SET_ASIDE} {CURRENT}"


def test_who_stood_goes_on_standing_among_equals() -> None:
    first, second = said("a", 20, arrived=1), said("b", 20, device="B", arrived=2, standing=CURRENT)
    assert found(first, second) == f"{REPEATED} {CURRENT}"


@pytest.mark.parametrize(
    ("one", "other", "decimals", "same"),
    [(352.0, 352.0, 0, True), (352.4, 352.0, 0, True), (352.6, 352.0, 0, False), (21.34, 21.31, 1, True),
     (21.4, 21.3, 1, False), (0.0, -0.0, 0, True), (-0.2, 0.2, 0, True)],
)  # fmt: skip
def test_the_same_within_the_decimals_of_the_trait(
    one: float, other: float, decimals: int, same: bool
) -> None:
    assert (comparable(one, None, decimals) == comparable(other, None, decimals)) is same


def test_texts_are_compared_without_outer_spaces() -> None:
    assert comparable(None, " bent ", 0) == comparable(None, "bent", 0)
    assert comparable(None, "bent", 0) != comparable(None, "Bent", 0)


ENTRIES = st.lists(
    st.tuples(
        st.sampled_from("ABC"),
        st.sampled_from([20.0, 21.0]),
        st.sampled_from(["value", "value", "dead", "missing", "skipped", "note"]),
        st.integers(0, 5),
    ),
    max_size=6,
)


@given(ENTRIES)
def test_arriving_one_by_one_in_any_order_ends_alike(drawn: list[tuple[str, float, str, int]]) -> None:
    """Without decisions between, the end is a function of what was said; only who of equals stands may differ."""
    made = [
        said(
            str(n),
            value if kind == "value" else None,
            device,
            n,
            kind=kind,
            corrects=str(c) if c < n else None,
        )
        for n, (device, value, kind, c) in enumerate(drawn)
    ]
    ends = set()
    for order in itertools.islice(itertools.permutations(made), 0, None, 41):
        stand: dict[Any, str] = {}
        there: list[Stated] = []
        for arrived, entry in enumerate(order):
            kept = {**entry.__dict__, "arrived": arrived}
            there = [Stated(**{**e.__dict__, "standing": stand[e.id]}) for e in there] + [Stated(**kept)]
            stand = standings(there)
        one_word = {CURRENT: "agreed", REPEATED: "agreed"}
        ends.add(tuple(sorted((i, one_word.get(s, s)) for i, s in stand.items())))
        trait = [i for i, s in stand.items() if s == CURRENT and made[int(i)].kind == "value"]
        assert len(trait) <= 1
    assert len(ends) <= 1

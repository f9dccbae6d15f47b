"""Which tally entries stand: the rules against a table written by hand, and that the order of arrival is no matter."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sawing.calc.tally_standing import Said, comparable, standings

WIDE, SLIM = (28.0, 200.0, 3.0), (28.0, 150.0, 3.0)


def say(*told: str) -> list[Said]:
    """ "a wide" is a board of scanner a; "b gone" a withdrawal of scanner b; "a slim!" one that was set aside."""
    listed = []
    for at, text in enumerate(told):
        lane, what = text.rstrip("!").split()
        kind = "withdraw" if what == "gone" else "board"
        value = None if what == "gone" else (WIDE if what == "wide" else SLIM)
        listed.append(
            Said(text + str(at), kind, value, lane, at, at, "set_aside" if text.endswith("!") else None)
        )
    return listed


# Written by hand from what people at a saw expect.
CASES = [
    (["a wide"], ["current"]),
    (["a wide", "a slim"], ["replaced", "current"]),
    (["a wide", "b wide"], ["current", "repeated"]),
    (["a wide", "b slim"], ["disputed", "disputed"]),
    (["a wide", "b slim", "a slim"], ["replaced", "current", "repeated"]),
    (["a wide", "b slim", "c wide"], ["disputed", "disputed", "disputed"]),
    (["a wide", "a gone"], ["withdrawn", "current"]),
    (["a wide", "a slim", "a gone"], ["replaced", "withdrawn", "current"]),
    (["a wide", "a gone", "a slim"], ["replaced", "replaced", "current"]),
    (["a wide", "b wide", "a gone"], ["withdrawn", "current", "current"]),
    (["a wide", "b slim", "b gone"], ["current", "withdrawn", "current"]),
    (["a wide", "b gone"], ["disputed", "disputed"]),
    (["a gone"], ["current"]),
    (["a gone", "b gone"], ["current", "repeated"]),
    (["a wide!", "b slim"], ["set_aside", "current"]),
    (["a wide", "a slim!"], ["replaced", "set_aside"]),
    (["a wide!", "a gone"], ["set_aside", "current"]),
    (["a wide", "b gone!"], ["current", "set_aside"]),
]  # fmt: skip


@pytest.mark.parametrize(("told", "expected"), CASES, ids=[", ".join(told) for told, _ in CASES])
def test_the_table(told: list[str], expected: list[str]) -> None:
    listed = say(*told)
    found = standings(listed)
    assert [found[e.id] for e in listed] == expected


WORDS = st.lists(
    st.sampled_from([f"{lane} {what}" for lane in "abc" for what in ("wide", "slim", "gone", "wide!")]),
    min_size=1,
    max_size=5,
)


@given(told=WORDS)
def test_the_order_of_arrival_changes_only_who_of_the_agreed_stands(told: list[str]) -> None:
    listed = say(*told)
    agreed = {"current": "agreed", "repeated": "agreed"}
    seen = set()
    for order in itertools.islice(itertools.permutations(listed), 30):
        arrived = [Said(**{**vars(e), "arrived": at}) for at, e in enumerate(order)]
        found = standings(arrived)
        seen.add(tuple(agreed.get(found[e.id], found[e.id]) for e in listed))
    assert len(seen) == 1


@given(told=WORDS)
def test_one_board_stands_or_all_that_is_left_is_in_dispute(told: list[str]) -> None:
    listed = say(*told)
    found = standings(listed)
    boards = [found[e.id] for e in listed if e.kind == "board"]
    assert boards.count("current") <= 1
    assert not ("current" in boards and "disputed" in boards)
    stated = [Said(**{**vars(e), "standing": found[e.id]}) for e in listed]
    assert standings(stated) == found  # asked again, nothing changes


def test_sizes_are_compared_as_they_can_be_read() -> None:
    assert comparable(28.04, 150.0, 3.0004) == comparable(28.0, 149.96, 3.0)
    assert comparable(28.1, 150.0, 3.0) != comparable(28.0, 150.0, 3.0)

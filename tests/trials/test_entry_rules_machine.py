"""Any order of enter, correct, send, lose the answer, send again, contradict, close, reopen and decide.

Whatever happens: every entry ever made is on the server exactly once when the phones have sent what they hold,
as an entry or a held one; and no more than one value stands for a tree's trait.
"""

import random
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from tests.conftest import Place
from tests.trials.crews import Phone, open_spring
from trials.entries.actions import (
    close_assessment,
    mend_held_entry,
    reopen_assessment,
    set_aside,
    set_held_aside,
    settle_dispute,
    take_late,
)
from trials.models import Assessment, Entry, HeldEntry

TREES = st.sampled_from(["S-1-1", "S-1-2"])
WHICH = st.integers(0, 1)
GROUND: list[tuple[Place, Assessment]] = []


class Crews(RuleBasedStateMachine):
    """Two phones, one assessment. `made` is the truth: everything anybody ever typed."""

    @initialize()
    def begin(self) -> None:
        place, spring = GROUND[0]
        self.outer = transaction.atomic()
        self.outer.__enter__()
        self.manager, self.spring = place.people["manager"], spring
        self.phones = [Phone(spring, place.people["field_crew"]), Phone(spring, place.people["manager"])]
        self.waiting: list[list[dict[str, Any]]] = [[], []]
        self.made: dict[uuid.UUID, dict[str, Any]] = {}
        self.told: dict[uuid.UUID, bool] = {}

    def teardown(self) -> None:
        if not hasattr(self, "outer"):
            return
        try:
            for which, phone in enumerate(self.phones):
                assert all(a.taken for a in phone.send(*self.waiting[which]))
            stored = list(Entry.objects.values_list("client_id", "number", "kind"))
            held = HeldEntry.objects.exclude(state="stored").values_list(
                "client_id", "content__number", "content__kind"
            )
            found = [*stored, *held]
            assert sorted(i for i, _, _ in found) == sorted(self.made)
            for identity, number, kind in found:
                assert (number, kind) == (self.made[identity]["number"], self.made[identity]["kind"])
        finally:
            transaction.set_rollback(True)
            self.outer.__exit__(None, None, None)

    def keep(self, which: int, entry: dict[str, Any]) -> None:
        self.waiting[which].append(entry)
        self.made[uuid.UUID(entry["id"])] = entry

    @rule(which=WHICH, tree=TREES, number=st.sampled_from([20.0, 21.0]))
    def enter(self, which: int, tree: str, number: float) -> None:
        self.keep(which, self.phones[which].entry(tree, number))

    @rule(which=WHICH, tree=TREES, kind=st.sampled_from(["dead", "missing", "skipped"]))
    def mark(self, which: int, tree: str, kind: str) -> None:
        self.keep(which, self.phones[which].mark(kind, tree))

    @rule(which=WHICH, pick=st.integers(0, 99))
    @precondition(lambda self: self.made)
    def correct(self, which: int, pick: int) -> None:
        """A correction of anything made so far, one's own or another's, sent or not."""
        target = list(self.made)[pick % len(self.made)]
        self.keep(which, self.phones[which].entry(self.made[target]["tree"], 22.0, corrects=str(target)))

    @rule(which=WHICH, tree=st.sampled_from(["S-9-9", "S-1-1 "]))
    def mistype(self, which: int, tree: str) -> None:
        self.keep(which, self.phones[which].entry(tree, 20.0))

    @rule(which=WHICH, seed=st.integers(0, 9), most=st.integers(1, 4), lost=st.booleans())
    def send(self, which: int, seed: int, most: int, lost: bool) -> None:
        """Some of what waits, in any order. When the answer is lost, the phone keeps it all and will send again."""
        batch = random.Random(seed).sample(self.waiting[which], min(most, len(self.waiting[which])))
        answers = self.phones[which].send(*batch)
        assert all(a.taken for a in answers)
        if not lost:
            gone = {a.id for a in answers}
            self.waiting[which] = [e for e in self.waiting[which] if e["id"] not in gone]

    @rule(which=WHICH, pick=st.integers(0, 99))
    @precondition(lambda self: self.made)
    def send_something_old_again(self, which: int, pick: int) -> None:
        identity = list(self.made)[pick % len(self.made)]
        self.phones[which].send(self.made[identity])

    @rule()
    def close(self) -> None:
        waits = (
            Entry.objects.filter(standing="disputed").exists()
            or HeldEntry.objects.filter(state="waiting").exists()
        )
        try:
            close_assessment(assessment=self.spring, by=self.manager)
        except ValidationError:
            assert waits

    @rule()
    def reopen(self) -> None:
        reopen_assessment(assessment=self.spring, by=self.manager)

    @rule(pick=st.integers(0, 99), what=st.sampled_from(["settle", "take", "aside"]))
    def decide(self, pick: int, what: str) -> None:
        standings = {
            "settle": ["disputed"],
            "take": ["late", "set_aside"],
            "aside": ["late", "current", "disputed"],
        }
        rows = list(Entry.objects.filter(standing__in=standings[what]).order_by("pk"))
        if rows:
            do = {"settle": settle_dispute, "take": take_late, "aside": set_aside}[what]
            decided = do(entry_id=rows[pick % len(rows)].pk, by=self.manager)
            assert what != "settle" or decided.standing == "current"
            assert what != "take" or decided.standing not in ("late", "set_aside")

    @rule(mend=st.booleans())
    def settle_held(self, mend: bool) -> None:
        held = HeldEntry.objects.filter(state="waiting").order_by("pk").first()
        if held is not None and mend:
            assert (
                mend_held_entry(held_id=held.pk, changes={"tree": "S-1-1"}, by=self.manager).state == "stored"
            )
        elif held is not None:
            set_held_aside(held_id=held.pk, by=self.manager)

    @invariant()
    def nothing_is_there_twice_and_one_value_stands(self) -> None:
        if not hasattr(self, "made"):
            return
        mended = HeldEntry.objects.filter(state="stored").count()
        there = set(Entry.objects.values_list("client_id", flat=True))
        assert there <= set(self.made)
        assert mended <= len(there)
        unmended = HeldEntry.objects.exclude(state="stored").values_list("client_id", flat=True)
        assert not there & set(unmended)
        standing = Entry.objects.filter(standing="current", kind="value").values("tree", "trait")
        assert not standing.annotate(n=Count("pk")).filter(n__gt=1).exists()

    @invariant()
    def what_stands_and_what_repeats_it_agree(self) -> None:
        if not hasattr(self, "made"):
            return
        agreed: dict[Any, set[Any]] = {}
        rows = Entry.objects.filter(
            standing__in=["current", "repeated"], kind__in=["value", "dead", "missing"]
        )
        for tree, trait, kind, number in rows.values_list("tree", "trait", "kind", "number"):
            agreed.setdefault((tree, trait), set()).add((kind, number))
        assert all(len(s) == 1 for s in agreed.values())

    @invariant()
    def a_dispute_has_two_sides(self) -> None:
        if not hasattr(self, "made"):
            return
        sides: dict[Any, set[Any]] = {}
        for tree, trait, kind, number in Entry.objects.filter(standing="disputed").values_list(
            "tree", "trait", "kind", "number"
        ):
            sides.setdefault((tree, trait, kind == "value"), set()).add((kind, number))
        assert all(len(s) > 1 for s in sides.values())
        agreed = Entry.objects.filter(standing="current", kind="value").values_list("tree", "trait")
        assert not {(t, trait, True) for t, trait in agreed} & set(sides)


@pytest.fixture
def ground(material: Place) -> Iterator[None]:
    GROUND.append((material, open_spring(material)))
    yield
    GROUND.clear()


def test_any_order_ends_with_every_value_on_the_server_once(ground: None) -> None:
    run_state_machine_as_test(
        Crews,
        settings=settings(
            max_examples=25,
            stateful_step_count=25,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )

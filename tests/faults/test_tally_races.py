"""Scanners that send at the same moment, over each other and again: nothing lost, no board and no code doubled."""

import random
import threading
import uuid
from typing import Any

import pytest
from django.db import close_old_connections, connections

from portal.models import User
from sawing.models import Board, BoardCode, HeldTally, Study, TallyEntry
from sawing.tally.actions import receive_tally
from tests.conftest import Place
from tests.sawing.scanners import Scanner, code, saw_ready

pytestmark = pytest.mark.django_db(transaction=True)
SCANNERS, BOARDS = 6, 12


@pytest.fixture
def study(full: Place) -> Study:
    return saw_ready(full)


def sent_at_once(study: Study, person: User, queues: list[tuple[uuid.UUID, list[list[Any]]]]) -> list[str]:
    """Each queue in a thread of its own, all let go together; the errors, in words."""
    ready, errors = threading.Barrier(len(queues)), []

    def send(device: uuid.UUID, batches: list[list[Any]]) -> None:
        try:
            ready.wait(30)
            for batch in batches:
                answers = receive_tally(study=study, device=device, entries=batch, by=person)
                assert all(a.taken for a in answers)
        except Exception as error:  # told to the test, which fails with it
            errors.append(repr(error))
        finally:
            close_old_connections()
            connections.close_all()

    threads = [threading.Thread(target=send, args=queue) for queue in queues]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    return errors


def test_boards_of_their_own_each_once_though_everything_is_sent_twice(full: Place, study: Study) -> None:
    person = full.people["mill"]
    queues, made = [], {}
    for which in range(SCANNERS):
        scanner, log = Scanner(study, person), ("L1", "L2", "L3")[which % 3]
        entries = [
            scanner.board(code(log, row=10 + n, col=10 + which), thickness_mm=20, width_mm=50, length_m=1)
            for n in range(BOARDS)
        ]
        made.update({uuid.UUID(e["id"]): e["codes"][0] for e in entries})
        batches = [entries[i : i + 4] for i in range(0, BOARDS, 4)]
        again = random.Random(which).sample(batches, len(batches))
        queues.append((scanner.device, [*batches, *again]))
        queues.append((scanner.device, [*again]))  # the same tablet in two tabs
    assert sent_at_once(study, person, queues) == []
    assert dict(TallyEntry.objects.values_list("client_id", "board_code")) == made
    assert sorted(Board.objects.filter(study=study).values_list("code", flat=True)) == sorted(made.values())
    assert BoardCode.objects.count() == len(made)
    assert set(TallyEntry.objects.values_list("standing", flat=True)) == {"current"}
    assert not HeldTally.objects.exists()


def test_the_same_boards_by_all_scanners_agree_or_are_in_dispute(full: Place, study: Study) -> None:
    """Everybody tallies the same six boards, each beginning with another code of it; one says another width of two."""
    person = full.people["mill"]
    queues = []
    for which in range(SCANNERS):
        scanner = Scanner(study, person)
        entries = []
        for n in range(6):
            codes = [code(row=5 + 4 * n, col=12 + (which + k) % SCANNERS) for k in range(SCANNERS)]
            width = 90 if which == 0 and n < 2 else 100
            entries.append(scanner.board(*codes, width_mm=width, thickness_mm=20))
        queues.append((scanner.device, [entries[:3], entries[3:], entries]))
    assert sent_at_once(study, person, queues) == []
    assert TallyEntry.objects.count() == SCANNERS * 6
    assert Board.objects.filter(study=study).count() == 6
    standings = sorted(TallyEntry.objects.values_list("standing", flat=True))
    expected = ["current"] * 4 + ["disputed"] * 2 * SCANNERS + ["repeated"] * 4 * (SCANNERS - 1)
    assert standings == expected
    assert BoardCode.objects.filter(board__study=study).count() == 6 * SCANNERS

"""Reading the tally: the balance of each log with what is odd about its boards, disputes, and what is held."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import pandas as pd
from django.db.models import QuerySet

from sawing import queries
from sawing.calc.balance import LogBalance
from sawing.calc.tally_warnings import TEXTS, TallyWarning, log_warnings
from sawing.models import Board, HeldTally, Study, TallyEntry
from sawing.models.tally import HeldTallyState, TallyStanding
from sawing.tally.at_saw import boards_at_saw, logs_at_saw, plan_of

Odd = tuple[str | None, TallyWarning]
"""The board (None: the log as a whole), and what is odd about it."""


@dataclass(frozen=True)
class Tallied:
    """The logs of a study, with boards from the saw: `rows` one a log, `balance` of the sawn ones, `odd` by log."""

    rows: pd.DataFrame
    balance: LogBalance
    boards: int
    odd: dict[str, list[Odd]]


def odd_boards(study: Study, codes: Iterable[str] | None = None) -> dict[str, list[Odd]]:
    """What is odd about the boards of these logs (all when None); logs without anything odd are left out."""
    wanted = None if codes is None else list(codes)
    logs, boards, plan = logs_at_saw(study, wanted), boards_at_saw(study, wanted), plan_of(study)
    found = {code: log_warnings(log, plan, boards[code]) for code, log in logs.items() if code in boards}
    return {code: listed for code, listed in found.items() if listed}


def tallied(study: Study) -> Tallied:
    """The balance of every log as it stands now, in actual green sizes."""
    rows = queries.log_rows(study)
    odd = odd_boards(study)
    logs, boards = queries.log_frame(study), queries.board_frame(study)
    balance = queries.balance_of(study, logs, boards)
    parts = balance.parts.reset_index(drop=True)
    rows = rows.assign(
        kerf_m3=parts["kerf_m3"].to_numpy(),
        rest_m3=(parts["rest_m3"] + parts["closing_m3"]).to_numpy(),
        odd=rows["log"].map({code: len(listed) for code, listed in odd.items()}).fillna(0),
        odd_words=[_words(odd.get(code, [])) for code in rows["log"]],
    )
    sawn = rows["boards"].gt(0) & rows["volume_m3"].notna()
    of_sawn = LogBalance(balance.parts[sawn.to_numpy()], balance.kerf_note)
    return Tallied(rows, of_sawn, int(rows.loc[sawn, "boards"].sum()), odd)


def _words(listed: Iterable[Odd]) -> str:
    """The kinds of what is odd, each once."""
    return "; ".join(dict.fromkeys(TEXTS[warning.kind] for _, warning in listed))


@dataclass
class Dispute:
    """A board of which scanners, or a scanner and a file, say different things."""

    board: str
    entries: list[TallyEntry] = field(default_factory=list)
    stored: Board | None = None

    @property
    def of_file(self) -> bool:
        return self.stored is not None and not (self.stored.notes or {}).get("tally")


def disputes_of(study: Study) -> list[Dispute]:
    """Boards in dispute, in the order in which the disputes began."""
    found: dict[str, Dispute] = {}
    rows = study.tally_entries.filter(standing=TallyStanding.DISPUTED)
    for entry in rows.select_related("by", "log", "board__log").order_by("pk"):
        dispute = found.setdefault(entry.board_code, Dispute(entry.board_code, stored=entry.board))
        dispute.entries.append(entry)
    return list(found.values())


def held_of(study: Study) -> QuerySet[HeldTally]:
    """Entries that could not be stored and that nobody settled yet."""
    return study.held_tallies.filter(state=HeldTallyState.WAITING).select_related("by")


def waiting_counts(study: Study) -> dict[str, int]:
    """Boards in dispute and entries held."""
    disputed = study.tally_entries.filter(standing=TallyStanding.DISPUTED)
    return {"disputes": disputed.values("board_code").distinct().count(), "held": held_of(study).count()}


def notes_of(study: Study) -> list[dict[str, Any]]:
    """Notes from the saw, the last first."""
    rows = study.tally_entries.filter(kind="note").select_related("by", "log").order_by("-pk")
    return [
        {"log": e.log, "text": e.text, "by": e.by, "at": e.entered_at or e.received_at} for e in rows[:50]
    ]

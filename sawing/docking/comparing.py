"""The best plan of each flitch beside what the mill cut from it."""

from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from typing import Any

from sawing.calc.dock_compare import Difference, Pieces, difference, summed
from sawing.calc.dock_results import Docked
from sawing.calc.dock_rules import Rules
from sawing.calc.picture_flitch import CutBoard
from sawing.docking import queries
from sawing.docking.outlines import Outlines
from sawing.links import board_url
from sawing.models import Board, Study
from sawing.models import Flitch as FlitchRow

ENDS = {"B": "butt", "T": "top"}


@dataclass(frozen=True)
class Compared:
    """One flitch: which outline was docked, the plan, what was cut, and where the difference went."""

    row: FlitchRow
    source: str
    docked: Docked
    boards: tuple[Board, ...]
    difference: Difference


def cut_pieces(boards: Iterable[Board]) -> Pieces:
    """Boards by the size they count as: nominal where the tally tells it, else as they left the saw."""
    return Pieces(
        tuple(
            (b.length_m * 1000, b.nominal_width_mm or b.width_mm, b.nominal_thickness_mm or b.thickness_mm)
            for b in boards
        )
    )


def cut_boards(study: Study, boards: Iterable[Board]) -> list[CutBoard]:
    """Boards for the picture of their flitch; the end they came from as their cell tells it."""
    return [
        CutBoard(
            b.code,
            b.length_m * 1000,
            b.width_mm,
            ENDS.get((b.cell or "")[:1]),
            board_url(study, b.code),
        )
        for b in boards
    ]


def compared(row: FlitchRow, outlines: Outlines, boards: list[Board], rules: Rules) -> Compared | None:
    """The comparison of one flitch; None without any outline."""
    from sawing.calc.dock_optimum import dock  # compiled code: only what computes waits for it

    outline = outlines.of(outlines.first)
    if outline is None:
        return None
    docked = dock(outline, rules)
    split = difference(Pieces.of_plan(docked), cut_pieces(boards))
    return Compared(row, outlines.first, docked, tuple(boards), split)


def source_words(row: FlitchRow, source: str) -> str:
    """Where an outline comes from, in words."""
    if source == "predicted":
        return "predicted from the log"
    return {"measured": "measured", "traced": "traced"}.get(row.outline_from or "", "none")


def compared_study(
    study: Study, rules: Rules, progress: Callable[[int, int], Any] = lambda done, total: None
) -> dict[str, Any]:
    """The comparison of all flitches with boards, as it is kept: rows, total, how many are left out or guessed.

    :raises ValueError: an outline or a log that docking cannot read.
    """
    boards = queries.boards_by_flitch(study)
    rows = [row for row in queries.flitches_of(study) if row.n_boards]
    outlines = queries.outlines_of(study, rows)
    there: list[Compared] = []
    for at, row in enumerate(rows):
        progress(at, len(rows))
        found = compared(row, outlines[row.pk], boards[row.pk], rules)
        if found is not None:
            there.append(found)
    return {
        "rows": [_row(c) for c in there],
        "total": asdict(summed([c.difference for c in there])),
        "left_out": len(rows) - len(there),
        "guessed": sum(c.source == "predicted" for c in there),
    }


def _row(c: Compared) -> dict[str, Any]:
    pieces = {b.piece or b.code for b in c.boards}
    return {
        "pk": c.row.pk,
        "log": c.row.log.code,
        "flitch": c.row.code,
        "outline": source_words(c.row, c.source),
        **asdict(c.difference),
        "total_m3": c.difference.total_m3,
        "docks": max(0, len(c.docked.boards) - 1),
        "cut_docks": len(pieces) - 1,
    }

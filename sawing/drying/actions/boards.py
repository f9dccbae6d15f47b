"""What drying did to boards: defects and dry sizes."""

from collections.abc import Sequence

from django.db import transaction

from portal import access
from portal.models import User
from sawing.calc.warp import KINDS, judge
from sawing.drying import queries
from sawing.drying.asked import WRITERS, DefectAsked, RowsRefusedError, SizeAsked
from sawing.models import Board, DryingDefect, Study


def keep_defects(*, study: Study, rows: Sequence[DefectAsked], by: User) -> int:
    """Store drying defects of boards; all of them or none. Returns how many.

    :raises RowsRefusedError: an unknown board, a deflection without its size or length, one that cannot be.
    """
    access.require(by, study.trial_id, WRITERS)
    with transaction.atomic():
        boards = queries.boards_by_what_was_read(study, [row.board for row in rows])
        wrong = {at: why for at, row in enumerate(rows) if (why := _defect_wrong(row, boards.get(row.board)))}
        if wrong:
            raise RowsRefusedError(wrong)
        DryingDefect.objects.bulk_create(
            DryingDefect(
                board=boards[row.board],
                kind=row.kind,
                size_mm=row.size_mm,
                over_mm=None if row.over_m is None else 1000 * row.over_m,
                seen_on=row.seen_on,
                note=row.note,
                by=by,
            )
            for row in rows
        )
        return len(rows)


def _defect_wrong(row: DefectAsked, board: Board | None) -> str:
    if board is None:
        return f"{row.board}: the study has no board of this code"
    if row.kind not in KINDS:
        return ""
    if row.size_mm is None:
        return f"a {row.kind} needs its size in mm"
    concerns = judge(row.kind, row.size_mm, row.over_m, board.dry_width_mm or board.width_mm).concerns
    return concerns[0] if concerns else ""


def set_aside_defect(*, defect: DryingDefect, by: User, aside: bool = True) -> None:
    """Leave a mistaken defect out, or let it count again; it stays on record."""
    access.require(by, defect.board.study.trial_id, WRITERS)
    with transaction.atomic():
        DryingDefect.objects.filter(pk=defect.pk).update(set_aside=aside)


def keep_dry_sizes(*, study: Study, rows: Sequence[SizeAsked], by: User) -> int:
    """Store the sizes of dried boards; a size that is not given stays as it is. Returns how many boards.

    :raises RowsRefusedError: an unknown board, one named twice, a dry size above the green one by more than 2 %, or
        less than half of it.
    """
    access.require(by, study.trial_id, WRITERS)
    with transaction.atomic():
        boards = queries.boards_by_what_was_read(study, [row.board for row in rows])
        locked = {
            b.pk: b for b in Board.objects.select_for_update().filter(pk__in={b.pk for b in boards.values()})
        }
        wrong: dict[int, str] = {}
        seen: set[int] = set()
        for at, row in enumerate(rows):
            board = locked.get(boards[row.board].pk) if row.board in boards else None
            why = "named twice" if board and board.pk in seen else _size_wrong(row, board)
            if why or board is None:
                wrong[at] = why
                continue
            seen.add(board.pk)
            board.dry_thickness_mm = row.thickness_mm or board.dry_thickness_mm
            board.dry_width_mm = row.width_mm or board.dry_width_mm
            board.dry_length_m = row.length_m or board.dry_length_m
        if wrong:
            raise RowsRefusedError(wrong)
        Board.objects.bulk_update(locked.values(), ["dry_thickness_mm", "dry_width_mm", "dry_length_m"])
        return len(rows)


def _size_wrong(row: SizeAsked, board: Board | None) -> str:
    if board is None:
        return f"{row.board}: the study has no board of this code"
    sizes = (
        ("thickness", row.thickness_mm, board.thickness_mm, "mm"),
        ("width", row.width_mm, board.width_mm, "mm"),
        ("length", row.length_m, board.length_m, "m"),
    )
    if all(size is None for _, size, _, _ in sizes):
        return "no size is given"
    for what, dry, green, unit in sizes:
        if dry is not None and not 0.5 * green <= dry <= 1.02 * green:
            return f"a {what} of {dry:g} {unit} for one of {green:g} {unit} green: look again"
    return ""

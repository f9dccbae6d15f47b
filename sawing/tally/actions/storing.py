"""Writing tally entries, their standings and the boards they make: part of every action, under the study's lock."""

import uuid
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from sawing.calc.label_code import LabelCode
from sawing.calc.tally_reading import TallyRead
from sawing.calc.tally_standing import COUNTS
from sawing.calc.tally_warnings import BoardAtSaw, LogAtSaw, Plan, TallyWarning, board_warnings
from sawing.models import Board, BoardCode, Flitch, LabelSheet, Study, TallyEntry
from sawing.models.tally import TallyKind, TallyStanding
from sawing.tally.actions.boards import TALLIED, Spoken
from sawing.tally.at_saw import boards_at_saw, logs_at_saw, plan_of
from sawing.tally.ground import Ground, Place, ground_for, read_codes

BOARD_FIELDS = [
    "thickness_mm", "width_mm", "length_m", "piece", "cell", "flitch", "nominal_thickness_mm", "nominal_width_mm",
    "notes",
]  # fmt: skip


def lock_study(pk: int) -> Study:
    """The study, locked: one batch at a time into each, and none while a file of boards is stored."""
    return Study.objects.select_for_update(of=("self",), no_key=True).select_related("trial").get(pk=pk)


@dataclass
class Tally:
    """A study's tally while its lock is held: entries are taken one after the other, and written at the end."""

    study: Study
    ground: Ground
    plan: Plan
    logs: dict[str, LogAtSaw]
    around: dict[str, dict[str, BoardAtSaw]]
    spoken: dict[str, Spoken] = field(default_factory=dict)
    new: list[TallyEntry] = field(default_factory=list)

    @classmethod
    def of(cls, study: Study, reads: Collection[TallyRead], entries: Collection[TallyEntry] = ()) -> "Tally":
        """What these entries refer to. The caller holds the study's lock."""
        ground = ground_for(study, reads, entries)
        codes = list(ground.logs)
        logs = logs_at_saw(study, codes)
        around = {log: {b.code: b for b in boards} for log, boards in boards_at_saw(study, codes).items()}
        return cls(study, ground, plan_of(study), logs, around)

    def take(
        self, read: TallyRead, device: uuid.UUID | None, by_id: int, *, forced: bool = False
    ) -> tuple[TallyEntry | None, list[str]]:
        """The entry, to be written by `write`, or every reason why it has to be held."""
        place, problems = (None, []) if read.kind == TallyKind.NOTE else self.ground.place_of(read)
        if problems:
            return None, problems
        log = place.log if place else self.ground.logs.get(read.log or "")
        if read.kind == TallyKind.BOARD and log is None:
            return None, ["log: found nothing, expected the code of a log or a label's code"]
        entry = TallyEntry(
            client_id=read.id, study=self.study, kind=read.kind, log=log, board_code=place.board if place else "",
            flitch_code=read.flitch or "", piece=read.piece or "", codes=[c.text for c in read.codes],
            thickness_mm=read.thickness_mm, width_mm=read.width_mm, length_m=read.length_m, text=read.text,
            confirmed=read.confirmed, sequence=read.sequence, entered_at=read.entered_at, by_id=by_id,
            device=device or read.id, standing=TallyStanding.CURRENT,
        )  # fmt: skip
        if place is not None:
            group = self.group(place.board)
            stand = group.standings(entry)
            what, chosen = group.effect(stand, entry)
            if refused := group.refusal(what, entry, forced):
                return None, [refused]
            entry.warnings = [w.to_dict() for w in self._warnings(entry, place)]
            group.entries.append(entry)
            self._apply(group, stand, what, chosen)
        self.new.append(entry)
        return entry, []

    def decide(
        self, entry: TallyEntry, decided: Mapping[uuid.UUID, str | None], *, against_file: bool = False
    ) -> str | None:
        """Apply a person's decisions to what was said of an entry's board; the reason when that cannot be.

        :param against_file: where the board came by a file, its say counts no more.
        """
        group = self.group(entry.board_code)
        stand = group.standings(decided=decided, without_file=against_file)
        what, chosen = group.effect(stand)
        if refused := group.refusal(what, entry, forced=True):
            return refused
        self._apply(group, stand, what, chosen)
        if against_file and group.of_file and group.board is not None:
            group.board.notes = {**(group.board.notes or {}), **TALLIED}
            group.changed = True
        return None

    def group(self, code: str) -> Spoken:
        if code not in self.spoken:
            board = self.ground.boards.get(code)
            self.spoken[code] = Spoken(code, board, self.ground.entries.get(code, []))
        return self.spoken[code]

    def _apply(
        self, group: Spoken, stand: Mapping[object, str], what: str, chosen: TallyEntry | None
    ) -> None:
        before = group.board
        group.apply(stand, what, chosen, self.plan)
        if group.board is None:
            self.ground.boards.pop(group.code, None)
            self.ground.code_on = {k: b for k, b in self.ground.code_on.items() if b != group.code}
        else:
            self.ground.boards[group.code] = group.board
            for code, sheet in self._codes(group):
                self.ground.code_on.setdefault((sheet.pk, code.row, code.col), group.code)
        for board in (before, group.board):
            if board is not None and board.log_id is not None:
                self._place_around(board, group)

    def _place_around(self, board: Board, group: Spoken) -> None:
        """Keep the boards of the log, as the next entry's warnings see them, up with what was decided."""
        beside = self.around.setdefault(board.log.code, {})
        if group.board is None:
            beside.pop(group.code, None)
            return
        cells = dict.fromkeys(beside[group.code].cells if group.code in beside else ())
        cells |= {(code.end, code.row, code.col): None for code, _ in self._codes(group)}
        beside[group.code] = BoardAtSaw(
            group.code, board.thickness_mm, board.width_mm, board.length_m, group.flitch or None, tuple(cells)
        )

    def _codes(self, group: Spoken) -> list[tuple[LabelCode, LabelSheet]]:
        """The codes read on a board by entries for whose sake it is there, with their sheets."""
        found: dict[LabelCode, LabelSheet] = {}
        for entry in group.entries:
            if entry.kind == TallyKind.BOARD and entry.standing in COUNTS:
                for code in read_codes(entry.codes):
                    sheet = self.ground.sheets.get((code.serial, code.end))
                    if sheet is not None:
                        found[code] = sheet
        return list(found.items())

    def _warnings(self, entry: TallyEntry, place: Place) -> list[TallyWarning]:
        log = self.logs.get(place.log.code) if place.log else None
        if entry.kind != TallyKind.BOARD or log is None:
            return []
        cells = tuple((code.end, code.row, code.col) for code in place.sheets)
        board = BoardAtSaw(
            place.board, entry.thickness_mm or 0.0, entry.width_mm or 0.0, entry.length_m or 0.0,
            entry.flitch_code or None, cells,
        )  # fmt: skip
        return board_warnings(log, self.plan, board, list(self.around.get(log.code, {}).values()))

    # Writing: standings that leave go first, so that no two entries ever stand for one board.

    def write(self) -> None:
        """Write everything taken and decided."""
        groups = list(self.spoken.values())
        gone = [g for g in groups if g.stored is not None and g.board is not g.stored]
        self._write_standings(groups, leaving=True)
        if gone:
            self._remove(gone)
        self._write_boards([g for g in groups if g.changed and g.board is not None])
        self._write_standings(groups, leaving=False)
        for group in groups:
            if (
                group.board is not None
                and group.board is not group.stored
                and (pks := [e.pk for e in group.entries if e.pk])
            ):
                TallyEntry.objects.filter(pk__in=pks).update(board=group.board)
            for entry in group.entries:
                entry.board = group.board
        TallyEntry.objects.bulk_create(self.new)
        self._write_codes([g for g in groups if g.board is not None])

    def _write_standings(self, groups: Collection[Spoken], *, leaving: bool) -> None:
        moved: dict[str, list[int]] = {}
        for group in groups:
            for entry in group.entries:
                was = group.was.get(entry.client_id, entry.standing)
                if entry.pk and was != entry.standing and (entry.standing != "current") == leaving:
                    moved.setdefault(entry.standing, []).append(entry.pk)
        for standing, pks in moved.items():
            TallyEntry.objects.filter(pk__in=pks).update(standing=standing)

    def _remove(self, gone: Collection[Spoken]) -> None:
        """Boards that nobody says there are. Their history keeps them; a code on them is free again."""
        boards = [g.stored.pk for g in gone if g.stored is not None]
        TallyEntry.objects.filter(board_id__in=boards).update(board=None)
        BoardCode.objects.filter(board_id__in=boards).delete()
        Board.objects.filter(pk__in=boards).delete()

    def _write_boards(self, groups: Collection[Spoken]) -> None:
        self._make_flitches(groups)
        new, changed = [], []
        for group in groups:
            board = group.board
            if board is None:
                continue
            board.flitch = self.ground.flitches.get((board.log_id, group.flitch)) if group.flitch else None
            (changed if board.pk else new).append(board)
        Board.objects.bulk_create(new)
        if changed:
            Board.objects.bulk_update(changed, BOARD_FIELDS)

    def _make_flitches(self, groups: Collection[Spoken]) -> None:
        missing: dict[tuple[int, str], Flitch] = {}
        for group in groups:
            if group.board is None or not group.flitch:
                continue
            key = (group.board.log_id, group.flitch)
            if key not in self.ground.flitches and key not in missing:
                missing[key] = Flitch(
                    study=self.study, log_id=key[0], code=key[1], thickness_mm=group.board.thickness_mm
                )
        Flitch.objects.bulk_create(missing.values())
        self.ground.flitches |= missing

    def _write_codes(self, groups: Collection[Spoken]) -> None:
        there = set(
            BoardCode.objects.filter(
                board__in=[g.board.pk for g in groups if g.board is not None], withdrawn_at__isnull=True
            ).values_list("sheet_id", "row", "col")
        )
        rows = []
        for group in groups:
            by = next((e.by_id for e in reversed(group.entries) if e.standing in COUNTS), None)
            for code, sheet in self._codes(group):
                key = (sheet.pk, code.row, code.col)
                if self.ground.code_on.get(key) == group.code and key not in there:
                    there.add(key)
                    rows.append(
                        BoardCode(board=group.board, sheet=sheet, row=code.row, col=code.col, by_id=by)
                    )
        BoardCode.objects.bulk_create(rows)

"""Yards and stacks: building, placing boards, releasing them."""

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from typing import Any

from django.db import transaction

from portal import access
from portal.models import User
from sawing.drying import queries
from sawing.drying.asked import WRITERS, PlacingAsked, RowsRefusedError
from sawing.models import Board, Stack, StackPlacing, StackState, Study, Yard
from trials.models import Trial


def keep_yard(*, trial: Trial, by: User, yard: Yard | None = None, **fields: Any) -> Yard:
    """Add a yard to a trial, or change one; the earlier climate stays in the history."""
    access.require(by, trial.pk, WRITERS)
    with transaction.atomic():
        if yard is None:
            return Yard.objects.create(trial=trial, **fields)
        yard = Yard.objects.select_for_update().get(pk=yard.pk, trial=trial)
        for name, value in fields.items():
            setattr(yard, name, value)
        yard.save()
        return yard


def build_stack(*, study: Study, code: str, by: User, **fields: Any) -> Stack:
    """Begin a stack without boards."""
    access.require(by, study.trial_id, WRITERS)
    with transaction.atomic():
        return Stack.objects.create(study=study, code=code, **fields)


def change_stack(*, stack: Stack, by: User, **fields: Any) -> Stack:
    """Change what is known of a stack; the earlier values stay in the history."""
    access.require(by, stack.study.trial_id, WRITERS)
    with transaction.atomic():
        stack = Stack.objects.select_for_update().get(pk=stack.pk)
        for name, value in fields.items():
            setattr(stack, name, value)
        if stack.state == StackState.BUILDING and stack.built_on and stack.placings.exists():
            stack.state = StackState.DRYING
        stack.save()
        return stack


def place_boards(
    *, stack: Stack, placings: Sequence[PlacingAsked], placed_on: dt.date, by: User, move: bool = False
) -> int:
    """Put boards into a stack: all of them or, when one cannot be, none. Boards become "in stack". Returns how many.

    :param move: boards that lie in another stack are taken out of it on that day; without it they are refused.
    :raises RowsRefusedError: an unknown board, one named twice, one in a stack already, one past drying.
    """
    access.require(by, stack.study.trial_id, WRITERS)
    with transaction.atomic():
        stack = Stack.objects.select_for_update().select_related("study").get(pk=stack.pk)
        if stack.state == StackState.RELEASED:
            raise RowsRefusedError({0: f"stack {stack.code} is released: build another one"})
        boards = queries.boards_by_what_was_read(stack.study, [p.board for p in placings])
        locked = {
            b.pk: b for b in Board.objects.select_for_update().filter(pk__in=[b.pk for b in boards.values()])
        }
        there = {
            p.board_id: p
            for p in StackPlacing.objects.filter(board__in=locked, taken_on__isnull=True).select_related(
                "stack"
            )
        }
        refused = _refused(stack, placings, boards, there, placed_on, move)
        if refused:
            raise RowsRefusedError(refused)
        moved = [p.pk for p in there.values()]
        StackPlacing.objects.filter(pk__in=moved).update(
            taken_on=placed_on, taken_why=f"moved to stack {stack.code}"
        )
        StackPlacing.objects.bulk_create(
            StackPlacing(
                stack=stack, board=boards[p.board], layer=p.layer, position=p.position, placed_on=placed_on
            )
            for p in placings
        )
        Board.objects.filter(pk__in=locked, state="sawn").update(state="in_stack")
        if stack.state == StackState.BUILDING and stack.built_on and stack.built_on <= placed_on:
            stack.state = StackState.DRYING
            stack.save()
        return len(placings)


def _refused(
    stack: Stack,
    placings: Sequence[PlacingAsked],
    boards: dict[str, Board],
    there: dict[int, StackPlacing],
    placed_on: dt.date,
    move: bool,
) -> dict[int, str]:
    times = Counter(boards[p.board].pk for p in placings if p.board in boards)
    places = Counter(
        (p.layer, p.position) for p in placings if p.layer is not None and p.position is not None
    )
    taken = set(queries.placings_of(stack).values_list("layer", "position"))
    found: dict[int, str] = {}
    for at, asked in enumerate(placings):
        board = boards.get(asked.board)
        lies = there.get(board.pk) if board else None
        place = (asked.layer, asked.position)
        if board is None:
            found[at] = f"{asked.board}: the study has no board of this code"
        elif times[board.pk] > 1:
            found[at] = f"{board.code} stands here {times[board.pk]} times"
        elif lies is not None and lies.stack_id == stack.pk:
            found[at] = f"{board.code} is in this stack already"
        elif lies is not None and not move:
            found[at] = (
                f"{board.code} is in stack {lies.stack.code}: release it there first, or have it moved"
            )
        elif lies is not None and lies.placed_on > placed_on:
            found[at] = f"{board.code} went into stack {lies.stack.code} later than {placed_on}"
        elif board.state not in ("sawn", "in_stack"):
            found[at] = (
                f"{board.code} is {board.get_state_display().lower()}: only boards off the saw are stacked"
            )
        elif None not in place and (place in taken or places[place] > 1):
            found[at] = f"layer {asked.layer}, place {asked.position} is taken"
    return found


def take_out_boards(*, stack: Stack, codes: Sequence[str], taken_on: dt.date, why: str, by: User) -> int:
    """Take boards out of a stack that are not dry yet: they are "sawn" again and may be stacked anew. Returns how many.

    Their time in the stack stays on record, with the reason. Boards graded meanwhile stay graded; the stack itself
    stays as it is, even when it is empty.

    :raises RowsRefusedError: no code, a code that is not in the stack, a day before its board was placed, no reason.
    """
    access.require(by, stack.study.trial_id, WRITERS)
    if not why.strip():
        raise RowsRefusedError({0: "say why the boards are taken out"})
    with transaction.atomic():
        stack = Stack.objects.select_for_update().select_related("study").get(pk=stack.pk)
        inside = {p.board_id: p for p in queries.placings_of(stack).select_for_update(of=("self",))}
        leaving = _named_inside(stack, codes, inside)
        if not leaving:
            raise RowsRefusedError({0: "name at least one board"})
        late = [p for p in leaving if p.placed_on > taken_on]
        if late:
            raise RowsRefusedError(
                {0: f"{late[0].board.code} was placed on {late[0].placed_on}, after that day"}
            )
        placings = StackPlacing.objects.filter(pk__in=[p.pk for p in leaving])
        placings.update(taken_on=taken_on, taken_why=why.strip())
        Board.objects.filter(pk__in=[p.board_id for p in leaving], state="in_stack").update(state="sawn")
        return len(leaving)


def _named_inside(stack: Stack, codes: Sequence[str], inside: dict[int, StackPlacing]) -> list[StackPlacing]:
    """The placings of named boards; RowsRefusedError with every code that is not in the stack."""
    named = queries.boards_by_what_was_read(stack.study, codes)
    lost = {
        at: f"{code} is not in this stack"
        for at, code in enumerate(codes)
        if code not in named or named[code].pk not in inside
    }
    if lost:
        raise RowsRefusedError(lost)
    return [inside[pk] for pk in {board.pk for board in named.values()}]


def release_boards(
    *, stack: Stack, released_on: dt.date, by: User, codes: Sequence[str] | None = None
) -> int:
    """Take boards out of a stack as dry; all of them release the stack itself. Returns how many.

    Boards that were graded meanwhile leave the stack and stay graded. Whether they are dry enough is asked on the page
    (`sawing.calc.stack_drying.release_warnings`) and confirmed there.

    :raises RowsRefusedError: a code that is not in the stack, a day before a board was placed, an empty stack.
    """
    access.require(by, stack.study.trial_id, WRITERS)
    with transaction.atomic():
        stack = Stack.objects.select_for_update().select_related("study").get(pk=stack.pk)
        inside = list(queries.placings_of(stack).select_for_update(of=("self",)))
        leaving = inside
        if codes is not None:
            leaving = _named_inside(stack, codes, {p.board_id: p for p in inside})
        if not leaving:
            raise RowsRefusedError({0: "there is no board to release"})
        late = [p for p in leaving if p.placed_on > released_on]
        if late:
            raise RowsRefusedError(
                {0: f"{late[0].board.code} was placed on {late[0].placed_on}, after that day"}
            )
        StackPlacing.objects.filter(pk__in=[p.pk for p in leaving]).update(taken_on=released_on)
        Board.objects.filter(pk__in=[p.board_id for p in leaving], state="in_stack").update(state="dry")
        if len(leaving) == len(inside):
            stack.state, stack.released_on = (
                StackState.RELEASED,
                max(released_on, stack.built_on or released_on),
            )
            stack.save()
        return len(leaving)

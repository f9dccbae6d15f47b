"""Drawing boards for a blind sample: as many of each grade on record as can be, at random by a seed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np


def draw_boards(
    grade_of: Mapping[str, str | None], count: int, seed: int, order: Sequence[str] = ()
) -> list[str]:
    """Codes of `count` boards in random order, spread over the grades as evenly as they allow.

    :param grade_of: {board: grade on record, None where there is none}; boards without a grade are a group of their
        own. :param order: grades, so that the same seed draws the same whatever order the boards come in.
    :raises ValueError: no boards asked for, or more than there are.
    """
    if not 0 < count <= len(grade_of):
        raise ValueError(f"from 1 to {len(grade_of)} boards can be drawn, not {count}")
    rng = np.random.default_rng(seed)
    place = {grade: at for at, grade in enumerate(order)}
    groups: dict[str | None, list[str]] = {}
    for board in sorted(grade_of):
        groups.setdefault(grade_of[board], []).append(board)
    stacks = [
        [mine[i] for i in rng.permutation(len(mine))]
        for _, mine in sorted(groups.items(), key=lambda g: (place.get(str(g[0]), 99), str(g[0])))
    ]
    chosen: list[str] = []
    while len(chosen) < count:
        for stack in stacks:
            if stack and len(chosen) < count:
                chosen.append(stack.pop())
    return [chosen[i] for i in rng.permutation(len(chosen))]

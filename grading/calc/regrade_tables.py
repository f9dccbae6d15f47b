"""What moved when boards were graded anew: a cross table, and how many went up, down, or cannot be compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd


@dataclass(frozen=True)
class Moves:
    """Boards by how their grade moved. `gone`: had a grade, and now it cannot be said; `new`: the other way round;
    `open`: neither before nor after; `other`: the grade before is none of the new rules'."""

    same: int
    up: int
    down: int
    other: int
    gone: int
    new: int
    open: int

    @property
    def boards(self) -> int:
        return self.same + self.up + self.down + self.other + self.gone + self.new + self.open


def moves(before: pd.Series, after: pd.Series, order: Sequence[str]) -> Moves:
    """How the grades of boards moved; grades by code, None where there is none.

    :param order: grades of the new rules, best first.
    """
    rank = {code: at for at, code in enumerate(order)}
    was, now = before.map(rank).astype(float), after.map(rank).astype(float)
    had, has = before.notna(), after.notna()
    known = was.notna() & now.notna()
    return Moves(
        same=int((known & (was == now)).sum()),
        up=int((known & (now < was)).sum()),
        down=int((known & (now > was)).sum()),
        other=int((had & has & ~known).sum()),
        gone=int((had & ~has).sum()),
        new=int((~had & has).sum()),
        open=int((~had & ~has).sum()),
    )


def cross_table(
    table: pd.DataFrame, rows: Sequence[str | None], columns: Sequence[str | None]
) -> list[dict[str, Any]]:
    """Boards and volumes by grade before and after.

    :param table: before, after (codes or None), volume_before_m3, volume_after_m3.
    :param rows: grades before, in the order to show; None for boards without one. `columns`: the same of after.
    :returns: one dict a row: grade, cells [{"grade", "boards", "volume_m3", "same"}], boards; volume is that after.
    """
    found = []
    for was in rows:
        mine = table[table["before"].isna() if was is None else table["before"] == was]
        cells = []
        for now in columns:
            cell = mine[mine["after"].isna() if now is None else mine["after"] == now]
            cells.append(
                {
                    "grade": now,
                    "boards": len(cell),
                    "volume_m3": float(cell["volume_after_m3"].sum()),
                    "same": was is not None and was == now,
                }
            )
        found.append(
            {
                "grade": was,
                "cells": cells,
                "boards": len(mine),
                "volume_m3": float(mine["volume_before_m3"].sum()),
            }
        )
    return [row for row in found if row["boards"]]

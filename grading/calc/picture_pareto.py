"""Kinds that boards were downgraded for, most first, with the running share: bars and a line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from portal.calc.svg import TYPE_SIZES, WIDE, Drawing, Scale, shortened

SMALL: Final = TYPE_SIZES["small"]
ROW: Final = 24.0
MOST: Final = 12


def pareto_picture(
    rows: Sequence[Mapping[str, Any]], *, name: str, title: str, note: str = "", width: int = WIDE
) -> str:
    """One bar a kind, its number of boards written on it; a line of the cumulative share from the top down.

    :param rows: kind, boards, cumulative, as `out_turn_tables.pareto` gives them; beyond twelve the rest is one bar.
    """
    shown = [dict(r) for r in rows[:MOST]]
    if rest := rows[MOST:]:
        boards = sum(int(r["boards"]) for r in rest)
        shown.append({"kind": f"{len(rest)} other kinds", "boards": boards, "cumulative": 1.0})
    said = "; ".join(f"{r['kind']} {r['boards']} boards, {r['cumulative']:.0%} so far" for r in shown)
    drawing = Drawing(name, width, title, f"Boards by what decided, most first: {said or 'none'}.")
    y = drawing.heading(note) + 16
    left = 110.0 if drawing.narrow else 150.0
    most = max((int(r["boards"]) for r in shown), default=1)
    bars = Scale(0, most, left, width - 60)
    share = Scale(0, 1, left, width - 60)
    drawing.text(share.start, y - 4, "0 %", "small quiet-text", "middle")
    drawing.text(
        share.end, y - 4, "100 % of the boards", "small quiet-text", "end" if drawing.narrow else "middle"
    )
    before: tuple[float, float] | None = None
    for row in shown:
        drawing.text(0, y + 16, shortened(str(row["kind"]), SMALL, left - 8), "small")
        drawing.rect(
            left,
            y + 4,
            max(1.0, bars(row["boards"]) - left),
            ROW - 8,
            "pareto-bar",
            f"{row['boards']} boards",
        )
        drawing.text(bars(row["boards"]) + 4, y + 16, str(row["boards"]), "small strong feature-word")
        at = share(row["cumulative"]), y + ROW / 2
        if before:
            drawing.line(*before, *at, "pareto-line")
        drawing.ellipse(*at, 3, 3, "pareto-dot")
        before = at
        y += ROW
    drawing.height = y + 8
    return drawing.svg("pareto")

"""The confusion table of two graders as a picture: the darker a cell, the more boards."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from portal.calc.svg import TYPE_SIZES, WIDE, Drawing, shortened

SMALL = TYPE_SIZES["small"]
STEPS = 5


def agreement_picture(
    grades: Sequence[str],
    table: npt.NDArray[np.float64],
    first: str,
    second: str,
    *,
    name: str,
    title: str,
    note: str = "",
    width: int = WIDE,
) -> str:
    """Rows: the first grader's grade, columns: the second's; the diagonal is framed. Numbers stand in the cells."""
    said = "; ".join(
        f"{a} and {b}: {int(table[i, j])}"
        for i, a in enumerate(grades)
        for j, b in enumerate(grades)
        if table[i, j]
    )
    drawing = Drawing(name, width, title, f"Boards by grade of {first} and of {second}. {said or 'none'}.")
    y = drawing.heading(note) + 4
    left = 84.0 if drawing.narrow else 120.0
    side = min(56.0, (width - left - 4) / max(1, len(grades)))
    drawing.text(left, y + 10, shortened(f"{second}:", SMALL, width - left), "small quiet-text")
    drawing.text(0, y + 26, shortened(f"{first}:", SMALL, left - 6), "small quiet-text")
    for j, grade in enumerate(grades):
        drawing.text(left + (j + 0.5) * side, y + 26, shortened(grade, SMALL, side), "small", "middle")
    y += 32
    most = max(1.0, float(table.max(initial=0)))
    for i, grade in enumerate(grades):
        drawing.text(0, y + side / 2 + 4, shortened(grade, SMALL, left - 8), "small")
        for j in range(len(grades)):
            n = float(table[i, j])
            step = 0 if n == 0 else 1 + min(STEPS - 1, int(STEPS * n / most * 0.999))
            class_ = f"agree-{step}" + (" agree-same" if i == j else "")
            drawing.rect(
                left + j * side + 1, y + 1, side - 2, side - 2, class_, f"{grade} and {grades[j]}: {n:.0f}"
            )
            if n:
                drawing.text(
                    left + (j + 0.5) * side,
                    y + side / 2 + 4,
                    f"{n:.0f}",
                    f"small strong on-agree-{step}",
                    "middle",
                )
        y += side
    drawing.height = y + 6
    return drawing.svg("agreement")

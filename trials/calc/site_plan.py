"""A site planned from what a person asks for: the design, its trees on the ground, what it means in one line.

The same plan asked with the same seed is the same plan.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from trials.calc.alpha_arrays import DesignRefusedError
from trials.calc.designs import Design, alpha_blocks, complete_blocks, row_column
from trials.calc.field_layout import Ground, lay_out, without_guards

Kind = Literal["complete", "alpha", "row_column"]
MOST_TREES = 20_000
MOST_CLONES = {"complete": 400, "alpha": 400, "row_column": 200}
SEARCHED_IN_FULL = 60  # clones up to which a row-column search takes all its steps within a second or two


@dataclass(frozen=True)
class PlanAsked:
    """What is asked of a plan. `block_size` belongs to alpha designs, `grid` (rows, columns of plots of a block)
    to row-column designs, `plots_across` (None: all of a block in one line) to the others."""

    kind: Kind
    clones: tuple[str, ...]
    blocks: int
    seed: int
    ground: Ground
    block_size: int | None = None
    grid: tuple[int, int] | None = None
    plots_across: int | None = None


@dataclass(frozen=True)
class SitePlan:
    """A design and its trees in the columns of the layout file (see field_layout.lay_out)."""

    asked: PlanAsked
    design: Design
    layout: pd.DataFrame

    @property
    def name(self) -> str:
        """Name of the plan's file, with the seed that makes it again."""
        return f"{self.asked.ground.site}_{self.asked.kind}_{self.asked.seed}"

    @property
    def compared(self) -> pd.DataFrame:
        """The trees that are compared: all but the guards."""
        guards = self.asked.ground.guards
        return self.layout if guards is None else without_guards(self.layout, guards.clone)


def plan_site(asked: PlanAsked) -> SitePlan:
    """Find the design and lay it out. DesignRefusedError in words for a person when the numbers do not allow
    it: also for more than MOST_TREES trees of the design or MOST_CLONES clones."""
    _refuse_large(asked)
    design = _designed(asked)
    try:
        layout = lay_out(design, asked.ground)
    except ValueError as refused:
        raise DesignRefusedError(str(refused)) from refused
    return SitePlan(asked, design, layout)


def meaning(plan: SitePlan) -> str:
    """What the efficiency factor says about comparisons, in one sentence."""
    efficiency = plan.design.efficiency
    if not efficiency.connected or not efficiency.average > 0:
        return f"Some clones cannot be compared: they fall into {len(efficiency.groups)} separate groups."
    rows = plan.asked.kind == "row_column"
    if efficiency.average > 1 - 1e-9:
        inside = "row and column as often as every other" if rows else "block"
        return (
            f"Every clone stands in every {inside}, so their differences drop out of every comparison of clones "
            "and nothing is lost by it."
        )
    share = f"{100 * efficiency.average:.0f}\u00a0%"
    if rows:
        return (
            f"Rows and columns are taken out of every comparison of clones, and {share} of the information stays: "
            f"the design pays where what is left between plots then varies by less than {share} of the variance "
            "within a whole block."
        )
    return (
        f"Clones are compared across incomplete blocks, and {share} of the information stays: the design pays "
        f"where plots within an incomplete block vary by less than {share} of the variance within a whole block."
    )


def layout_rows(layout: pd.DataFrame) -> tuple[list[str], list[list[Any]]]:
    """Heads and rows of a layout as plain Python values, None where there is none."""
    rows = [[_plain(value) for value in row] for row in layout.itertuples(index=False, name=None)]
    return [str(name) for name in layout.columns], rows


def layout_csv(layout: pd.DataFrame) -> bytes:
    """The layout as the bytes of a CSV file that the portal reads back: UTF-8, comma, one head row."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    heads, rows = layout_rows(layout)
    writer.writerows([heads, *rows])
    return text.getvalue().encode()


def _plain(value: Any) -> Any:
    if value is None or value != value:
        return None
    if isinstance(value, str):
        return value
    return int(value)  # all numbers of a layout count something


def _designed(asked: PlanAsked) -> Design:
    clones, blocks, seed = asked.clones, asked.blocks, asked.seed
    if asked.kind == "complete":
        return complete_blocks(clones, blocks, seed=seed, plot_columns=asked.plots_across)
    if asked.kind == "alpha":
        size = asked.block_size or 0
        return alpha_blocks(clones, size, blocks, seed=seed, plot_columns=asked.plots_across)
    rows, columns = asked.grid or (0, 0)
    steps = 6000
    if len(clones) > SEARCHED_IN_FULL:
        steps = max(90, int(steps * (SEARCHED_IN_FULL / len(clones)) ** 4.5))
    return row_column(clones, rows, columns, blocks=blocks, seed=seed, steps=steps)


def _refuse_large(asked: PlanAsked) -> None:
    most = MOST_CLONES[asked.kind]
    if len(asked.clones) > most:
        raise DesignRefusedError(f"{len(asked.clones)} clones: expected at most {most} in this design")
    shape = asked.ground.plot_shape
    rows, columns = asked.grid or (1, len(asked.clones))
    trees = rows * columns * asked.blocks * shape.rows * shape.columns
    if trees > MOST_TREES:
        raise DesignRefusedError(f"{trees} trees on one site: expected at most {MOST_TREES}")

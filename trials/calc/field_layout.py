"""From a design of plots to trees on the ground: rows, columns, plot numbers, tree codes, guards.

Rows and columns of trees are numbered from 1 at the first corner of the site, guards included. Blocks lie in
lines of `blocks_across`, filled back and forth; plots are numbered within their block back and forth over its
lines, so that plot n + 1 always adjoins plot n.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from string import Formatter

import numpy as np
import pandas as pd

from trials.calc.designs import Design

LAYOUT_COLUMNS = ("site", "block", "plot", "clone", "tree", "row", "col")
_FORMAT = re.compile(r"0?[0-9]{0,2}d?")
_NUMBERS = frozenset({"number", "row", "col", "serial"})


@dataclass(frozen=True)
class PlotShape:
    """Trees of a plot: `rows` x `columns`. Single-tree plots are 1 x 1, a line plot of four along the row
    1 x 4."""

    rows: int = 1
    columns: int = 1


SINGLE_TREE = PlotShape()


@dataclass(frozen=True)
class Guards:
    """Guard trees: `lines` rows and columns of them around the whole site, and in places of the rectangle
    that no plot fills. All are of the clone `clone`, which is not part of the trial, and stand in a block and
    plot of their own."""

    clone: str
    lines: int = 1
    block: str = "guard"
    plot: str = "guard"


@dataclass(frozen=True)
class Codes:
    """Patterns of codes, with named places in braces; numbers may have a width, as in {row:02d}.

    block: {number}. plot: {site} {block} {number}. tree: {site} {block} {plot} {clone} {number} (tree within
    its plot) {row} {col} {serial} (tree of the site, row by row).
    """

    block: str = "{number}"
    plot: str = "{number}"
    tree: str = "{site}-{row:02d}-{col:02d}"


@dataclass(frozen=True)
class Ground:
    """How a design lies on its site."""

    site: str
    plot_shape: PlotShape = SINGLE_TREE
    blocks_across: int = 1
    guards: Guards | None = None
    codes: Codes = field(default_factory=Codes)


def line_plots(trees: int, *, along: str = "row") -> PlotShape:
    """Line plots of `trees` trees along the row (1 x n) or along the column (n x 1). ValueError for another
    direction."""
    if along not in ("row", "column"):
        raise ValueError(f"line plots along {along!r}: expected 'row' or 'column'")
    return PlotShape(1, trees) if along == "row" else PlotShape(trees, 1)


def lay_out(design: Design, ground: Ground) -> pd.DataFrame:
    """Trees of a design in the columns of the layout file: site, block, plot, clone, tree, row, col.

    Designs with incomplete blocks have them in a further column incomplete_block (None for guards), which a
    layout file carries as a note. One row a tree, in order of row and col. ValueError for a shape below 1,
    a guard clone that is part of the design, an unknown place in a pattern, and codes that come out twice.
    """
    _check(design, ground)
    trees = _planted(_numbered(design, ground), ground.plot_shape)
    lines = 0 if ground.guards is None else ground.guards.lines
    trees[["row", "col"]] += lines
    if ground.guards is not None:
        if (trees["block"] == ground.guards.block).any():
            raise ValueError(f"guard block {ground.guards.block!r} is a block of the design")
        trees = pd.concat([trees, _guard_trees(trees, ground.guards)], ignore_index=True)
    trees = trees.sort_values(["row", "col"], ignore_index=True)
    trees.insert(0, "site", ground.site)
    trees["serial"] = np.arange(1, len(trees) + 1)
    trees["tree"] = _codes(trees, ground.codes.tree, "tree")
    kept = [*LAYOUT_COLUMNS, *(["incomplete_block"] if "incomplete_block" in trees else [])]
    return trees[kept]


def without_guards(layout: pd.DataFrame, guard_clone: str) -> pd.DataFrame:
    """The trees that are compared: all but those of the guard clone."""
    return layout[layout["clone"] != guard_clone]


def _numbered(design: Design, ground: Ground) -> pd.DataFrame:
    """Plots with their place in the lines of plots of the site (top, left, from 0), block and plot codes."""
    plots = design.plots.copy()
    height, width = int(plots["grid_row"].max()), int(plots["grid_col"].max())
    line, place = np.divmod(plots["block"].to_numpy() - 1, ground.blocks_across)
    place = np.where(line % 2 == 0, place, ground.blocks_across - 1 - place)
    plots["top"] = line * height + plots["grid_row"] - 1
    plots["left"] = place * width + plots["grid_col"] - 1
    forth = np.where(plots["grid_row"] % 2 == 1, plots["grid_col"], -plots["grid_col"])
    plots = plots.assign(forth=forth).sort_values(["block", "grid_row", "forth"], ignore_index=True)
    plots["number"] = plots.groupby("block").cumcount() + 1
    plots["site"] = ground.site
    block_codes = _codes(
        pd.DataFrame({"number": np.arange(1, design.n_blocks + 1)}), ground.codes.block, "block"
    )
    plots["block"] = np.array(block_codes, dtype=object)[plots["block"] - 1]
    plots["plot"] = _filled(plots, ground.codes.plot, "plot")
    if plots.duplicated(["block", "plot"]).any():
        raise ValueError(f"plot pattern {ground.codes.plot!r} gives a code twice in a block; use {{number}}")
    return plots.drop(columns=["number", "site", "forth", "grid_row", "grid_col"])


def _planted(plots: pd.DataFrame, shape: PlotShape) -> pd.DataFrame:
    """One row a tree of each plot, with its row and column (from 1) and its number in the plot."""
    size = shape.rows * shape.columns
    trees = plots.loc[plots.index.repeat(size)].reset_index(drop=True)
    within = np.tile(np.arange(size), len(plots))
    trees["row"] = trees["top"] * shape.rows + within // shape.columns + 1
    trees["col"] = trees["left"] * shape.columns + within % shape.columns + 1
    trees["number"] = within + 1
    return trees.drop(columns=["top", "left"])


def _guard_trees(trees: pd.DataFrame, guards: Guards) -> pd.DataFrame:
    """Guards around the rectangle of all plots and wherever it has no tree."""
    bottom, right = int(trees["row"].max()) + guards.lines, int(trees["col"].max()) + guards.lines
    taken = np.zeros((bottom, right), dtype=bool)
    taken[trees["row"] - 1, trees["col"] - 1] = True
    rows, columns = np.nonzero(~taken)
    return pd.DataFrame(
        {
            "block": guards.block,
            "plot": guards.plot,
            "clone": guards.clone,
            "row": rows + 1,
            "col": columns + 1,
            "number": np.arange(1, len(rows) + 1),
            **({"incomplete_block": None} if "incomplete_block" in trees else {}),
        }
    )


def _check(design: Design, ground: Ground) -> None:
    shape, guards = ground.plot_shape, ground.guards
    if shape.rows < 1 or shape.columns < 1 or ground.blocks_across < 1:
        raise ValueError("plots of 1 x 1 trees or more and 1 block across or more are needed")
    if guards is not None and guards.lines < 0:
        raise ValueError(f"{guards.lines} guard lines: expected 0 or more")
    if guards is not None and guards.clone in design.clones:
        raise ValueError(f"guard clone {guards.clone!r} is part of the design; expected a clone of its own")


def _codes(rows: pd.DataFrame, pattern: str, what: str) -> list[str]:
    """Codes by a pattern; ValueError when one comes out twice."""
    codes = _filled(rows, pattern, what)
    if len(set(codes)) < len(codes):
        twice = next(code for i, code in enumerate(codes) if code in codes[:i])
        raise ValueError(f"{what} pattern {pattern!r} gives {twice!r} twice; expected each code once")
    return codes


def _filled(rows: pd.DataFrame, pattern: str, what: str) -> list[str]:
    allowed = {
        "block": ("number",),
        "plot": ("site", "block", "number"),
        "tree": ("site", "block", "plot", "clone", "number", "row", "col", "serial"),
    }[what]
    places = _places(pattern, allowed, what)
    columns = {name: rows[name].tolist() for name in places}
    return [pattern.format(**_at(columns, i)) for i in range(len(rows))]


def _at(columns: Mapping[str, list[object]], i: int) -> dict[str, object]:
    return {name: values[i] for name, values in columns.items()}


def _places(pattern: str, allowed: tuple[str, ...], what: str) -> list[str]:
    """Names in a pattern. Only these names and plain widths are let through: patterns come from people."""
    try:
        parts = list(Formatter().parse(pattern))
    except ValueError as error:
        raise ValueError(f"{what} pattern {pattern!r}: {error}") from None
    names = []
    for _, name, form, conversion in parts:
        if name is None:
            continue
        good_form = not form or (name in _NUMBERS and _FORMAT.fullmatch(form) is not None)
        if name not in allowed or conversion or not good_form:
            places = ", ".join("{" + place + "}" for place in allowed)
            raise ValueError(f"{what} pattern {pattern!r}: expected only {places}; a width as in {{row:02d}}")
        names.append(name)
    return names

"""Pictures of planning: a layout with its clones and blocks, and the trees chosen to fell on their site."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from portal.calc.svg import TYPE_SIZES, WIDE, Drawing, escape, text_width
from trials.calc.site_grid import Grid, draw_numbers, grid_over, outlines

SMALL = TYPE_SIZES["small"]
MOST_PLOTS = 2500  # drawn one by one; a page with more is too heavy for a phone
MOST_TREES = 5000


@dataclass(frozen=True)
class Mark:
    """A tree to fell, or a reserve: its place, the number in the walk, what hovering tells, the clone's class."""

    row: int
    col: int
    label: str
    words: str
    css: str
    reserve: bool = False
    href: str = ""


def layout_picture(
    layout: pd.DataFrame,
    css: Mapping[str, str],
    *,
    guard_block: str | None = None,
    name: str,
    title: str,
    note: str = "",
    width: float = WIDE,
) -> str:
    """Every plot of a layout (columns of field_layout.lay_out, one site) in its clone's colour with its code,
    blocks in thick lines, incomplete blocks in thin ones, guards as rings.

    `css`: class of each clone. Codes stand upright where plots are narrow and are left out where they do not
    fit. ValueError for more than MOST_PLOTS plots and guards, and for no tree at all.
    """
    guards = layout["block"] == guard_block
    trees = layout[~guards].reset_index(drop=True)
    plots = _plots(trees)
    if not len(trees) or len(plots) + int(guards.sum()) > MOST_PLOTS:
        raise ValueError(f"{len(plots)} plots: expected 1 to {MOST_PLOTS} in a picture")
    words = f"{len(plots)} plots of {plots['block'].nunique()} blocks with {plots['clone'].nunique()} clones."
    drawing = Drawing(name, width, title, words)
    y = drawing.heading(note)
    longest = max(text_width(code, SMALL) for code in plots["clone"]) + 8
    grid, label = _room_for_codes(layout, plots, y, width, longest)
    draw_numbers(drawing, grid)
    for row, col in layout.loc[guards, ["row", "col"]].itertuples(index=False):
        x, y = grid.middle(row, col)
        size = min(grid.cell_width, grid.cell_height) * 0.28
        drawing.ellipse(x, y, size, size, "frame")
    for plot in plots.itertuples():
        _draw_plot(drawing, grid, plot, css.get(str(plot.clone), "clone-none"), label)
    if "incomplete_block" in trees:
        inner = list(zip(trees["block"], trees["incomplete_block"], strict=True))
        _draw_outlines(drawing, outlines(trees, list(inner), grid), "incomplete")
    _draw_outlines(drawing, outlines(trees, trees["block"].tolist(), grid), "block")
    drawing.height = grid.bottom + 4
    return drawing.svg("site-picture")


def choice_map(
    trees: pd.DataFrame,
    marks: Sequence[Mark],
    *,
    name: str,
    title: str,
    note: str = "",
    width: float = WIDE,
) -> str:
    """The trees to fell on one site, numbered as they are walked; reserves as rings; blocks outlined.

    `trees`: row, col and block of every tree of the site. Other trees are dots, where there are at most
    MOST_TREES of them. ValueError for a site without trees.
    """
    if not len(trees):
        raise ValueError("a site without trees has no map")
    chosen = sum(not mark.reserve for mark in marks)
    words = f"{chosen} trees to fell and {len(marks) - chosen} reserves among {len(trees)} trees."
    drawing = Drawing(name, width, title, words)
    grid = grid_over(trees, drawing.heading(note), width, most_cell=26.0)
    draw_numbers(drawing, grid)
    if len(trees) <= MOST_TREES:
        for row, col in trees[["row", "col"]].itertuples(index=False):
            x, y = grid.middle(row, col)
            drawing.ellipse(x, y, 1.2, 1.2, "dot")
    drawing.path(outlines(trees, trees["block"].tolist(), grid), "block-line")
    for mark in sorted(marks, key=lambda mark: not mark.reserve):
        _draw_mark(drawing, grid, mark)
    drawing.height = grid.bottom + 10
    return drawing.svg("site-picture")


def _plots(trees: pd.DataFrame) -> pd.DataFrame:
    """One row a plot: block, plot, clone, top, left, bottom and right row and column, trees."""
    return trees.groupby(["block", "plot", "clone"], sort=False, as_index=False).agg(
        top=("row", "min"),
        left=("col", "min"),
        bottom=("row", "max"),
        right=("col", "max"),
        trees=("row", "size"),
    )


def _room_for_codes(
    layout: pd.DataFrame, plots: pd.DataFrame, y: float, width: float, longest: float
) -> tuple[Grid, str]:
    """The grid, and how codes stand in it: "across", "upright" or "" (no room)."""
    across = int((plots["right"] - plots["left"]).min()) + 1
    down = int((plots["bottom"] - plots["top"]).min()) + 1
    square = grid_over(layout, y, width, most_cell=48.0)
    if square.cell_width * across >= longest:
        height = max(20.0 / down, min(square.cell_width, 24.0))
        return grid_over(layout, y, width, most_cell=48.0, height=height), "across"
    if square.cell_width * across >= SMALL + 2:
        return grid_over(
            layout, y, width, most_cell=48.0, height=max(square.cell_width, longest / down)
        ), "upright"
    return square, ""


def _draw_plot(drawing: Drawing, grid: Grid, plot: object, css: str, label: str) -> None:
    block, number, clone = (str(getattr(plot, n)) for n in ("block", "plot", "clone"))
    top, left, bottom, right, trees = (
        int(getattr(plot, n)) for n in ("top", "left", "bottom", "right", "trees")
    )
    x, y = grid.left(left), grid.top(top)
    width, height = grid.left(right + 1) - x, grid.top(bottom + 1) - y
    many = f", {trees} trees" if trees > 1 else ""
    drawing.rect(x, y, width, height, f"mark {css}", f"{clone}: block {block}, plot {number}{many}")
    middle_x, middle_y = x + width / 2, y + height / 2
    if label == "across":
        drawing.text(middle_x, middle_y + 4, clone, f"small over on-mark {css}", anchor="middle")
    elif label == "upright":
        drawing.element(
            "text",
            escape(clone),
            x=middle_x + 4,
            y=middle_y,
            class_=f"small over on-mark {css}",
            text_anchor="middle",
            transform=f"rotate(-90 {middle_x + 4:.2f} {middle_y:.2f})",
        )


def _draw_outlines(drawing: Drawing, path: str, kind: str) -> None:
    """A line with a light case around it, so that it is seen on marks of every colour."""
    drawing.path(path, f"{kind}-case over")
    drawing.path(path, f"{kind}-line over")


def _draw_mark(drawing: Drawing, grid: Grid, mark: Mark) -> None:
    x, y = grid.middle(mark.row, mark.col)
    size = max(5.0, min(grid.cell_width, grid.cell_height) * 0.42)
    with drawing.link(mark.href, mark.words):
        note = f"<title>{escape(mark.words)}</title>"
        css = "reserve" if mark.reserve else f"mark {mark.css}"
        drawing.element("circle", note, cx=x, cy=y, r=size, class_=css)
        if mark.label and 2 * size >= text_width(mark.label, SMALL) - 2:
            drawing.text(x, y + 4, mark.label, f"small over on-mark {mark.css}", anchor="middle")
        elif mark.label:
            drawing.text(x + size + 1, y + 4, mark.label, "small strong over")

"""Pictures of layouts and of trees to fell: well-formed whatever codes are, every plot and tree at its place.

Places are checked against plain proportions worked out here by hand (computed).
"""

import re
import xml.etree.ElementTree as ET

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portal.calc.svg import NARROW, WIDE
from trials.calc.pictures_layout import Mark, choice_map, layout_picture
from trials.calc.site_grid import grid_over, outlines

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = '<script>alert("x")</script> & \'y\' \x00\x1b ]]> "'
WIDTHS = pytest.mark.parametrize("width", [WIDE, NARROW])


def layout(clones: list[str], blocks: int = 2, trees: int = 1, guard: str | None = None) -> pd.DataFrame:
    """Each block a row of plots, each plot `trees` trees in the row; a guard tree at both ends of each row."""
    rows = []
    for block in range(1, blocks + 1):
        for plot, clone in enumerate(clones):
            for tree in range(trees):
                rows.append((f"{block}", f"{plot + 1}", clone, block, plot * trees + tree + 2))
        if guard is not None:
            rows += [("guard", "guard", guard, block, col) for col in (1, len(clones) * trees + 2)]
    return pd.DataFrame(rows, columns=["block", "plot", "clone", "row", "col"])


def marks(svg: str, tag: str, css: str) -> list[ET.Element]:
    return [e for e in ET.fromstring(svg).iter(f"{SVG}{tag}") if css in (e.get("class") or "").split()]


@WIDTHS
def test_hostile_codes_are_escaped_and_pictures_well_formed(width: int) -> None:
    frame = layout([HOSTILE, "B"], guard="G").assign(site=HOSTILE)
    mark = Mark(1, 2, HOSTILE, HOSTILE, "clone-1", href="/trees/1/")
    for svg in (
        layout_picture(
            frame, {}, guard_block="guard", name=HOSTILE, title=HOSTILE, note=HOSTILE, width=width
        ),
        choice_map(frame, [mark], name=HOSTILE, title=HOSTILE, note=HOSTILE, width=width),
    ):
        root = ET.fromstring(svg)
        assert "<script" not in svg
        assert "style=" not in svg
        ids = [e.get("id") for e in root.iter() if e.get("id")]
        assert len(ids) == len(set(ids))
        assert all(re.fullmatch(r"[A-Za-z0-9_-]+", i or "") for i in ids)


@given(st.lists(st.text(min_size=1, max_size=12), min_size=2, max_size=6, unique=True))
@settings(max_examples=30, deadline=None)
def test_any_codes_can_stand_in_a_picture(clones: list[str]) -> None:
    ET.fromstring(layout_picture(layout(clones), {}, name="x", title="x", width=NARROW))


@WIDTHS
def test_every_plot_is_drawn_once_in_its_clones_colour(width: int) -> None:
    css = {"A": "clone-0", "B": "clone-1", "C": "clone-2"}
    svg = layout_picture(
        layout(list(css), blocks=4, trees=3, guard="G"),
        css,
        guard_block="guard",
        name="x",
        title="x",
        width=width,
    )
    for name in css.values():
        assert len(marks(svg, "rect", name)) == 4
    assert len(marks(svg, "ellipse", "frame")) == 8
    plots = marks(svg, "rect", "mark")
    notes = {plot.find(f"{SVG}title").text for plot in plots}  # type: ignore[union-attr]
    assert notes == {f"{c}: block {b}, plot {p}, 3 trees" for p, c in enumerate(css, 1) for b in range(1, 5)}
    # Nine trees and two guards across: a plot of three is three elevenths of the width of the grid.
    widths = {round(float(plot.get("width") or 0), 1) for plot in plots}
    cell = min(48.0, (width - 30) / 11)
    assert widths == {round(3 * cell, 1)}
    right = max(float(plot.get("x") or 0) + float(plot.get("width") or 0) for plot in plots)
    assert right <= width


def test_codes_stand_across_upright_or_not_at_all_by_the_room_there_is() -> None:
    def texts(n: int) -> list[ET.Element]:
        return marks(
            layout_picture(layout([f"HL-{i:02d}" for i in range(n)]), {}, name="x", title="x"), "text", "over"
        )

    assert [len(texts(n)) for n in (8, 40, 60)] == [16, 80, 0]
    assert [bool(texts(n)[0].get("transform")) for n in (8, 40)] == [False, True]


def test_blocks_are_outlined_by_what_differs_between_neighbours() -> None:
    trees = pd.DataFrame({"row": [1, 1, 2, 2], "col": [1, 2, 1, 2]})
    grid = grid_over(trees, 0.0, 1000.0, most_cell=10.0)
    # Two blocks above each other: top, middle and bottom line of 20, two sides of 20 in one piece.
    assert outlines(trees, ["a", "a", "b", "b"], grid) == (
        "M28.00 18.00h20.00M28.00 28.00h20.00M28.00 38.00h20.00M28.00 18.00v20.00M48.00 18.00v20.00"
    )
    assert outlines(trees, [None] * 4, grid) == ""
    assert outlines(trees, ["a", None, None, None], grid).count("M") == 4


@WIDTHS
def test_a_map_has_every_tree_to_fell_and_reserve_at_its_place(width: int) -> None:
    trees = layout(["A"] * 10, blocks=10)
    chosen = [
        Mark(2, 5, "1", "first", "clone-3", href="/a/"),
        Mark(7, 9, "2", "second", "clone-4", href="/b/"),
    ]
    svg = choice_map(
        trees, [*chosen, Mark(4, 4, "", "spare", "", reserve=True)], name="m", title="m", width=width
    )
    circles = marks(svg, "circle", "mark")
    assert len(circles) == 2
    assert len(marks(svg, "circle", "reserve")) == 1
    assert len(marks(svg, "ellipse", "dot")) == 100
    cell = min(26.0, (width - 30) / 10)
    first, second = ((float(c.get("cx") or 0), float(c.get("cy") or 0)) for c in circles)
    assert second[0] - first[0] == pytest.approx(4 * cell, abs=0.02)
    assert second[1] - first[1] == pytest.approx(5 * cell, abs=0.02)
    assert [a.get("href") for a in ET.fromstring(svg).iter(f"{SVG}a")] == ["/a/", "/b/"]


def test_too_many_plots_and_none_are_refused() -> None:
    with pytest.raises(ValueError, match="expected 1 to 2500"):
        layout_picture(layout([f"c{i}" for i in range(60)], blocks=50), {}, name="x", title="x")
    with pytest.raises(ValueError, match="0 plots"):
        layout_picture(layout([]), {}, name="x", title="x")
    with pytest.raises(ValueError, match="without trees"):
        choice_map(layout([]), [], name="x", title="x")

"""Pictures drawn from figures: well-formed whatever people call things, and true to their numbers.

Widths and places are checked against plain proportions worked out here by hand (computed).
"""

import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.calc.svg import escape, safe_href, ticks, wrap
from reports.calc.pictures import NARROW, WIDE, Bar, Dot, Part, Share, balance_bar, interval_dots, out_turn
from sawing.calc.pictures import EndBoard, SawnPiece, StemLog, log_end, placed_by_flitch, stem

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = '<script>alert("x")</script> & \'y\' \x00\x1b ]]> "'
WIDTHS = pytest.mark.parametrize("width", [WIDE, NARROW])

PARTS = [
    Part("Graded", 0.5, "graded"),
    Part("Below grade", 0.1, "boards"),
    Part("Kerf", 0.15, "kerf"),
    Part("Slabs", 0.25, "loss"),
]


def all_pictures(name: str, width: int) -> list[str]:
    """Each picture with the same word wherever a person may have typed one."""
    share = [Share(name, 0.6, "grade-0"), Share("Reject", 0.4, "grade-9 reject")]
    board = EndBoard(name, -50, -14, 100, 28, label=name, words=name, href="/boards/1/", css="grade-2")
    return [
        balance_bar(
            [Part(name, 1.0, "graded"), Part(name, 0.5, "loss")],
            name=name,
            title=name,
            note=name,
            width=width,
        ),
        out_turn([Bar(name, share, 5, 20, "clone-0 again")], name=name, title=name, note=name, width=width),
        interval_dots(
            [Dot(name, 0.5, 0.4, 0.6, 3, 20, "clone-1")], name=name, title=name, note=name, width=width
        ),
        log_end(300, 180, [board], name=name, title=name, note=name, width=width),
        stem(
            [StemLog(name, 0.3, 4.0, 300, 280, 20, href="/logs/1/")],
            name=name,
            title=name,
            note=name,
            width=width,
        ),
    ]


def parse(svg: str) -> ET.Element:
    return ET.fromstring(svg)


def rects(svg: str, css: str) -> list[ET.Element]:
    return [r for r in parse(svg).iter(f"{SVG}rect") if css in (r.get("class") or "").split()]


@WIDTHS
def test_hostile_names_are_escaped_and_every_picture_is_well_formed(width: int) -> None:
    for svg in all_pictures(HOSTILE, width):
        root = parse(svg)
        assert "<script" not in svg
        assert not [e for e in root.iter() if e.tag in {f"{SVG}script", f"{SVG}foreignObject"}]
        ids = [e.get("id") for e in root.iter() if e.get("id")]
        assert len(ids) == len(set(ids))
        assert all(re.fullmatch(r"[A-Za-z0-9_-]+", i or "") for i in ids)


@given(st.text(max_size=60))
def test_any_text_can_stand_in_a_picture(name: str) -> None:
    for svg in all_pictures(name, NARROW):
        parse(svg)


@WIDTHS
def test_every_picture_speaks_to_screen_readers_and_has_no_inline_style(width: int) -> None:
    for svg in all_pictures("HL-07", width):
        root = parse(svg)
        title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
        assert title is not None
        assert desc is not None
        assert title.text
        assert "HL-07" in (desc.text or "")
        assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
        assert root.get("role") == ("group" if "<a " in svg else "img")
        for element in root.iter():
            assert element.get("style") is None
            assert not [a for a in element.attrib if a.startswith("on")]


@WIDTHS
def test_texts_stay_on_the_sheet(width: int) -> None:
    """Estimated text widths (0.6 em a letter, on the safe side) end within the viewBox."""
    for svg in all_pictures("Hybrid larch 07", width):
        for text in parse(svg).iter(f"{SVG}text"):
            size = {"title": 16, "small": 12}.get((text.get("class") or "").split()[0], 13)
            length, x = len(text.text or "") * size * 0.6, float(text.get("x") or 0)
            start = x - {"middle": length / 2, "end": length}.get(text.get("text-anchor") or "", 0)
            assert start >= -1, text.text
            assert start + length <= width + 1, text.text


# Balance


@WIDTHS
def test_segments_are_as_wide_as_their_volumes(width: int) -> None:
    svg = balance_bar(PARTS, name="b", width=width)
    bar = [r for r in rects(svg, "segment") if r.get("height") == "40"]
    widths = [float(r.get("width") or 0) for r in bar]
    full = float(rects(svg, "frame")[0].get("width") or 0)
    assert [w / full for w in widths] == pytest.approx([0.5, 0.1, 0.15, 0.25], abs=1e-4)
    assert sum(widths) == pytest.approx(full, abs=0.02)


def test_the_title_states_the_graded_share_and_each_part_its_own() -> None:
    root = parse(balance_bar(PARTS, name="b"))
    texts = [t.text for t in root.iter(f"{SVG}text")]
    assert texts[0] == "50.0\u00a0% of the round wood became graded boards"
    for share in ("50.0", "10.0", "15.0", "25.0"):
        assert f"{share}\u00a0%" in texts


def test_leaders_to_the_names_never_cross() -> None:
    leaders = re.findall(r'd="M([\d.]+) [\d.]+V([\d.]+)H[\d.]+" class="leader"', balance_bar(PARTS, name="b"))
    places = sorted((float(x), float(y)) for x, y in leaders)
    assert len(places) == 4
    assert [y for _, y in places] == sorted((y for _, y in places), reverse=True)


def test_more_boards_than_log_are_listed_with_their_sign_and_the_bar_stays_on_the_sheet() -> None:
    parts = [Part("Graded", 1.1, "graded"), Part("Closing error", -0.1, "unknown")]
    svg = balance_bar(parts, name="b", total_m3=1.0)
    segments = [r for r in rects(svg, "segment") if r.get("height") == "40"]
    assert len(segments) == 1
    assert float(segments[0].get("width") or 0) <= float(rects(svg, "frame")[0].get("width") or 0)
    assert "\u221210.0\u00a0%" in svg


@pytest.mark.parametrize("parts", [[], [Part("x", math.nan, "loss")], [Part("x", 0.0, "loss")]])
def test_a_balance_of_nothing_is_refused(parts: list[Part]) -> None:
    with pytest.raises(ValueError, match="balance"):
        balance_bar(parts, name="b")


# Out-turn


@WIDTHS
def test_shares_fill_the_bar_in_their_order(width: int) -> None:
    shares = [Share("A", 0.2, "grade-0"), Share("B", 0.5, "grade-4"), Share("Reject", 0.3, "grade-9 reject")]
    svg = out_turn([Bar("HL-07", shares, 6, 150)], name="o", title="t", width=width)
    full = rects(svg, "frame")[0]
    start, length = float(full.get("x") or 0), float(full.get("width") or 0)
    marks = [r for r in rects(svg, "mark") if r.get("height") == full.get("height")]
    assert [float(r.get("width") or 0) / length for r in marks] == pytest.approx([0.2, 0.5, 0.3], abs=1e-4)
    assert [(float(r.get("x") or 0) - start) / length for r in marks] == pytest.approx(
        [0, 0.2, 0.7], abs=1e-4
    )
    assert "6\u00a0trees, 150\u00a0boards" in svg
    assert rects(svg, "overlay"), "the reject is hatched, not only coloured"


def test_impossible_shares_are_refused() -> None:
    with pytest.raises(ValueError, match="more than 1"):
        out_turn([Bar("x", [Share("A", 0.7, ""), Share("B", 0.7, "")], 1, 1)], name="o", title="t")
    with pytest.raises(ValueError, match="missing or below"):
        out_turn([Bar("x", [Share("A", math.nan, "")], 1, 1)], name="o", title="t")


# Intervals


@WIDTHS
def test_dots_and_whiskers_lie_on_the_axis_that_is_drawn(width: int) -> None:
    """The place of each mark is recomputed from two ticks of the axis and their words."""
    rows = [Dot("A", 0.5, 0.4, 0.6, 8, 100, "clone-0"), Dot("B", 0.45, 0.43, 0.47, 8, 90, "clone-1")]
    root = parse(interval_dots(rows, name="i", title="t", width=width))
    grid = [float(line.get("x1") or 0) for line in root.iter(f"{SVG}line") if line.get("class") == "grid"]
    labels = [t.text or "" for t in root.iter(f"{SVG}text")]
    values = [float(m.group(1)) for t in labels if (m := re.fullmatch(r"(\d+(?:\.\d+)?)(?:\u00a0%)?", t))]
    assert len(values) == len(grid) >= 3
    per_unit = (grid[-1] - grid[0]) / (values[-1] - values[0])
    place: Callable[[float], float] = lambda v: grid[0] + (v - values[0]) * per_unit  # noqa: E731
    dots = [float(r.get("x") or 0) + 6.5 for r in root.iter(f"{SVG}rect") if "mark" in (r.get("class") or "")]
    assert dots == pytest.approx([place(50), place(45)], abs=0.05)
    whisker = next(e for e in root.iter(f"{SVG}line") if e.get("class") == "interval")
    assert [float(whisker.get("x1") or 0), float(whisker.get("x2") or 0)] == pytest.approx(
        [place(40), place(60)], abs=0.05
    )


def test_few_trees_are_hollow_and_explained_controls_are_square_and_named() -> None:
    rows = [Dot("A", 0.5, 0.3, 0.7, 3, 20), Dot("P", 0.4, 0.35, 0.45, 9, 80, control=True)]
    svg = interval_dots(rows, name="i", title="t")
    few, control = rects(svg, "mark")
    assert "few" in (few.get("class") or "")
    assert control.get("rx") == "0"
    assert "P (control)" in svg
    assert "Hollow: fewer than 5 trees" in svg


def test_a_clone_without_estimate_keeps_its_row_and_no_clone_at_all_says_so() -> None:
    svg = interval_dots(
        [Dot("A", 0.5, None, None, 6, 9), Dot("B", None, None, None, 1, 0)], name="i", title="t"
    )
    assert "no estimate" in svg
    assert "no interval" in svg
    assert "No clone has an estimate yet." in interval_dots([], name="i", title="t")
    parse(interval_dots([Dot("A", 0.5, 0.5, 0.5, 6, 9)], name="i", title="t"))


# Log end and stem


def test_the_log_end_is_to_scale() -> None:
    boards = [EndBoard("b", -60, -14, 120, 28)]
    root = parse(log_end(300, 150, boards, name="e", title="t"))
    sap = next(e for e in root.iter(f"{SVG}ellipse") if e.get("class") == "sapwood")
    heart = next(e for e in root.iter(f"{SVG}ellipse") if e.get("class") == "heartwood")
    board = next(r for r in root.iter(f"{SVG}rect") if "board" in (r.get("class") or "").split())
    per_mm = float(sap.get("rx") or 0) / 150
    assert float(heart.get("rx") or 0) / per_mm == pytest.approx(75, abs=0.05)
    assert float(board.get("width") or 0) / per_mm == pytest.approx(120, abs=0.05)
    left = (float(board.get("x") or 0) - float(sap.get("cx") or 0)) / per_mm
    top = (float(board.get("y") or 0) - float(sap.get("cy") or 0)) / per_mm
    assert (left, top) == pytest.approx((-60, -14), abs=0.05)


def test_heartwood_that_was_not_measured_is_said_not_drawn() -> None:
    svg = log_end(300, None, [], name="e", title="t")
    assert "Heartwood not measured" in svg
    assert 'class="heartwood"' not in svg
    with pytest.raises(ValueError, match="does not fit"):
        log_end(300, 310, [], name="e", title="t")


def test_flitches_are_stacked_a_kerf_apart_and_centred_on_the_pith() -> None:
    """Three flitches of 28 mm with 4 mm kerf: 92 mm in all, so from -46 to 46 mm (computed by hand)."""
    pieces = [SawnPiece("a", 1, 1, 28, 100), SawnPiece("b", 2, 1, 28, 80), SawnPiece("c", 2, 2, 28, 60)]
    placed = {b.code: b for b in placed_by_flitch([*pieces, SawnPiece("d", 3, 1, 28, 100)], kerf_mm=4)}
    assert [placed[c].y_mm for c in "abd"] == [-46, -14, 18]
    assert (placed["b"].x_mm, placed["c"].x_mm) == (-72, 12)
    with pytest.raises(ValueError, match="thickness and width"):
        placed_by_flitch([SawnPiece("a", 1, 1, 0, 100)])


def test_links_that_could_run_a_script_are_dropped() -> None:
    assert safe_href("/boards/1/") == "/boards/1/"
    for bad in (
        "javascript:alert(1)",
        " JaVaScript:x",
        "data:text/html,x",
        "//evil.example.org",
        "/\\evil",
        "x",
    ):
        assert safe_href(bad) == ""
    board = EndBoard("b", 0, 0, 10, 10, href="javascript:alert(1)")
    assert "<a " not in log_end(300, None, [board], name="e", title="t")


def test_logs_stand_at_their_heights_and_the_widening_is_written() -> None:
    svg = stem([StemLog("A", 0.0, 5.0, 300, 300), StemLog("B", 5.0, 5.0, 300, 300)], name="s", title="t")
    outlines = re.findall(r'd="M[\d.]+ ([\d.]+)Q[\d. ]+ ([\d.]+)H[^"]*" class="log sapwood"', svg)
    (low_a, high_a), (low_b, high_b) = [(float(low), float(high)) for low, high in outlines]
    assert high_a == pytest.approx(low_b)
    assert low_a - high_a == pytest.approx(low_b - high_b, abs=0.11)
    assert re.search(r"drawn \d+ times larger", svg)


# Drawing helpers


def test_escaping_covers_xml_and_forbidden_characters() -> None:
    assert escape("<&\"'>") == "&lt;&amp;&quot;&#x27;&gt;"
    assert escape("a\x00b\ud800") == "a\ufffdb\ufffd"


@given(st.floats(-1e3, 1e3), st.floats(1e-3, 1e6))
def test_ticks_cover_the_range_evenly_with_round_steps(low: float, size: float) -> None:
    marks = ticks(low, low + size)
    steps = [b - a for a, b in pairwise(marks)]
    assert marks[0] <= low + size * 1e-6
    assert marks[-1] >= low + size - size * 1e-6
    assert max(steps) - min(steps) <= max(steps) * 1e-6
    assert round(steps[0] / 10 ** math.floor(math.log10(steps[0] * 1.0000001)), 6) in {1, 2, 5}
    assert 2 <= len(marks) <= 9


def test_ticks_need_a_range() -> None:
    with pytest.raises(ValueError, match="no range"):
        ticks(1.0, 1.0)


def test_lines_are_wrapped_at_words() -> None:
    assert wrap("one two three", 10, 50) == ["one two", "three"]
    assert wrap("Donaudampfschifffahrt x", 10, 50) == ["Donaudampfschifffahrt", "x"]

"""The picture of a study's progress: lengths follow the counts, what is missing is named, links lead to rows."""

import xml.etree.ElementTree as ET

import pytest

from portal.calc.svg import NARROW, WIDE
from sawing.calc.picture_progress import StageBar, progress

SVG = "{http://www.w3.org/2000/svg}"
BARS = [
    StageBar("Cut to logs", "tree", 3, 4, "/done", "/missing"),
    StageBar("Sawn", "log", 0, 6, "/none", "/all"),
    StageBar("Graded", "board", 0, 0),
]


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_bars_are_as_long_as_their_counts(width: int) -> None:
    root = ET.fromstring(progress(BARS, name="p", title="How far?", width=width))
    rects = [(r.get("class"), float(r.get("width", 0))) for r in root.iter(f"{SVG}rect")]
    assert [css for css, _ in rects] == ["segment", "segment graded", "segment", "segment unknown"]
    open_part, done, none_done, nothing = (size for _, size in rects)
    assert done == pytest.approx(3 * open_part, abs=0.05)
    assert none_done == pytest.approx(nothing) == pytest.approx(done + open_part, abs=0.05)
    assert [a.get("href") for a in root.iter(f"{SVG}a")] == ["/missing", "/done", "/all"]


def test_the_counts_stand_in_words() -> None:
    text = "".join(ET.fromstring(progress(BARS, name="p", title="How far?")).itertext()).replace("\xa0", " ")
    assert "Cut to logs: 3 of 4 trees; Sawn: 0 of 6 logs; Graded: no board yet." in text
    assert "1 missing" in text


@pytest.mark.parametrize("bars", [[], [StageBar("Sawn", "log", 7, 6)], [StageBar("Sawn", "log", -1, 6)]])
def test_counts_that_cannot_be_are_refused(bars: list[StageBar]) -> None:
    with pytest.raises(ValueError, match="progress needs stages"):
        progress(bars, name="p", title="How far?")

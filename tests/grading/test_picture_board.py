"""The board unfolded: drawn to the places it is given, with every text escaped."""

import re
import xml.etree.ElementTree as ElementTree

import pandas as pd
import pytest

from grading.calc.picture_board import GradedPiece, board_picture
from portal.calc.svg import NARROW, WIDE

FEATURES = pd.DataFrame(
    [
        {"kind": "encased_knot", "face": "face1", "x_mm": 750.0, "y_mm": 75.0, "width_mm": 22.0},
        {"kind": "wane", "face": "edge2", "x_mm": 100.0, "size_mm": 6.0, "length_mm": 200.0},
        {"kind": "knots", "face": "piece", "size_mm": 0.0},
        {"kind": "slope_of_grain", "face": "piece", "percent": 8.0},
    ],
    columns=["kind", "face", "x_mm", "y_mm", "length_mm", "width_mm", "size_mm", "percent"],
)
SVG = "{http://www.w3.org/2000/svg}"


def drawn(width: int, features: pd.DataFrame = FEATURES, **more: object) -> ElementTree.Element:
    text = board_picture(1500.0, 150.0, 25.0, features, name="b", title="B <1>", width=width, **more)  # type: ignore[arg-type]
    return ElementTree.fromstring(text)


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_features_and_pieces_lie_where_they_are(width: int) -> None:
    piece = GradedPiece("look: Fine", 300.0, 1500.0, 0.0, 75.0)
    picture = drawn(width, pieces=[piece], deciding=frozenset({0}))
    faces = {r.get("data-surface"): r for r in picture.iter(f"{SVG}rect") if r.get("data-surface")}
    assert set(faces) == {"face1", "face2", "edge1", "edge2"}
    box = {n: float(faces["face1"].get(n, "nan")) for n in ("x", "y", "width", "height")}
    knot = next(e for e in picture.iter(f"{SVG}ellipse") if "encased_knot" in e.get("class", ""))
    assert float(knot.get("cx", "nan")) == pytest.approx(box["x"] + box["width"] / 2, abs=0.02)
    assert float(knot.get("cy", "nan")) == pytest.approx(box["y"] + box["height"] / 2, abs=0.02)
    assert "deciding" in knot.get("class", "")
    outlined = [r for r in picture.iter(f"{SVG}rect") if "graded-piece" in r.get("class", "")]
    assert len(outlined) == 2
    assert float(outlined[0].get("width", "nan")) == pytest.approx(box["width"] * 0.8, abs=0.02)
    assert float(outlined[0].get("height", "nan")) == pytest.approx(box["height"] / 2, abs=0.02)


def test_what_was_not_found_and_has_no_place_is_not_drawn_but_told() -> None:
    picture = drawn(WIDE)
    assert len(list(picture.iter(f"{SVG}ellipse"))) == 2
    assert "1 encased knot" in (picture.findtext(f"{SVG}desc") or "")
    empty = drawn(WIDE, FEATURES.head(0))
    assert "No feature on record" in (empty.findtext(f"{SVG}desc") or "")


def test_nothing_lies_outside_the_picture() -> None:
    odd = FEATURES.assign(x_mm=[1500.0, 0.0, None, None], y_mm=[150.0, None, None, None])
    picture = drawn(NARROW, odd)
    box = [float(v) for v in re.split(r"\s+", picture.get("viewBox", ""))]
    for e in picture.iter(f"{SVG}ellipse"):
        assert -5 <= float(e.get("cx", "nan")) <= box[2] + 5
        assert 0 <= float(e.get("cy", "nan")) <= box[3]

"""Features files: what is held, row by row."""

from __future__ import annotations

import pandas as pd
import pytest

from grading.columns import FEATURES
from portal.calc.file_checks import Checked, check_file

HEADER = "board,kind,face,x_mm,y_mm,length_mm,width_mm,size_mm,depth_mm,percent,margin_percent,note"
BOARDS = pd.DataFrame({"board": ["K1"], "length_m": [3.0], "width_mm": [150.0], "thickness_mm": [28.0]})


def features(*lines: str, header: str = HEADER) -> Checked:
    return check_file("\n".join([header, *lines]).encode(), "features.csv", FEATURES, {"boards": BOARDS})


def test_rows_as_people_write_them_are_taken() -> None:
    result = features(
        "K1;Dead Knot;FACE1;1.240,5;62;;28;;;;;with bark",
        "k1;check;Face2;;;140;;;4;;;",
        "K1;knots;piece;;;;;0;;;;",
        "K1;slope of grain;piece;;;;;;;12;;",
        header=HEADER.replace(",", ";").upper(),
    )
    assert result.problems == []
    assert list(result.accepted["kind"]) == ["dead_knot", "check", "knots", "slope_of_grain"]
    assert list(result.accepted["board"]) == ["K1"] * 4
    assert result.accepted["x_mm"].iloc[0] == 1240.5


@pytest.mark.parametrize(
    ("line", "column"),
    [
        ("K9,dead_knot,face1,10,10,,20,,,,,", "board"),
        ("K1,gnarl,face1,10,10,,20,,,,,", "kind"),
        ("K1,dead_knot,top,10,10,,20,,,,,", "face"),
        ("K1,dead_knot,,10,10,,20,,,,,", "face"),
        ("K1,dead_knot,face1,10,10,,,,,,,", "size_mm"),
        ("K1,check,face1,10,10,,3,,,,,", "size_mm"),
        ("K1,slope_of_grain,piece,,,,,,,,,", "percent"),
        ("K1,ring_width,piece,,,,,,,,,", "size_mm"),
        ("K1,bow,piece,,,,,,,,,", "size_mm"),
        ("K1,knots,piece,,,,,20,,,,", "kind"),
        ("K1,dead_knot,face1,3200,10,,20,,,,,", "x_mm"),
        ("K1,dead_knot,face1,-5,10,,20,,,,,", "x_mm"),
        ("K1,dead_knot,face1,10,160,,20,,,,,", "y_mm"),
        ("K1,dead_knot,edge1,10,60,,20,,,,,", "y_mm"),
        ("K1,dead_knot,face1,10,10,,160,,,,,", "width_mm"),
        ("K1,dead_knot,edge1,10,10,,,40,,,,", "size_mm"),
        ("K1,dead_knot,face1,10,10,,20,,,140,,", "percent"),
    ],
)
def test_what_cannot_be_is_held_with_its_column(line: str, column: str) -> None:
    result = features("K1,pith,face1,,,,,,,,,", line)
    assert [(p.row, p.column) for p in result.problems] == [(3, column)]
    assert len(result.accepted) == 1


def test_the_same_feature_twice_is_held() -> None:
    row = "K1,dead_knot,face1,10,10,,20,,,,,"
    result = features(row, row, row.replace("face1", "face2"))
    assert [p.row for p in result.problems] == [3]


def test_a_long_split_may_be_longer_than_the_face_is_wide() -> None:
    assert features("K1,split,face1,1000,75,900,,900,,,,").problems == []

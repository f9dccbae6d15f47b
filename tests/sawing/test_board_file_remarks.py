"""A file of boards is remarked on for what would be asked about at the saw; nothing is held for it."""

import pandas as pd

from sawing.calc.tally_frames import board_file_remarks
from tests.conftest import Place
from tests.sawing.scanners import saw_ready

HEAD = "board,log,thickness_mm,width_mm,length_m,flitch,cell,nominal_width_mm\n"
FILE = HEAD + (
    "G1,L1,28,150,3,1,B-20-20,\n"
    "G2,L1,28,170,3,2,B-20-20,\n"
    "G3,L1,60,200,3,5,B-23-20,\n"
    "G4,L1,28,240,3,6,B-38-20,\n"
    "G5,L1,28,160,3,7,up there,150\n"
)


def test_what_a_file_says_is_remarked_on(material: Place) -> None:
    saw_ready(material)
    upload = material.bring("boards", FILE, name="odd.csv")
    assert (upload.added, upload.held) == (5, 0)
    found = [text for text in upload.notes if "nominal" not in text]
    assert found == [
        "wider than the log at that height: row 5",
        "two boards in one cell: row 3",
        "a board may be missing between: row 4",
        "thicker than planned: row 4",
        "width not in the set: rows 3 and 5",
    ]


def test_without_plan_and_labels_only_what_the_file_says_itself() -> None:
    rows = pd.DataFrame(
        {
            "_row": [2, 3, 4],
            "board": ["A", "B", "C"],
            "log": ["L", "L", "M"],
            "thickness_mm": [28.0, 28.0, 90.0],
            "width_mm": [150.0, 171.0, 900.0],
            "length_m": [3.0, 3.0, 30.0],
            "flitch": ["1", "3", None],
            "cell": ["B-10-10", "b-10-10", "x"],
        }
    )
    assert board_file_remarks(rows, {}) == [
        "two boards in one cell: row 3",
        "a board may be missing between: row 3",
    ]

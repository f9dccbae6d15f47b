"""The files about what boards are good for."""

from grading.calc.feature_checks import check_features
from grading.calc.feature_kinds import BY_CODE, FACES, NAMES
from grading.calc.grade_checks import check_grades
from portal.calc.file_spec import Column, FileKind


def _place(name: str, help_text: str, maximum: float, example: str) -> Column:
    return Column(name, "number", unit="mm", minimum=0, maximum=maximum, help=help_text, example=example)


GRADES = FileKind(
    name="grades",
    title="Grades",
    help="One row per board and rule set. Where no graded size is given, the whole board holds the grade.",
    columns=(
        Column(
            "board",
            "code",
            required=True,
            refers_to="boards",
            help="the graded board",
            example="1646683858",
        ),
        Column(
            "rule_set",
            "code",
            required=True,
            refers_to="rule_sets",
            help="rule set the grade belongs to",
            example="trial_appearance",
        ),
        Column("grade", "code", required=True, help="grade within the rule set", example="Clear"),
        Column(
            "graded_length_m",
            "number",
            unit="m",
            minimum=0.05,
            maximum=13,
            help="length of the piece that holds the grade",
            example="3.6",
        ),
        Column(
            "graded_width_mm",
            "number",
            unit="mm",
            minimum=5,
            maximum=1_000,
            help="width of the piece that holds the grade",
            example="150",
        ),
        Column(
            "graded_thickness_mm",
            "number",
            unit="mm",
            minimum=1,
            maximum=400,
            help="thickness of the piece that holds the grade",
            example="26",
        ),
        Column(
            "reason",
            "text",
            maximum=400,
            help="what kept the board from a better grade",
            example="knot 42 mm",
        ),
        Column("grader", "text", maximum=150, help="who graded", example="Tomas Rekeby"),
        _place("from_mm", "where the piece begins, from the butt end", 13_000, "350"),
        _place("from_edge_mm", "where the piece begins across, from edge 1", 1_000, "0"),
        Column(
            "deciding_kind",
            "choice",
            choices=tuple(BY_CODE),
            help="kind of feature that kept the board from better",
            example="encased_knot",
        ),
    ),
    key=("board", "rule_set"),
    check=check_grades,
)


def _share(name: str, help_text: str, example: str) -> Column:
    return Column(name, "number", unit="%", minimum=0, maximum=100, help=help_text, example=example)


FEATURES = FileKind(
    name="features",
    title="Features of boards",
    help=(
        "One row per feature of a board. x runs along from the butt (label) end, y across the wide face from edge 1."
        " What was looked for and not found is a row with size 0; there, a group such as knots may stand for its kinds."
        " What has no row on a board was not assessed on it."
    ),
    columns=(
        Column(
            "board", "code", required=True, refers_to="boards", help="board it is on", example="1646683858"
        ),
        Column("kind", "choice", required=True, choices=NAMES, help="what it is", example="dead_knot"),
        Column(
            "face",
            "choice",
            required=True,
            choices=FACES,
            help="wide face, edge (edge 1 at y = 0), or the piece as a whole",
            example="face1",
        ),
        _place("x_mm", "its middle along the board; empty: along the whole length", 13_000, "1240"),
        _place(
            "y_mm",
            "its middle across the face, on an edge across the thickness; empty: across all of it",
            1_000,
            "62",
        ),
        _place(
            "length_mm", "extent along the board; for warp, the length it was measured over", 13_000, "34"
        ),
        _place("width_mm", "extent across; for knots the smallest diameter", 1_000, "28"),
        _place(
            "size_mm",
            "the size that counts, if not the width (knots, wane, holes) or the length (checks, splits, pockets);"
            " ring width, deviation of warp",
            13_000,
            "28",
        ),
        _place("depth_mm", "how deep below its surface it reaches", 1_000, "9"),
        _share(
            "percent", "slope of grain; for knots and discolouration the share of the cross-section", "12"
        ),
        _share("margin_percent", "for knots: share of the worse outer quarter of the width", "40"),
        Column("note", "text", maximum=400, help="anything else", example="with bark"),
    ),
    key=("board", "kind", "face", "x_mm", "y_mm"),
    check=check_features,
)

"""The files about what boards are good for."""

from grading.calc.grade_checks import check_grades
from portal.calc.file_spec import Column, FileKind

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
    ),
    key=("board", "rule_set"),
    check=check_grades,
)

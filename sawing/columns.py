"""The files from felling and sawing: logs as measured, boards as tallied."""

from portal.calc.file_spec import Column, FileKind
from sawing.calc.tally_checks import board_remarks, check_boards, check_logs, log_remarks

# Limits refuse what cannot be, not what is rare. Their lower ends also tell 1,152 from 1.152.
SHORTEST_M = 0.05
LONGEST_LOG_M = 13.0
THINNEST_LOG_MM = 10.0
THICKEST_LOG_MM = 2_000.0
THICKNESS_MM = (1.0, 400.0)
WIDTH_MM = (5.0, 1_000.0)


def _diameter(name: str, help_text: str, example: str, *, required: bool = False) -> Column:
    return Column(
        name,
        "number",
        required=required,
        unit="mm",
        minimum=THINNEST_LOG_MM,
        maximum=THICKEST_LOG_MM,
        help=help_text,
        example=example,
    )


def _heart(name: str, end: str, example: str) -> Column:
    help_text = f"heartwood diameter at the {end} end, 0 when there is none"
    return Column(
        name, "number", unit="mm", minimum=0, maximum=THICKEST_LOG_MM, help=help_text, example=example
    )


def _board_size(
    name: str, help_text: str, limits: tuple[float, float], example: str, *, required: bool = False
) -> Column:
    return Column(
        name,
        "number",
        required=required,
        unit="mm",
        minimum=limits[0],
        maximum=limits[1],
        help=help_text,
        example=example,
    )


LOGS = FileKind(
    name="logs",
    title="Logs",
    help="One row per log, measured before sawing. Two readings at right angles make an end's diameter.",
    columns=(
        Column(
            "log",
            "code",
            required=True,
            help="code of the log: tree and number from the butt",
            example="AR-12-07-1",
        ),
        Column(
            "tree", "code", required=True, refers_to="trees", help="tree it was cut from", example="AR-12-07"
        ),
        Column(
            "bottom_m",
            "number",
            required=True,
            unit="m",
            minimum=0,
            maximum=100,
            help="height of its lower end above the ground",
            example="0.3",
        ),
        Column(
            "length_m",
            "number",
            required=True,
            unit="m",
            minimum=SHORTEST_M,
            maximum=LONGEST_LOG_M,
            help="length along the axis",
            example="4.1",
        ),
        _diameter("sed1_mm", "small end, first reading", "242", required=True),
        _diameter("led1_mm", "large end, first reading", "286", required=True),
        _diameter("sed2_mm", "small end, second reading at right angles", "238"),
        _diameter("led2_mm", "large end, second reading at right angles", "279"),
        _diameter("mid1_mm", "half length, first reading", "262"),
        _diameter("mid2_mm", "half length, second reading", "259"),
        _heart("heart_sed_mm", "small", "96"),
        _heart("heart_led_mm", "large", "128"),
        Column(
            "sweep_mm",
            "number",
            unit="mm",
            minimum=0,
            maximum=2_000,
            help="largest deviation of the axis from the straight line between the ends",
            example="24",
        ),
        Column(
            "bark", "choice", choices=("under", "over"), help="diameters under or over bark", example="under"
        ),
        Column(
            "resonance_hz",
            "number",
            unit="Hz",
            above=0,
            maximum=20_000,
            help="first longitudinal resonance",
            example="480",
        ),
        Column(
            "mass_kg",
            "number",
            unit="kg",
            minimum=0.1,
            maximum=30_000,
            help="mass when measured",
            example="187",
        ),
        _diameter("centroid_mm", "diameter at the centroid position", "264"),
        Column(
            "sections_mm",
            "text",
            help="diameters at even spacing from the butt, joined by semicolons",
            example="420;360;340",
        ),
    ),
    key=("log",),
    check=check_logs,
    remarks=log_remarks,
)

BOARDS = FileKind(
    name="boards",
    title="Boards (tally)",
    help="One row per board, with its actual green size as it left the saw.",
    columns=(
        Column("board", "code", required=True, help="code of the board", example="1646683858"),
        Column(
            "log", "code", required=True, refers_to="logs", help="log it was sawn from", example="AR-12-07-1"
        ),
        _board_size("thickness_mm", "actual green thickness", THICKNESS_MM, "28", required=True),
        _board_size("width_mm", "actual green width", WIDTH_MM, "154", required=True),
        Column(
            "length_m",
            "number",
            required=True,
            unit="m",
            minimum=SHORTEST_M,
            maximum=LONGEST_LOG_M,
            help="length as sawn",
            example="4.1",
        ),
        Column("flitch", "code", help="flitch it was edged from", example="2"),
        Column("piece", "code", help="piece within the flitch", example="1"),
        Column(
            "cell", "code", help="cell on the log end (row and column of the label sheet)", example="B-15-33"
        ),
        _board_size("nominal_thickness_mm", "thickness it is sold as", THICKNESS_MM, "25"),
        _board_size("nominal_width_mm", "width it is sold as", WIDTH_MM, "150"),
        _board_size("dry_thickness_mm", "thickness after drying or dressing", THICKNESS_MM, "26.5"),
        _board_size("dry_width_mm", "width after drying or dressing", WIDTH_MM, "148"),
        Column(
            "dry_length_m",
            "number",
            unit="m",
            minimum=SHORTEST_M,
            maximum=LONGEST_LOG_M,
            help="length after drying and docking",
            example="4.0",
        ),
    ),
    key=("board",),
    check=check_boards,
    remarks=board_remarks,
)

"""The files about the stand: which clones there are and where their trees stand."""

from portal.calc.file_spec import Column, FileKind
from trials.calc.layout_checks import check_clones, check_layout, clone_remarks, layout_remarks

LAYOUT = FileKind(
    name="layout",
    title="Layout",
    help="One row per planted tree: its place in the trial and its clone.",
    columns=(
        Column("site", "code", required=True, help="code of the site", example="AR"),
        Column("block", "code", required=True, help="block (replicate) within the site", example="1"),
        Column("plot", "code", required=True, help="plot within the block", example="7"),
        Column(
            "clone", "code", required=True, refers_to="clones", help="clone planted here", example="HL-07"
        ),
        Column("tree", "code", required=True, help="code of the tree, once in the trial", example="AR-12-07"),
        Column(
            "row", "integer", required=True, minimum=0, maximum=99_999, help="row on the site", example="12"
        ),
        Column(
            "col", "integer", required=True, minimum=0, maximum=99_999, help="place in the row", example="7"
        ),
        Column("planted_on", "date", help="day of planting", example="1994-04-12"),
    ),
    key=("tree",),
    check=check_layout,
    remarks=layout_remarks,
)

CLONES = FileKind(
    name="clones",
    title="Clones",
    help="One row per clone, with its parents.",
    columns=(
        Column("clone", "code", required=True, help="code of the clone", example="HL-07"),
        Column(
            "seed_parent",
            "text",
            maximum=200,
            help="seed parent, as far as known",
            example="E10",
        ),
        Column("pollen_parent", "text", maximum=200, help="pollen parent", example="J07"),
        Column(
            "kind",
            "choice",
            choices=("hybrid", "parent species", "control"),
            help="what the clone is in the trial",
            example="hybrid",
        ),
        Column("name", "text", maximum=200, help="name in words, if it has one", example="Amberline"),
    ),
    key=("clone",),
    check=check_clones,
    remarks=clone_remarks,
)

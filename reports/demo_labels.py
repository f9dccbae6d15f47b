"""The label sheets of the demo: its logs came from the yard with sheets on, and its boards are named by their codes."""

from portal.models import User
from sawing.calc.label_lattice import Slice
from sawing.labels.actions import link_boards_named_by_labels, record_sheets
from sawing.models import Study

CELLS, PITH = 61, (30, 30)  # as fixtures/demo/README.md says


def record_labels(study: Study, by: User) -> int:
    """Record the sheets of logs whose file gives their serial number, and link the boards. Returns boards linked."""
    numbers = {
        code: int(notes["SERIAL"])
        for code, notes in study.logs.values_list("code", "notes")
        if notes and str(notes.get("SERIAL", "")).isdigit()
    }
    board = Slice(min(study.thicknesses_mm, default=25), min(study.widths_mm, default=75))
    record_sheets(study=study, by=by, numbers=numbers, board=board, cells=CELLS, pith_cell=PITH)
    return link_boards_named_by_labels(study=study, by=by)

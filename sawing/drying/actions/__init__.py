"""Every write of drying. Mill staff and managers of the trial."""

from sawing.drying.actions.boards import keep_defects, keep_dry_sizes, set_aside_defect
from sawing.drying.actions.readings import (
    keep_readings,
    keep_samples,
    set_aside_reading,
)
from sawing.drying.actions.stacks import (
    build_stack,
    change_stack,
    keep_yard,
    place_boards,
    release_boards,
    take_out_boards,
)

__all__ = [
    "build_stack",
    "change_stack",
    "keep_defects",
    "keep_dry_sizes",
    "keep_readings",
    "keep_samples",
    "keep_yard",
    "place_boards",
    "release_boards",
    "set_aside_defect",
    "set_aside_reading",
    "take_out_boards",
]

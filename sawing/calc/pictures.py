"""Pictures of logs: the log end with its boards, and the stem with its logs.

Each function returns one SVG element as text, laid out for `width` user units (WIDE or NARROW). Heartwood and
sapwood are drawn in their two colours. `name` makes ids unique on a page.
"""

from portal.calc.svg import NARROW, WIDE
from sawing.calc.picture_log_end import EndBoard, SawnPiece, log_end, placed_by_flitch
from sawing.calc.picture_stem import StemLog, stem

__all__ = ["NARROW", "WIDE", "EndBoard", "SawnPiece", "StemLog", "log_end", "placed_by_flitch", "stem"]

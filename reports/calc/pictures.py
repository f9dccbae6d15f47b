"""Pictures of recovery, drawn from figures: the balance of wood, the out-turn by grade, intervals by clone.

Each function returns one SVG element as text, laid out for `width` user units (WIDE or NARROW); a page shows
one or the other with {% picture wide narrow %} and a table of the same figures beside it. Shares are
fractions 0…1, volumes m³. Marks carry words, places or hatches besides their colours. `name` makes ids unique
on a page.
"""

from grading.calc.picture_out_turn import Bar, Share, out_turn
from portal.calc.svg import NARROW, WIDE
from reports.calc.picture_intervals import Dot, interval_dots
from sawing.calc.balance_picture import Part, balance_bar

__all__ = ["NARROW", "WIDE", "Bar", "Dot", "Part", "Share", "balance_bar", "interval_dots", "out_turn"]

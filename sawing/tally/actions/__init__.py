"""Every write of the tally: taking entries in, deciding what stands, settling what was held."""

from sawing.tally.actions.deciding import (
    keep_board,
    mend_held_tally,
    set_held_tally_aside,
    set_tally_aside,
    settle_tally,
)
from sawing.tally.actions.receiving import AT_ONCE, MAY_TALLY, Answer, receive_tally

__all__ = [
    "AT_ONCE",
    "MAY_TALLY",
    "Answer",
    "keep_board",
    "mend_held_tally",
    "receive_tally",
    "set_held_tally_aside",
    "set_tally_aside",
    "settle_tally",
]

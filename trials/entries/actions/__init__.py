"""Every write about traits, assessments and entries."""

from trials.entries.actions.assessments import (
    change_assessment,
    close_assessment,
    open_assessment,
    reopen_assessment,
)
from trials.entries.actions.deciding import (
    mend_held_entry,
    set_aside,
    set_held_aside,
    settle_dispute,
    take_late,
)
from trials.entries.actions.looking import Looked, open_check_again, settle_checks
from trials.entries.actions.photos import receive_photo, set_photo_aside
from trials.entries.actions.receiving import AT_ONCE, Answer, receive_entries
from trials.entries.actions.traits import add_default_traits, add_trait, change_trait, default_traits

__all__ = [
    "AT_ONCE",
    "Answer",
    "Looked",
    "add_default_traits",
    "add_trait",
    "change_assessment",
    "change_trait",
    "close_assessment",
    "default_traits",
    "mend_held_entry",
    "open_assessment",
    "open_check_again",
    "receive_entries",
    "receive_photo",
    "reopen_assessment",
    "set_aside",
    "set_held_aside",
    "set_photo_aside",
    "settle_checks",
    "settle_dispute",
    "take_late",
]

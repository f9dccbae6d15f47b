"""Where clones stand, and what is measured on their trees."""

from trials.models.looking import MOST_PHOTO_BYTES, Photo, SettledCheck
from trials.models.measuring import (
    Assessment,
    AssessmentState,
    AssessmentTrait,
    Entry,
    EntryKind,
    HeldEntry,
    HeldEntryState,
    Standing,
    Trait,
    TraitKind,
)
from trials.models.stand import Block, Clone, CloneKind, Plot, Site, Tree, TreeStatus, Trial

__all__ = [
    "MOST_PHOTO_BYTES",
    "Assessment",
    "AssessmentState",
    "AssessmentTrait",
    "Block",
    "Clone",
    "CloneKind",
    "Entry",
    "EntryKind",
    "HeldEntry",
    "HeldEntryState",
    "Photo",
    "Plot",
    "SettledCheck",
    "Site",
    "Standing",
    "Trait",
    "TraitKind",
    "Tree",
    "TreeStatus",
    "Trial",
]

"""Where clones stand, and what is measured on their trees."""

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
    "Plot",
    "Site",
    "Standing",
    "Trait",
    "TraitKind",
    "Tree",
    "TreeStatus",
    "Trial",
]

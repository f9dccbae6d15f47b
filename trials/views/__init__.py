"""Pages of trials, sites and trees, and of what is measured on them."""

from trials.views.stand import tree_columns

__all__ = ["tree_columns"]

"""Boards tallied at the saw, and the balance of each log."""

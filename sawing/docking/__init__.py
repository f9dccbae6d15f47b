"""Dock and edge: the best boards of a flitch, and the same logs sawn otherwise."""

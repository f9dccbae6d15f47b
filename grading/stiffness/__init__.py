"""Stiffness of boards from a tap."""

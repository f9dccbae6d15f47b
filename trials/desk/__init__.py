"""Measurements at the desk: what pages of assessments, maps and lists read."""

"""Stacks, moisture and what drying did to boards."""

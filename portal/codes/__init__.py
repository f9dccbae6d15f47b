"""Symbols that scanners read: drawing them as modules, finding them in photographs. Knows nothing of Django."""

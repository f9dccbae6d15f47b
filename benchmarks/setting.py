"""A place of its own for benchmarks: home, database, Django. Import it before anything of the portal."""

import os
import statistics
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
os.environ.setdefault("PORTAL_HOME", str(Path(tempfile.gettempdir()) / "portal_benchmarks"))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")


def start() -> None:
    """Start Django and bring the database up to date."""
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0)


def spread(values: Sequence[float]) -> str:
    """Median with the smallest and largest of several runs."""
    return (
        f"{statistics.median(values):.2f} (from {min(values):.2f} to {max(values):.2f}, {len(values)} runs)"
    )

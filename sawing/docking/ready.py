"""Getting the compiled loops of docking ready while somebody still looks at the list."""

import logging
import threading

import numpy as np

from sawing.calc.dock_flitch import Flitch
from sawing.calc.dock_rules import Rules

logger = logging.getLogger(__name__)
_begun = threading.Event()


def prepare_in_background() -> None:
    """Load or compile the loops once a process, in a thread of their own: about a second, or ten the first time."""
    if not _begun.is_set():
        _begun.set()
        threading.Thread(target=_prepare, name="docking gets ready", daemon=True).start()


def _prepare() -> None:
    from sawing.calc.dock_optimum import dock

    flitch = Flitch("ready", 25.0, np.array([0.0, 2010.0]), np.zeros(2), np.array([200.0, 150.0]))
    try:
        dock(flitch, Rules(widths_mm=(150.0,)))
    except Exception:  # the page that docks next meets the same and tells it
        logger.exception("docking could not be made ready")

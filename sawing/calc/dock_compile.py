"""Compiling the few loops of docking that are too slow interpreted.

A compiled loop is kept on disk where the installation, or else the user's cache folder, can be written; where
neither can, it is compiled anew in each process. That costs seconds once, never a result. Each module with
compiled loops holds all that its loops call, because the kept file is renewed only when its own module changes.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function) -> Function:
    """The function compiled at its first call, and kept on disk where that is possible."""
    try:
        made = numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:  # no folder that could hold the compiled code
        made = numba.njit(nogil=True, error_model="numpy")(function)
    else:
        _forgive_a_full_disk(made)
    return cast(Function, made)


def _forgive_a_full_disk(made: Any) -> None:
    """Let a folder that can no longer be written cost compile time only, never the call."""
    store = getattr(made, "_cache", None)
    save = getattr(store, "save_overload", None)
    if store is None or save is None:
        return

    def save_if_possible(*arguments: Any) -> None:
        try:
            save(*arguments)
        except OSError:
            return

    store.save_overload = save_if_possible

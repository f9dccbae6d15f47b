"""Hold dense algebra to one thread: on a small or busy machine several threads wait for each other."""

import ctypes
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

_NAMES = ("scipy_openblas_{}_num_threads64_", "scipy_openblas_{}_num_threads", "openblas_{}_num_threads")


@contextmanager
def one_thread() -> Iterator[None]:
    """One thread for every OpenBLAS that is loaded, and afterwards as many as before. Elsewhere than on Linux, or
    with another library, nothing happens: the answers are the same, only the time differs."""
    before = [(setter, getter()) for getter, setter in _controls()]
    for setter, _ in before:
        setter(1)
    try:
        yield
    finally:
        for setter, threads in before:
            setter(threads)


@cache
def _controls() -> tuple[tuple[Any, Any], ...]:
    """Functions that say and set the number of threads, a pair for each library in this process."""
    maps = Path("/proc/self/maps")
    if not maps.exists():
        return ()
    lines = maps.read_text(errors="replace").splitlines()
    paths = sorted({line.split(maxsplit=5)[-1] for line in lines if "openblas" in line and ".so" in line})
    found = []
    for path in paths:
        library = ctypes.CDLL(path)
        for name in _NAMES:
            if hasattr(library, name.format("set")):
                found.append((getattr(library, name.format("get")), getattr(library, name.format("set"))))
                break
    return tuple(found)

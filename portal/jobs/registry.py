"""Which function does which kind of job."""

from collections.abc import Callable
from typing import Any, Protocol


class Progress(Protocol):
    def __call__(self, done: int, total: int, step: str = "") -> None: ...


Work = Callable[[dict[str, Any], Progress], dict[str, Any] | None]
_KINDS: dict[str, Work] = {}


def register(kind: str, work: Work) -> None:
    """Name the function that does a kind of job."""
    _KINDS[kind] = work


def work_of(kind: str) -> Work:
    """:raises LookupError: nobody registered this kind."""
    try:
        return _KINDS[kind]
    except KeyError:
        raise LookupError(f"nobody knows how to do a job of the kind “{kind}”") from None


class JobRefused(Exception):
    """The work cannot be done, and the person can be told why: the message is shown on the page."""


class JobStopped(Exception):
    """Somebody asked for the job to stop."""

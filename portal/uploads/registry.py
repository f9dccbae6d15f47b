"""What the shared upload machine knows of each kind of file. Apps register theirs when they are ready."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal

import pandas as pd

from portal.calc.file_spec import FileKind, Known, Problem
from portal.models import Upload


@dataclass(frozen=True)
class Target:
    """Where the rows of a file go: a trial, and within it a study where the kind asks for one."""

    trial: Any
    study: Any | None = None

    @classmethod
    def of(cls, upload: Upload) -> "Target":
        return cls(upload.trial, upload.study)


@dataclass(frozen=True)
class UploadKind:
    """A kind of file and the four things the machine must be able to ask its app for.

    known(target)           what the rows may refer to, as frames
    stored(target, rows)    the rows already stored under the same keys, in the file's columns
    insert(target, rows, upload)   write new rows; returns how many
    replace(target, rows, upload)  overwrite the stored rows of these keys; returns how many. None: never replaced
    check(target, rows, known, file)  problems that only the database can show, on top of the kind's own check
    file_for(target)        the file with the columns that this place gives it; None: `file` as it is everywhere
    whole                   the file is one thing (a price list): stored entire as a new version, or not at all
    """

    file: FileKind
    scope: Literal["trial", "study"]
    roles: frozenset[str]
    known: Callable[[Target], Known]
    stored: Callable[[Target, pd.DataFrame], pd.DataFrame]
    insert: Callable[[Target, pd.DataFrame, Upload], int]
    replace: Callable[[Target, pd.DataFrame, Upload], int] | None = None
    check: Callable[[Target, pd.DataFrame, Known, str], list[Problem]] | None = None
    whole: bool = False
    file_for: Callable[[Target], FileKind] | None = None

    def at(self, target: Target) -> "UploadKind":
        """The same kind with the columns its files have in that place."""
        return self if self.file_for is None else replace(self, file=self.file_for(target))


_kinds: dict[str, UploadKind] = {}


def register(kind: UploadKind) -> None:
    """Make a kind of file known to the upload machine. Later registrations of a name replace earlier ones."""
    _kinds[kind.file.name] = kind


def kinds() -> list[UploadKind]:
    """All kinds in the order in which a new study needs them."""
    return list(_kinds.values())


def kind_named(name: str) -> UploadKind:
    """The kind of that name; KeyError with the known names otherwise."""
    try:
        return _kinds[name]
    except KeyError:
        raise KeyError(f"no kind of file is called {name!r}; there are {', '.join(_kinds)}") from None

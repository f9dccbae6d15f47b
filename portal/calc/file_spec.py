"""The vocabulary of the files people bring: what a column is, what a problem is, what a kind of file is.

Nothing here reads a file; the readers, the upload machine, the headless commands and the pages that describe
a file to people all share these words.
"""

import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import Any, Literal

import pandas as pd

ColumnKind = Literal["code", "text", "number", "integer", "date", "choice"]

Known = Mapping[str, pd.DataFrame]
"""What is already there, by plural name ("logs"), each frame with its code column ("log")."""

HeldCodes = Mapping[str, Mapping[str, str]]
"""Codes that wait for mending, by plural name: {"logs": {"L-07": "logs.csv row 5"}}."""

CODE_COLUMNS: Mapping[str, str] = {
    "sites": "site",
    "blocks": "block",
    "clones": "clone",
    "trees": "tree",
    "logs": "log",
    "flitches": "flitch",
    "boards": "board",
    "rule_sets": "rule_set",
}
"""Name of the code column in each known frame, and the noun a person reads."""

LONGEST_SHOWN = 80
"""Characters of a cell repeated in a message."""


def _plain(value: float) -> str:
    return f"{value:.0f}" if value == int(value) else f"{value:g}"


@dataclass(frozen=True)
class Column:
    """One column of a file: its header name, what may stand in it, and how to explain it to a person."""

    name: str
    kind: ColumnKind
    required: bool = False
    unit: str = ""
    minimum: float | None = None  # inclusive
    above: float | None = None  # exclusive minimum
    maximum: float | None = None  # inclusive
    choices: tuple[str, ...] = ()
    refers_to: str | None = None  # plural name in Known, for example "logs"
    help: str = ""
    example: str = ""

    def limits_text(self) -> str:
        """The limits in words with their unit, for example "above 0 mm, at most 500 mm"; or empty."""
        if self.kind in ("text", "code"):
            return f"at most {self.maximum:g} characters" if self.maximum is not None else ""
        unit = f" {self.unit}" if self.unit else ""
        parts = []
        if self.above is not None:
            parts.append(f"above {self.above:g}{unit}")
        if self.minimum is not None:
            parts.append(f"at least {self.minimum:g}{unit}")
        if self.maximum is not None:
            parts.append(f"at most {_plain(self.maximum)}{unit}")
        return ", ".join(parts)

    def within(self, value: float) -> bool:
        """Whether a finite number lies within the limits (and is whole, in an integer column)."""
        return not (
            (self.kind == "integer" and value != int(value))
            or (self.above is not None and value <= self.above)
            or (self.minimum is not None and value < self.minimum)
            or (self.maximum is not None and value > self.maximum)
        )


@dataclass(frozen=True)
class Problem:
    """One thing that keeps a row, or a whole file, from being taken.

    `row` is the row number a person sees in the file (a header in the first line is row 1), None when the
    problem is the file's; `column` the header name; `found` what stands there; `expected` what should stand
    there and how to mend it.
    """

    file: str
    row: int | None
    column: str | None
    found: str
    expected: str

    def to_dict(self) -> dict[str, Any]:
        """The problem as a plain dictionary, ready for JSON."""
        return asdict(self)


RowCheck = Callable[[pd.DataFrame, Known, str], list[Problem]]
RowRemarks = Callable[[pd.DataFrame, Known, str], list[str]]


@dataclass(frozen=True)
class FileKind:
    """A kind of file the portal takes.

    `key` names the columns that identify a row. `check` finds what no single cell shows (its problems hold
    rows); `remarks` finds what is odd but can be true (shown, holds nothing). Both receive the typed rows
    that are good so far, what is already known, and the file's name.
    """

    name: str
    title: str
    help: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    check: RowCheck | None = None
    remarks: RowRemarks | None = None
    more_examples: tuple[
        Mapping[str, str], ...
    ] = ()  # further rows of the sample: what differs from the first

    @property
    def sample_rows(self) -> tuple[tuple[str, ...], ...]:
        """The rows of the sample file as text, one cell a column: the columns' examples, then further rows."""
        changes: tuple[Mapping[str, str], ...] = ({}, *self.more_examples)
        return tuple(tuple(change.get(c.name, c.example) for c in self.columns) for change in changes)

    @property
    def names(self) -> tuple[str, ...]:
        """All header names in order."""
        return tuple(column.name for column in self.columns)

    @property
    def required(self) -> tuple[str, ...]:
        """Header names that must be there."""
        return tuple(column.name for column in self.columns if column.required)

    def column(self, name: str) -> Column:
        """The column with this header name; KeyError when the kind has none."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)


def header_key(text: str) -> str:
    """A header as it is compared: case, spaces, hyphens, brackets and invisible signs do not matter.

    "Length (m)", "LENGTH-M" and "length_m" all give "length_m".
    """
    plain = unicodedata.normalize("NFKC", text).casefold()
    plain = "".join(c for c in plain if unicodedata.category(c) != "Cf")
    plain = re.sub(r"[()\[\]]", " ", plain)
    return re.sub(r"[\s_\-]+", "_", plain).strip("_")


def shown(value: object) -> str:
    """A cell as it is repeated in a message: on one line, control characters visible, long text cut."""
    text = str(value)
    text = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text[: LONGEST_SHOWN + 1])
    return text if len(text) <= LONGEST_SHOWN else text[:LONGEST_SHOWN] + "…"


def code_column(known_name: str) -> str:
    """The code column of a known frame: "logs" gives "log"."""
    return CODE_COLUMNS.get(known_name, known_name.removesuffix("s"))


def noun(known_name: str) -> str:
    """One member of a known frame in words: "rule_sets" gives "rule set"."""
    return code_column(known_name).replace("_", " ")

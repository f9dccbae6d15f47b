"""Write the column tables of docs/file_formats.md from the kinds of files themselves.

Run `python -m docs.make_file_formats` after a column has changed; a test compares the committed page with it.
"""

from pathlib import Path

from grading.columns import FEATURES, GRADES
from grading.stiffness.columns import STIFFNESS
from portal.calc.file_spec import Column, FileKind, noun
from reports.columns import PRICES
from sawing.columns import BOARDS, LOGS
from sawing.docking.columns import FLITCHES
from sawing.drying.columns import MOISTURE
from trials.columns import CLONES, LAYOUT
from trials.entries.files import GENERAL as MEASUREMENTS

PAGE = Path(__file__).resolve().parent / "file_formats.md"
BEGIN = "<!-- tables: written by `python -m docs.make_file_formats`, do not edit by hand -->"
END = "<!-- end of the tables -->"
KINDS = (CLONES, LAYOUT, MEASUREMENTS, LOGS, BOARDS, FLITCHES, MOISTURE, FEATURES, GRADES, STIFFNESS, PRICES)
"""Every kind of file, in the order in which a new trial needs them."""
WRITTEN_AS = {
    "code": "code",
    "text": "text",
    "number": "number",
    "integer": "whole number",
    "date": "date",
    "choice": "one of a few words",
}


def column_row(column: Column) -> str:
    """One row of a table: name, whether it is needed, how it is written, meaning, limits, example."""
    meaning = column.help
    if column.choices:
        meaning += f": {', '.join(f'`{choice}`' for choice in column.choices)}"
    if column.refers_to:
        meaning += f"; refers to a known {noun(column.refers_to)}"
    written = WRITTEN_AS[column.kind] + (f", {column.unit}" if column.unit else "")
    limits = column.limits_text()
    if column.kind == "text":
        limits = f"at most {column.maximum or 400:g} characters"
    needed = "**yes**" if column.required else "no"
    cells = (f"`{column.name}`", needed, written, meaning, limits, f"`{column.example}`")
    return f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"


def kind_section(kind: FileKind) -> str:
    """One kind of file: heading, what a row is, what identifies it, its columns."""
    key = ", ".join(f"`{name}`" for name in kind.key)
    head = f"| column | needed | written as | what it holds | limits | example |\n|{' --- |' * 6}"
    rows = "\n".join(column_row(column) for column in kind.columns)
    return f"### {kind.name}\n\n{kind.help} A row is known by {key}.\n\n{head}\n{rows}\n"


def tables() -> str:
    """The tables of all kinds, with the two marks they stand between."""
    return f"{BEGIN}\n\n" + "\n".join(kind_section(kind) for kind in KINDS) + f"\n{END}"


def with_tables(page: str) -> str:
    """The page with its tables written anew. ValueError when the marks are missing."""
    before, begin, rest = page.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"{PAGE.name} needs the marks {BEGIN!r} and {END!r}")
    return before + tables() + after


if __name__ == "__main__":
    PAGE.write_text(with_tables(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
    print(PAGE)

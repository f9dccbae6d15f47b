"""Which file of a folder is which."""

from __future__ import annotations

import re
from pathlib import Path

from portal.calc.file_spec import Problem

KINDS = ("clones", "layout", "logs", "boards", "prices", "grades")
REQUIRED = ("logs", "boards")
ENDINGS = (".csv", ".xlsx")


def find_files(folder: Path) -> tuple[dict[str, Path], list[Problem], list[str]]:
    """The file of each kind in a folder, problems (two candidates, a required one missing), and notes.

    A file belongs to a kind when its name is the kind's ("boards.csv") or has it as one of its words
    ("boards_2026.csv", "Mill-Boards.XLSX"), and no other kind's.
    """
    candidates: dict[str, list[Path]] = {kind: [] for kind in KINDS}
    unread = []
    for path in sorted(folder.iterdir()):
        if path.name.startswith((".", "~$")) or not path.is_file():
            continue
        kinds = set(re.split(r"[^a-z]+", path.stem.casefold())) & set(KINDS)
        if path.suffix.casefold() in ENDINGS and len(kinds) == 1:
            candidates[kinds.pop()].append(path)
        else:
            unread.append(path.name)
    problems = []
    for kind, paths in candidates.items():
        if len(paths) > 1:
            names = ", ".join(path.name for path in paths)
            expected = f"one file of {kind}; rename, join or remove the others"
            problems.append(Problem(kind, None, None, f"several files of {kind}: {names}", expected))
        elif not paths and kind in REQUIRED:
            found = f"no file of {kind}" + (f" among: {', '.join(unread)}" if unread else "")
            problems.append(
                Problem(kind, None, None, found, f"a file {kind}.csv or {kind}.xlsx in the folder")
            )
    notes = [f"not read: {', '.join(unread)}"] if unread else []
    return {kind: paths[0] for kind, paths in candidates.items() if len(paths) == 1}, problems, notes

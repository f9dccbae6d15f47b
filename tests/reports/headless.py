"""The headless command, run in this process or in one of its own, and folders of files for it."""

import io
import json
import os
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

from django.core.management import execute_from_command_line
from django.db import connections

from tests.conftest import BOARDS, CLONES, GRADES, LAYOUT, LOGS, PRICES

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "fixtures" / "demo"
FILES = {
    "clones": CLONES,
    "layout": LAYOUT,
    "logs": LOGS,
    "boards": BOARDS,
    "grades": GRADES,
    "prices": PRICES,
}


@dataclass(frozen=True)
class Run:
    """How a run of the command ended."""

    code: int
    out: str
    err: str

    @property
    def answer(self) -> dict[str, Any]:
        """Stdout as JSON: exactly one object, nothing before or behind it."""
        found = json.loads(self.out)
        assert isinstance(found, dict)
        return found

    @property
    def places(self) -> list[tuple[str, int | None, str | None]]:
        return [(p["file"], p["row"], p["column"]) for p in self.answer["problems"]]


def write(folder: Path, **changes: str | None) -> Path:
    """The files of the shared small trial in a folder, some changed, or left out where the change is None."""
    for name, text in {**FILES, **changes}.items():
        if text is not None:
            (folder / f"{name}.csv").write_text(text)
    return folder


def recovery(*words: Any) -> Run:
    """`manage.py recovery …` in this process. A test without the `db` fixture fails if it asks for a database."""
    out, err, code = io.StringIO(), io.StringIO(), 0
    # At its end a command closes all connections, those of the tests around it too.
    kept_open = patch.object(connections, "close_all")
    with redirect_stdout(out), redirect_stderr(err), kept_open:
        try:
            execute_from_command_line(["manage.py", "recovery", *map(str, words)])
        except SystemExit as end:
            code = int(end.code or 0)
    return Run(code, out.getvalue(), err.getvalue())


def recovery_apart(home: Path, *words: Any) -> Run:
    """The same as a person runs it: a process of its own, with an empty home."""
    environment = {
        k: v for k, v in os.environ.items() if not k.startswith(("PORTAL_", "DJANGO_", "DATABASE_"))
    }
    done = subprocess.run(
        [sys.executable, "manage.py", "recovery", *map(str, words)],
        cwd=ROOT,
        env={**environment, "PORTAL_HOME": str(home)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return Run(done.returncode, done.stdout, done.stderr)

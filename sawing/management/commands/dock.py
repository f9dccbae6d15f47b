"""`manage.py dock FLITCHES --rules RULES`: best dock points and edged boards of each flitch. Needs no database."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from portal.calc import shown
from portal.calc.file_spec import Problem
from sawing.calc.dock_results import Docked
from sawing.calc.dock_rules import Rules
from sawing.docking.reading import DockFiles, read_files


class Command(BaseCommand):
    help = (
        "The best dock points and edged boards of each flitch in a file (one row a station), exact over the cut"
        " positions of the rules. Exit 0: computed; 1: problems in the files; 2: wrong use."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("flitches", type=Path, help="CSV or XLSX: flitch, x_mm, left_mm, right_mm, …")
        parser.add_argument(
            "--rules", type=Path, required=True, help="TOML or JSON: widths_mm, kerfs, lengths, …"
        )
        parser.add_argument("--json", action="store_true", help="one JSON object on stdout")
        parser.add_argument(
            "--any-cut", action="store_true", help="add bound_any_cut: what no plan passes wherever it cuts"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        for name in ("flitches", "rules"):
            if not options[name].is_file():
                raise CommandError(f"{options[name]} is no file", returncode=2)
        try:
            files = read_files(options["flitches"], options["rules"])
        except OSError as error:
            raise CommandError(f"{options['rules']}: {error.strerror}", returncode=2) from None
        if files.problems or files.rules is None:
            self._refuse(files.problems, files.notes, options["json"])
        answers = self._dock(files, options)
        if options["json"]:
            told = {"flitches": [{**d.to_dict(), **more} for d, more in answers], "notes": files.notes}
            self.stdout.write(json.dumps(told, ensure_ascii=False, allow_nan=False))
            return
        for note in files.notes:
            self.stdout.write(f"note: {note}")
        for docked, more in answers:
            self._write(docked, bool(files.rules and files.rules.prices), more)

    def _dock(self, files: DockFiles, options: dict[str, Any]) -> list[tuple[Docked, dict[str, Any]]]:
        from sawing.calc.dock_optimum import bound_for_any_cut, dock
        from sawing.calc.dock_worth import WORTH_OF_ONE

        assert isinstance(files.rules, Rules)
        answers: list[tuple[Docked, dict[str, Any]]] = []
        try:
            for flitch in files.flitches:
                docked, more = dock(flitch, files.rules), {}
                if options["any_cut"]:
                    bound = bound_for_any_cut(flitch, files.rules)
                    more = {"bound_any_cut": None if bound is None else bound / WORTH_OF_ONE}
                answers.append((docked, more))
        except ValueError as error:
            problem = Problem(options["rules"].name, None, None, str(error), "fewer cases to try")
            self._refuse([problem], files.notes, options["json"])
        return answers

    def _refuse(self, problems: list[Problem], notes: list[str], as_json: bool) -> None:
        if as_json:
            told = {"problems": [p.to_dict() for p in problems], "notes": notes}
            self.stdout.write(json.dumps(told, ensure_ascii=False))
        for problem in problems:
            self.stderr.write(_sentence(problem))
        raise CommandError(f"{shown.counted(len(problems), 'problem')}; nothing was computed", returncode=1)

    def _write(self, docked: Docked, priced: bool, more: dict[str, Any]) -> None:
        def worth(value: float) -> str:
            return f"{value:.2f}" if priced else f"{value:.5f} m³"

        log = f" of log {docked.log}" if docked.log else ""
        self.stdout.write(f"\nflitch {docked.flitch}{log}, {docked.thickness_mm:g} mm: {docked.status}")
        values = ", ".join(
            f"{shown.counted(docks, 'dock')} {worth(value)}" for docks, value in docked.value_by_docks.items()
        )
        share = shown.percent(docked.share_of_bound) or "—"
        self.stdout.write(f"  best value by docks: {values}; {share} of the bound")
        if more.get("bound_any_cut") is not None:
            self.stdout.write(f"  no plan passes {worth(more['bound_any_cut'])} wherever it cuts")
        for board in docked.boards:
            widths = " + ".join(f"{width:g}" for width in board.widths_mm)
            self.stdout.write(
                f"  {board.start_mm:9.1f} to {board.end_mm:9.1f} mm   {board.length_mm:6.0f} × {widths} mm"
                f"   of {board.available_mm:.1f} mm, fence {board.slope * 1000:+.1f} mm/m   {worth(board.value)}"
            )


def _sentence(problem: Problem) -> str:
    """A problem as one line for people."""
    place = ", ".join(x for x in (f"row {problem.row}" if problem.row else "", problem.column) if x)
    where = f"{problem.file}, {place}" if place else problem.file
    return f"{where}: found {problem.found or 'nothing'}; expected {problem.expected}"

"""`manage.py grade FEATURES --boards BOARDS --rule-set NAME`: grades and best pieces of boards. Needs no database."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from grading.calc.best_piece import GradingOptions, NotGradable
from grading.calc.grading_files import find_rules, grading_answer, read_grading_files
from portal.calc import shown
from portal.cautions import caution_text


class Command(BaseCommand):
    help = (
        "Grade and best piece of each board, as if docked and ripped, with the feature that decides, from a file of"
        " features and a tally of boards (.csv or .xlsx). Exit 0: graded; 1: problems in the files, or rules that"
        " cannot grade; 2: wrong use."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("features", type=Path, help="file of features")
        parser.add_argument("--boards", type=Path, required=True, help="tally of boards")
        parser.add_argument("--rule-set", required=True, help="code of a rule set, or its document (.toml)")
        parser.add_argument(
            "--rule-sets",
            type=Path,
            default=Path(settings.BASE_DIR) / "fixtures" / "rule_sets",
            help="folder of rule set documents (default: those shipped)",
        )
        parser.add_argument(
            "--assessed",
            default="",
            metavar="KINDS",
            help="kinds or groups that were looked for on every board, joined by commas; all: everything",
        )
        parser.add_argument("--prices", type=Path, help="price list; pieces are then chosen by value")
        parser.add_argument("--by", choices=("value", "grade"), help="what a piece is chosen by")
        parser.add_argument("--heartwood", action="store_true", help="no sapwood in a piece")
        parser.add_argument("--hold", action="store_true", help="grade without the rows that have problems")
        parser.add_argument("--json", action="store_true", help="one JSON object on stdout")

    def handle(self, *args: Any, **options: Any) -> None:
        names = tuple(n.strip() for n in options["assessed"].split(",") if n.strip())
        chosen = GradingOptions(options["by"], names, options["heartwood"])
        try:
            rules = find_rules(options["rule_set"], options["rule_sets"])
            files = read_grading_files(options["features"], options["boards"], options["prices"], rules)
        except (OSError, ValueError) as error:
            raise CommandError(str(error), returncode=2) from None
        if files.problems and not options["hold"]:
            self._refuse(files.problems, files.notes, options["json"])
        try:
            answer = grading_answer(files, rules, chosen)
        except NotGradable as error:
            raise CommandError(str(error), returncode=1) from None
        except ValueError as error:
            raise CommandError(str(error), returncode=2) from None
        if options["json"]:
            self.stdout.write(json.dumps(answer, ensure_ascii=False, allow_nan=False))
            return
        self._write(answer)
        for problem in files.problems:
            self.stderr.write(f"held: {_sentence(problem.to_dict())}")

    def _refuse(self, problems: Any, notes: Any, as_json: bool) -> None:
        found = [p.to_dict() for p in problems]
        if as_json:
            self.stdout.write(json.dumps({"problems": found, "notes": list(notes)}, ensure_ascii=False))
        for problem in found:
            self.stderr.write(_sentence(problem))
        raise CommandError(f"{shown.counted(len(found), 'problem')}; nothing was graded", returncode=1)

    def _write(self, answer: dict[str, Any]) -> None:
        self.stdout.write(f"{answer['title']} ({answer['rule_set']}, version {answer['version']})")
        for caution in answer["cautions"]:
            self.stdout.write(caution_text(caution))
        self.stdout.write("")
        for board in answer["boards"]:
            self.stdout.write(_board_line(board))
        self.stdout.write("")
        for line in answer["summary"]:
            if line["boards"]:
                value = "" if line["value"] is None else f", value {line['value']:.2f}"
                boards = shown.counted(line["boards"], "board")
                self.stdout.write(
                    f"{line['grade'] or 'not said':20} {boards}, {line['volume_m3']:.4f} m³{value}"
                )


def _board_line(board: dict[str, Any]) -> str:
    """A board on one line: grade, pieces, what decided, what was not assessed."""
    parts = [f"{board['board']}: {board['grade'] or 'grade not said'}"]
    for piece in board["pieces"]:
        name = f"{piece['grade']} " if len(board["pieces"]) > 1 else ""
        value = "" if piece["value"] is None else f", value {piece['value']:.2f}"
        parts.append(
            f"{name}{piece['graded_length_m']:g} m × {piece['graded_width_mm']:g} mm from {piece['from_mm']:g} to"
            f" {piece['to_mm']:g} mm, {piece['from_edge_mm']:g} mm from edge 1{value}"
        )
    if board["deciding_feature"]:
        parts.append(f"decided by {board['deciding_feature']['text']}")
    if board["not_assessed"]:
        missing = ", ".join(k.replace("_", " ") for k in board["not_assessed"])
        parts.append(f"{board['provisional_grade']} if nothing is found; not assessed: {missing}")
    return "; ".join(parts)


def _sentence(problem: dict[str, Any]) -> str:
    """A problem as one line for people."""
    place = ", ".join(
        str(x) for x in (f"row {problem['row']}" if problem["row"] else "", problem["column"]) if x
    )
    where = f"{problem['file']}, {place}" if place else problem["file"]
    return f"{where}: found {problem['found'] or 'nothing'}; expected {problem['expected']}"

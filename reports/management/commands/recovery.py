"""`manage.py recovery FOLDER`: recovery, out-turn and value from a folder of files. Needs no database."""

import json
from argparse import ArgumentParser
from dataclasses import replace
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from grading.calc.rule_set_documents import read_rule_sets
from portal.calc import shown
from reports.calc.figures import Figures
from reports.calc.folder import FolderData, FolderOptions, read_folder
from reports.calc.recovery import RecoveryOptions, RecoveryResult, compute_with_held_rows
from sawing.calc.board_volume import SIZE_BASIS_TITLES, as_size_basis
from sawing.calc.log_formulae import formula_named
from sawing.calc.resampling import FEWEST_RESAMPLES, RESAMPLES, SEED


class Command(BaseCommand):
    help = (
        "Volumes, green and graded recovery, grade out-turn and value by log, tree and clone, from a folder with"
        " layout, logs, boards, grades and prices (.csv or .xlsx; clones too if there). Exit 0: computed; 1: problems"
        " in the files; 2: wrong use."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path)
        parser.add_argument("--json", action="store_true", help="one JSON object on stdout")
        parser.add_argument("--hold", action="store_true", help="compute without the rows that have problems")
        parser.add_argument("--log-volume", default="smalian", metavar="NAME", help="log volume formula")
        parser.add_argument("--size-basis", default="actual green", help="actual green, nominal or dry")
        parser.add_argument(
            "--bark-factor", type=float, help="diameter under ÷ over bark, for logs over bark"
        )
        parser.add_argument(
            "--rule-sets",
            type=Path,
            default=Path(settings.BASE_DIR) / "fixtures" / "rule_sets",
            help="folder of rule set documents: order of grades, and which reject (default: those shipped)",
        )
        parser.add_argument("--resamples", type=int, default=RESAMPLES)
        parser.add_argument("--seed", type=int, default=SEED)

    def handle(self, *args: Any, **options: Any) -> None:
        folder_options, compute_options = self._options(options)
        try:
            data = read_folder(options["folder"], folder_options)
        except (OSError, ValueError) as error:
            raise CommandError(str(error), returncode=2) from None
        problems = [p.to_dict() for p in data.problems]
        compute_options = replace(compute_options, clones_known="layout" in data.files)
        result = None if data.missing else _compute(data, compute_options)
        if result is not None:
            problems += [p.to_dict(_file_names(data)) for p in result.problems]
        if problems and (result is None or not options["hold"]):
            self._refuse(problems, data.notes, options["json"])
        assert result is not None
        answer = {**result.to_dict(file_names=_file_names(data)), "problems": problems, "notes": data.notes}
        if options["json"]:
            self.stdout.write(json.dumps(answer, ensure_ascii=False, allow_nan=False))
        else:
            self._write(result)
            for problem in problems:
                self.stderr.write(f"held: {sentence(problem)}")

    def _options(self, given: dict[str, Any]) -> tuple[FolderOptions, RecoveryOptions]:
        if not given["rule_sets"].is_dir():
            raise CommandError(f"--rule-sets: {given['rule_sets']} is no folder", returncode=2)
        try:
            formula = formula_named(given["log_volume"]).name
            basis = as_size_basis(given["size_basis"])
            rule_sets = read_rule_sets(given["rule_sets"])
        except ValueError as error:
            raise CommandError(str(error), returncode=2) from None
        if given["bark_factor"] is not None and not 0 < given["bark_factor"] <= 1:
            raise CommandError("--bark-factor lies above 0 and at most at 1", returncode=2)
        if given["resamples"] < FEWEST_RESAMPLES:
            raise CommandError(f"--resamples is at least {FEWEST_RESAMPLES}", returncode=2)
        if given["seed"] < 0:
            raise CommandError("--seed is at least 0", returncode=2)
        return (
            FolderOptions(formula, given["bark_factor"], basis),
            RecoveryOptions(
                formula,
                basis,
                given["bark_factor"],
                given["resamples"],
                given["seed"],
                grade_order={r.code: r.order for r in rule_sets},
                reject_grades={r.code: r.rejects for r in rule_sets},
            ),
        )

    def _refuse(self, problems: list[dict[str, Any]], notes: list[str], as_json: bool) -> None:
        if as_json:
            self.stdout.write(json.dumps({"problems": problems, "notes": notes}, ensure_ascii=False))
        for problem in problems:
            self.stderr.write(sentence(problem))
        raise CommandError(f"{shown.counted(len(problems), 'problem')}; nothing was computed", returncode=1)

    def _write(self, result: RecoveryResult) -> None:
        self.stdout.write(
            f"Log volume: {result.formula.title}, {result.formula.text}."
            f" Boards at {SIZE_BASIS_TITLES[result.size_basis]}."
        )
        for name, figures in [("all", result.total), *result.by_clone.items()]:
            self.stdout.write(f"\n{name}: {_counts(figures)}")
            ci = figures.ci95
            self.stdout.write(
                f"  {'green recovery':40}{_share(figures.green_recovery, ci and ci.green_recovery)}"
            )
            for rule_set, graded in figures.graded.items():
                interval = ci and ci.graded_recovery.get(rule_set)
                self.stdout.write(f"  {'graded, ' + rule_set:40}{_share(graded.graded_recovery, interval)}")
                if graded.accepted_recovery is not None:
                    interval = ci and ci.accepted_recovery.get(rule_set)
                    self.stdout.write(
                        f"  {'  of it accepted':40}{_share(graded.accepted_recovery, interval)}"
                    )
                if graded.value_per_m3_log is not None:
                    value = shown.money(graded.value_per_m3_log, graded.currency or "")
                    self.stdout.write(f"  {'value per m³ log, ' + rule_set:40}{value}")
            if figures.best_use.value_per_m3_log is not None:
                self.stdout.write(
                    f"  {'value per m³ log, best use':40}{shown.money(figures.best_use.value_per_m3_log)}"
                )
            if ci and ci.note:
                self.stdout.write(f"  {ci.note}")


def sentence(problem: dict[str, Any]) -> str:
    """A problem as one line for people."""
    place = ", ".join(
        str(x) for x in (f"row {problem['row']}" if problem["row"] else "", problem["column"]) if x
    )
    where = f"{problem['file']}, {place}" if place else problem["file"]
    return f"{where}: found {problem['found'] or 'nothing'}; expected {problem['expected']}"


def _compute(data: FolderData, options: RecoveryOptions) -> RecoveryResult:
    prices = data.prices if len(data.prices) else None
    return compute_with_held_rows(data.trees, data.logs, data.boards, data.grades, prices, options)


def _file_names(data: FolderData) -> dict[Any, str]:
    return {"trees": data.files.get("layout", "layout"), **data.files}


def _counts(figures: Figures) -> str:
    counts = [(figures.trees, "tree"), (figures.logs, "log"), (figures.boards, "board")]
    return f"{', '.join(shown.counted(n, noun) or '' for n, noun in counts)}, {figures.log_volume_m3:.3f} m³ of logs"


def _share(value: float | None, interval: tuple[float, float] | None) -> str:
    text = shown.percent(value) or "—"
    return f"{text}  (95 %: {shown.interval_percent(*interval)})" if interval else text

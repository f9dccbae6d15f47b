"""`manage.py rank FILE --value COL`: a mixed model of one table and the ranking of its clones. Needs no database."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from django.core.management.base import BaseCommand, CommandError

from portal.calc import shown
from portal.calc.file_reading import read_table
from portal.calc.file_table import RawTable, UnreadableFile, is_blank
from reports.calc.mixed_terms import MixedModel, WrongModel
from reports.calc.ranking import TOPS, ranking_answer
from reports.calc.reml_fit import fit_mixed_model
from reports.calc.top_k import DRAWS, FEWEST_DRAWS, SEED

LABELS = frozenset({"site", "block", "plot", "clone", "tree", "log", "board", "provenance", "family"})
"""Columns whose numbers are names, not measures."""


class Command(BaseCommand):
    help = (
        "Variance components by REML, and clones ranked with standard errors, reliability and the chance to be among"
        " the best, from one table (.csv or .xlsx). TERM is a column or columns joined by ':'. Exit 0: fitted; 1: the"
        " data do not allow it; 2: wrong use."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--value", required=True, metavar="COL", help="the column to explain")
        parser.add_argument(
            "--fixed",
            action="append",
            default=[],
            metavar="TERM",
            help="groups, or a slope if the column holds numbers (site, block, clone … are groups all the same)",
        )
        parser.add_argument(
            "--factor", action="append", default=[], metavar="COL", help="numbers of this column name groups"
        )
        parser.add_argument("--random", action="append", default=[], metavar="TERM")
        parser.add_argument(
            "--clone", metavar="COL", help="random term to rank (default: clone, or the only one)"
        )
        parser.add_argument(
            "--residual-by", metavar="COL", help="a residual variance for each level, e.g. site"
        )
        parser.add_argument("--top", action="append", type=int, default=[], metavar="K", help="1, 5 and 10")
        parser.add_argument("--lowest", action="store_true", help="the lowest value is the best")
        parser.add_argument("--draws", type=int, default=DRAWS)
        parser.add_argument("--seed", type=int, default=SEED)
        parser.add_argument("--json", action="store_true", help="one JSON object on stdout")

    def handle(self, *args: Any, **options: Any) -> None:
        _check_options(options)
        random = _random_terms(options)
        terms = [*options["fixed"], *options["factor"], *random]
        columns = list(dict.fromkeys(p for t in [options["value"], *terms] for p in t.split(":")))
        if options["residual_by"]:
            columns = list(dict.fromkeys([*columns, options["residual_by"]]))
        table = _read(options["file"], columns)
        slopes = _slopes(table, options)
        frame = _typed(table, columns, [options["value"], *slopes])
        model = MixedModel(
            options["value"],
            fixed=tuple(t for t in options["fixed"] if t not in slopes),
            covariates=tuple(slopes),
            random=tuple(random),
            residual_by=options["residual_by"],
            ranked=_ranked(options["clone"], random),
        )
        try:
            answer = ranking_answer(
                fit_mixed_model(frame, model),
                tops=options["top"] or TOPS,
                draws=options["draws"],
                seed=options["seed"],
                highest_is_best=not options["lowest"],
            )
        except WrongModel as error:
            raise CommandError(str(error), returncode=2) from None
        except ValueError as error:
            raise CommandError(f"{options['file'].name}: {error}", returncode=1) from None
        if options["json"]:
            self.stdout.write(json.dumps(answer, ensure_ascii=False, allow_nan=False))
        else:
            self._write(answer, slopes)

    def _write(self, answer: dict[str, Any], slopes: list[str]) -> None:
        left_out = answer["n_left_out"]
        self.stdout.write(
            f"{shown.counted(answer['n'], 'record')}"
            + (f", {left_out} with missing values left out" if left_out else "")
            + f"; −2 log restricted likelihood {answer['reml_criterion']:.4f}"
            + ("" if answer["converged"] else "; NOT CONVERGED")
        )
        if slopes:
            self.stdout.write(f"Slopes: {', '.join(slopes)} (with --factor a column counts as groups)")
        self.stdout.write("\nVariance")
        for term, part in answer["variance"].items():
            error = "not detectable" if part["se"] is None else f"± {part['se']:.4g}"
            self.stdout.write(f"  {term:24}{part['estimate']:12.5g}  {error}")
        if answer["repeatability"]:
            share = answer["repeatability"]
            self.stdout.write(
                f"  repeatability: one record {share['tree']:.3f}, clone mean {share['clone_mean']:.3f}"
            )
        self.stdout.write("\nFixed effects")
        for effect in answer["fixed"]:
            self.stdout.write(f"  {effect['term']:24}{effect['estimate']:12.5g}  ± {effect['se']:.4g}")
        for term in answer["not_estimable"]:
            self.stdout.write(f"  {term:24} cannot be estimated from these records")
        if answer["clones"]:
            self.stdout.write("\nRanking (variances taken as known)")
        for clone in answer["clones"]:
            chances = ", ".join(f"top {k} {shown.percent(p)}" for k, p in clone["p_top"].items())
            trust = "—" if clone["reliability"] is None else f"{clone['reliability']:.3f}"
            self.stdout.write(
                f"  {clone['clone']:16}{clone['blup']:10.4g} ± {clone['se']:.4g}  reliability {trust},"
                f" {shown.counted(clone['n'], 'record')}  {chances}"
            )


def _check_options(options: dict[str, Any]) -> None:
    if options["draws"] < FEWEST_DRAWS:
        raise CommandError(f"--draws is at least {FEWEST_DRAWS}", returncode=2)
    if options["seed"] < 0:
        raise CommandError("--seed is at least 0", returncode=2)
    if any(k < 1 for k in options["top"]):
        raise CommandError("--top is at least 1", returncode=2)
    if not options["random"] and not options["clone"]:
        raise CommandError("name a random term (--random) or the column of clones (--clone)", returncode=2)
    terms = [*options["fixed"], *options["random"], *([options["clone"]] if options["clone"] else [])]
    if any(not part.strip() for term in terms for part in term.split(":")):
        raise CommandError("a term is a column or columns joined by ':'", returncode=2)


def _random_terms(options: dict[str, Any]) -> list[str]:
    terms: list[str] = list(options["random"])
    if options["clone"] and options["clone"] not in terms:
        terms.insert(0, options["clone"])
    return terms


def _ranked(clone: str | None, random: list[str]) -> str | None:
    if clone or "clone" in random:
        return clone or "clone"
    return random[0] if len(random) == 1 else None


def _read(file: Path, columns: list[str]) -> RawTable:
    try:
        table = read_table(file, file.name, expected=columns, required=columns)
    except UnreadableFile as error:
        raise CommandError(str(error), returncode=2 if not file.is_file() else 1) from None
    problems = [*table.header_problems, *table.problems]
    if problems:
        first = problems[0]
        where = f"{first.file}, row {first.row}" if first.row else first.file
        raise CommandError(f"{where}: found {first.found}; expected {first.expected}", returncode=1)
    absent = [c for c in columns if c not in table.cells.columns]
    if absent:
        there = ", ".join(table.headers)
        raise CommandError(f"{file.name}: no column {', '.join(absent)}; there are: {there}", returncode=2)
    return table


def _slopes(table: RawTable, options: dict[str, Any]) -> list[str]:
    """Fixed columns that hold nothing but numbers, and neither name things nor are said to."""
    random = {p for t in options["random"] for p in t.split(":")}
    named = LABELS | set(options["factor"]) | random
    slopes = []
    for term in options["fixed"]:
        numeric = [p for p in term.split(":") if p not in named and _all_numbers(table.cells[p])]
        if numeric and ":" in term:
            raise CommandError(
                f"{term}: {numeric[0]} holds numbers; say --factor {numeric[0]} if they name groups (products of"
                " slopes are not fitted)",
                returncode=2,
            )
        slopes += numeric
    return slopes


def _all_numbers(cells: pd.Series) -> bool:
    filled = [c for c in cells if not is_blank(c)]
    return bool(filled) and all(_number(c) is not None for c in filled)


def _number(cell: object) -> float | None:
    try:
        value = float(str(cell).strip())
    except ValueError:
        return None
    return value if np.isfinite(value) else None


def _typed(table: RawTable, columns: list[str], numbers: list[str]) -> pd.DataFrame:
    """Numbers as floats, all else as trimmed text, blank as missing; every cell that is no number is listed."""
    data: dict[str, Any] = {}
    wrong: list[str] = []
    for column in columns:
        cells = [None if is_blank(c) or str(c).strip() == "NA" else c for c in table.cells[column]]
        if column not in numbers:
            data[column] = [None if c is None else _text(c) for c in cells]
            continue
        values = [None if c is None else _number(c) for c in cells]
        wrong += [
            f"{table.file}, row {row}, {column}: found {cell}; expected a finite number"
            for row, cell, value in zip(table.rows, cells, values, strict=True)
            if cell is not None and value is None
        ]
        data[column] = np.array([np.nan if v is None else v for v in values])
    if wrong:
        more = f"\n… and {len(wrong) - 20} more" if len(wrong) > 20 else ""
        raise CommandError("\n".join(wrong[:20]) + more, returncode=1)
    return pd.DataFrame(data)


def _text(cell: object) -> str:
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell).strip()

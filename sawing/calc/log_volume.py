"""Volume of logs under bark, by a chosen formula."""

from __future__ import annotations

import re
from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sawing.calc import log_geometry as geometry
from sawing.calc.frames import FloatArray, RowProblem, not_positive, numbers, positions_where, shown, texts
from sawing.calc.log_formulae import Formula, FormulaInfo, LogMeasures, find_formula, formula_named

__all__ = ["FormulaInfo", "LogVolumes", "formula_named", "log_measures", "log_volumes"]

EXPECTED_NUMBER = "a number above 0"
OPTIONAL_SIZES = ("sed2_mm", "led2_mm", "mid1_mm", "mid2_mm", "centroid_mm")


@dataclass(frozen=True)
class LogVolumes:
    """Volumes of logs: m3 under bark by log (NaN where it cannot be computed), the formula, problems and
    notes by row.

    `notes` holds (index, text) for rows computed in a way the reader should know.
    """

    volume_m3: pd.Series[float]
    formula: FormulaInfo
    problems: tuple[RowProblem, ...]
    notes: tuple[tuple[Hashable, str], ...]


def log_volumes(logs: pd.DataFrame, formula: str = "smalian", bark_factor: float | None = None) -> LogVolumes:
    """Volume in m3 under bark of each log, aligned to the rows of `logs`.

    Columns used: sed1_mm, sed2_mm, led1_mm, led2_mm, mid1_mm, mid2_mm, centroid_mm (diameter at the centroid
    position), sections_mm (text "420;360;340", diameters at even spacing from the butt), length_m, bark
    ('under', 'over'; missing means under). Two readings of a section give their geometric mean, one reading
    stands for itself. Diameters over bark are multiplied by `bark_factor` k = dub/dob (0 < k <= 1); without a
    factor such a row is a problem. Raises ValueError for an unknown formula or an impossible bark factor.
    Formulae: sawing.calc.log_formulae.
    """
    if bark_factor is not None and not 0.0 < bark_factor <= 1.0:
        raise ValueError(
            f"bark factor {bark_factor!r}: expected diameter under bark / over bark, above 0 and at most 1"
        )
    chosen = find_formula(formula)
    problems = _problems(logs, chosen, bark_factor)
    measures, section_problems = log_measures(logs, bark_factor)
    if chosen.info.name == "sections":
        problems += section_problems
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        volume = pd.Series(chosen.compute(measures), index=logs.index, name="volume_m3")
    position_of = {label: position for position, label in enumerate(logs.index)} if problems else {}
    bad = [position_of[problem.index] for problem in problems]
    volume.iloc[bad] = np.nan
    return LogVolumes(
        volume, chosen.info, tuple(problems), tuple(_notes(logs.index, chosen.info.name, measures, bad))
    )


def log_measures(logs: pd.DataFrame, bark_factor: float | None) -> tuple[LogMeasures, list[RowProblem]]:
    """Under-bark measures of the logs (diameters mm, lengths m) and the rows whose list of sections cannot
    be read."""
    over = texts(logs, "bark").to_numpy() == "over"
    k = np.where(over, 1.0 if bark_factor is None else bark_factor, 1.0)
    lists, problems = _section_lists(logs, k)
    small1, small2 = numbers(logs, "sed1_mm"), numbers(logs, "sed2_mm")
    return LogMeasures(
        small_mm=_two_readings(small1, small2) * k,
        large_mm=_two_readings(numbers(logs, "led1_mm"), numbers(logs, "led2_mm")) * k,
        mid_mm=_two_readings(numbers(logs, "mid1_mm"), numbers(logs, "mid2_mm")) * k,
        centroid_mm=numbers(logs, "centroid_mm") * k,
        small_least_mm=np.fmin(small1, small2) * k,
        length_m=numbers(logs, "length_m"),
        sections=tuple(lists),
    ), problems


def _two_readings(first: FloatArray, second: FloatArray) -> FloatArray:
    only_first = np.where(np.isnan(first), second, first)
    with np.errstate(invalid="ignore"):
        return np.where(
            np.isnan(first) | np.isnan(second), only_first, geometry.end_diameter_mm(first, second)
        )


def _section_lists(logs: pd.DataFrame, k: FloatArray) -> tuple[list[FloatArray | None], list[RowProblem]]:
    lists: list[FloatArray | None] = [None] * len(logs)
    problems: list[RowProblem] = []
    if "sections_mm" not in logs.columns:
        return lists, problems
    for position, text in enumerate(texts(logs, "sections_mm")):
        if text is None or not str(text).strip():
            continue
        parts = [part.strip() for part in str(text).split(";")]
        readable = len(parts) >= 2 and all(re.fullmatch(r"\d+(\.\d+)?", part) for part in parts)
        diameters = np.array(parts, dtype=np.float64) if readable else np.zeros(1)
        if (diameters > 0).all():
            lists[position] = diameters * k[position]
        else:
            expected = "two or more diameters in mm from the butt, above 0, joined by ';' (420;360;340)"
            problems.append(RowProblem(logs.index[position], "sections_mm", str(text), expected))
    return lists, problems


def _problems(logs: pd.DataFrame, chosen: Formula, bark_factor: float | None) -> list[RowProblem]:
    needs = chosen.needs
    if chosen.info.name == "sections" and "sections_mm" in logs.columns:
        # A log with its list of sections needs no end diameters beside it.
        alone = texts(logs, "sections_mm").map(lambda text: text is None or not str(text).strip())
        problems = not_positive(logs, ("length_m",), EXPECTED_NUMBER)
        problems += not_positive(
            logs[alone], ("sed1_mm", "led1_mm"), f"{EXPECTED_NUMBER}, or a list of sections"
        )
    else:
        problems = []
        for column in needs:
            problems += _missing_need(logs, column, chosen.info.title)
    if chosen.info.name == "centroid":
        neither = np.isnan(numbers(logs, "centroid_mm")) & np.isnan(_either(logs, "mid1_mm", "mid2_mm"))
        expected = "a diameter at the centroid position, or a mid diameter (mid1_mm)"
        problems += [RowProblem(label, "centroid_mm", "", expected) for label in logs.index[neither]]
    problems += _negative_options(logs)
    if bark_factor is None:
        over = texts(logs, "bark").to_numpy() == "over"
        problems += [
            RowProblem(label, "bark", "over", "under, or a bark factor") for label in logs.index[over]
        ]
    return problems


def _either(logs: pd.DataFrame, first: str, second: str) -> FloatArray:
    return np.fmax(numbers(logs, first), numbers(logs, second))


def _missing_need(logs: pd.DataFrame, column: str, title: str) -> list[RowProblem]:
    """Problems of a needed column; a second reading alone also serves where there is one."""
    second = column.replace("1_mm", "2_mm")
    values = numbers(logs, column)
    if second != column:
        values = np.where(np.isnan(values), numbers(logs, second), values)
    wrong = ~((values > 0) & np.isfinite(values))
    expected = f"{EXPECTED_NUMBER} ({title} needs it)"
    return [RowProblem(logs.index[at], column, shown(values[at]), expected) for at in positions_where(wrong)]


def _negative_options(logs: pd.DataFrame) -> list[RowProblem]:
    problems: list[RowProblem] = []
    for column in OPTIONAL_SIZES:
        values = numbers(logs, column)
        for at in positions_where((values <= 0) | np.isinf(values)):
            problems.append(
                RowProblem(logs.index[at], column, shown(values[at]), f"{EXPECTED_NUMBER}, or blank")
            )
    return problems


def _notes(
    index: pd.Index[str], name: str, measures: LogMeasures, bad: list[int]
) -> list[tuple[Hashable, str]]:
    if name == "centroid":
        marked = np.isnan(measures.centroid_mm)
        text = "no centroid diameter: quadratic area profile through the mid section (Newton)"
    elif name == "nz_three_dimensional":
        marked = measures.large_mm <= measures.small_mm
        text = "large end not larger than small end: cylinder of the mean diameter"
    elif name == "sections":
        no_list = np.array([diameters is None for diameters in measures.sections], dtype=np.bool_)
        marked = no_list & np.isnan(measures.mid_mm)
        text = "no sections and no mid diameter: one cone frustum between the ends"
    else:
        return []
    unusable = set(bad)
    return [(index[at], text) for at in positions_where(marked) if int(at) not in unusable]

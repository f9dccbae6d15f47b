"""Figures of a study at one level (total, clone, tree, log): volumes, recoveries, out-turn, value. Ratios
of totals."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from reports.calc.prices import list_currency
from reports.calc.recovery_tables import RecoveryOptions, RecoveryTables
from sawing.calc.frames import FloatArray
from sawing.calc.resampling import Interval, tree_bootstrap


@dataclass(frozen=True)
class GradeOutturn:
    """One grade: number of boards, graded volume in m3, share of the rule set's graded volume."""

    boards: int
    volume_m3: float
    share: float | None


@dataclass(frozen=True)
class GradedFigures:
    """What one rule set makes of the boards. Value and currency are None without prices.

    Graded volume counts every graded piece, those in a reject grade too; accepted volume leaves these out and
    is None where the rule set does not say which of its grades reject.
    """

    graded_boards: int
    graded_volume_m3: float
    graded_recovery: float | None
    accepted_volume_m3: float | None
    accepted_recovery: float | None
    by_grade: Mapping[str, GradeOutturn]
    value: float | None
    value_per_m3_log: float | None
    currency: str | None


@dataclass(frozen=True)
class BestUse:
    """Value with every board sold by the rule set that pays most for it; None without prices."""

    value: float | None
    value_per_m3_log: float | None


@dataclass(frozen=True)
class TreeIntervals:
    """95 % intervals by resampling trees; None where none can be given, with the reason or caution in
    `note`."""

    green_recovery: Interval | None
    graded_recovery: Mapping[str, Interval | None]
    accepted_recovery: Mapping[str, Interval | None]
    value_per_m3_log: Mapping[str, Interval | None]
    best_use_value_per_m3_log: Interval | None
    n_trees: int
    note: str | None


@dataclass(frozen=True)
class Figures:
    """Figures of one log, tree or clone, or of all together. `ci95` is given for clones only.

    `green_volume_m3` is the boards' volume in the size basis of the result. `tree` and `clone` name the
    parents of a log, `clone` that of a tree.
    """

    trees: int
    logs: int
    boards: int
    log_volume_m3: float
    green_volume_m3: float
    green_recovery: float | None
    graded: Mapping[str, GradedFigures]
    best_use: BestUse
    ci95: TreeIntervals | None = None
    tree: str | None = None
    clone: str | None = None


_PARENTS = {"log": ("tree", "clone"), "tree": ("clone",), "clone": ()}


@dataclass(frozen=True)
class LogSums:
    """Sums per log, from which every level is made by adding up.

    `sums`: one row a log (columns tree, clone, logs, boards, log_volume, green, best, and per rule set number
    j graded_boards_j, graded_j, accepted_j, value_j). `outturn`: one row per log (position), rule set number and grade
    number, with boards and volume. `rule_sets`, `grades` name the numbers, in the order of showing.
    """

    sums: pd.DataFrame
    outturn: pd.DataFrame
    rule_sets: tuple[str, ...]
    grades: Mapping[str, tuple[str, ...]]
    rejects_known: frozenset[str]
    currency: str | None
    priced: bool


def log_sums(tables: RecoveryTables, options: RecoveryOptions) -> LogSums:
    """Sums per log of tables without problems. Rows are added in the order of their codes, whatever the
    files' order."""
    frames = tables.frames
    n_logs = len(frames.logs)
    order = np.argsort(frames.boards["board"].to_numpy(dtype=str), kind="stable")
    board_log, volume = tables.board_log, tables.boards.volume_m3.to_numpy(dtype=np.float64)
    sums = pd.DataFrame({"log": frames.logs["log"], "tree": frames.logs["tree"], "clone": tables.log_clone})
    sums["logs"] = 1
    sums["boards"] = np.bincount(board_log, minlength=n_logs)
    sums["log_volume"] = tables.volumes.volume_m3
    sums["green"] = np.bincount(board_log[order], weights=volume[order], minlength=n_logs)

    rule_sets = _rule_set_order(tables, options)
    grades = {name: _grade_order(tables, options, name) for name in rule_sets}
    pieces = _piece_table(tables, options, rule_sets, grades)
    for number in range(len(rule_sets)):
        mine = pieces[pieces["rule_set"] == number]
        at = mine["log"].to_numpy()
        sums[f"graded_boards_{number}"] = np.bincount(at, minlength=n_logs)
        sums[f"graded_{number}"] = np.bincount(at, weights=mine["volume"], minlength=n_logs)
        kept = mine["volume"].where(~mine["rejected"], 0.0)
        sums[f"accepted_{number}"] = np.bincount(at, weights=kept, minlength=n_logs)
        sums[f"value_{number}"] = np.bincount(at, weights=mine["value"], minlength=n_logs)
    best = np.zeros(len(frames.boards))
    np.maximum.at(best, pieces["board"].to_numpy(), pieces["value"].to_numpy(dtype=np.float64))
    sums["best"] = np.bincount(board_log[order], weights=best[order], minlength=n_logs)
    outturn = pieces.groupby(["log", "rule_set", "grade"], as_index=False).agg(
        boards=("volume", "size"), volume=("volume", "sum")
    )
    priced = frames.prices is not None
    currency = None if frames.prices is None else list_currency(frames.prices)
    rejects_known = frozenset(options.reject_grades) & set(rule_sets)
    return LogSums(sums, outturn, rule_sets, grades, rejects_known, currency, priced)


def figures_by(sums: LogSums, level: str) -> dict[str, Figures]:
    """Figures of every log, tree or clone (`level` is that column's name), by code in the order of the
    codes."""
    known = sums.sums[level].notna().to_numpy()
    if not known.all():
        places = np.flatnonzero(known)
        of_place = pd.Series(np.arange(len(places)), index=places)
        outturn = sums.outturn[sums.outturn["log"].isin(places)]
        sums = replace(
            sums,
            sums=sums.sums[known].reset_index(drop=True),
            outturn=outturn.assign(log=outturn["log"].map(of_place)),
        )
    unit, codes = pd.factorize(sums.sums[level], sort=True)
    return _figures(sums, unit, [str(code) for code in codes], _PARENTS[level])


def total_figures(sums: LogSums) -> Figures:
    """Figures of all logs together."""
    if not len(sums.sums):
        return Figures(0, 0, 0, 0.0, 0.0, None, {}, BestUse(None, None))
    unit = np.zeros(len(sums.sums), dtype=np.intp)
    return _figures(sums, unit, ["total"], ())["total"]


def clone_intervals(sums: LogSums, options: RecoveryOptions) -> dict[str, TreeIntervals]:
    """Intervals of every clone's recoveries and values, by resampling its trees."""
    unit, trees = pd.factorize(sums.sums["tree"], sort=True)
    by_tree = pd.DataFrame(_added_up(sums, unit, len(trees)), index=trees)
    clone_of_tree = sums.sums.drop_duplicates("tree").set_index("tree")["clone"].reindex(trees)
    ratios = {"green": ("green", "log_volume"), "best": ("best", "log_volume")}
    for number in range(len(sums.rule_sets)):
        for kind in ("graded", "accepted", "value"):
            ratios[f"{kind}_{number}"] = (f"{kind}_{number}", "log_volume")
    result: dict[str, TreeIntervals] = {}
    for clone, totals in by_tree.groupby(clone_of_tree):
        found = tree_bootstrap(totals, ratios, options.resamples, options.seed)
        of = found.intervals
        values = {name: of[f"value_{j}"] if sums.priced else None for j, name in enumerate(sums.rule_sets)}
        result[str(clone)] = TreeIntervals(
            green_recovery=of["green"],
            graded_recovery={name: of[f"graded_{j}"] for j, name in enumerate(sums.rule_sets)},
            accepted_recovery={
                name: of[f"accepted_{j}"]
                for j, name in enumerate(sums.rule_sets)
                if name in sums.rejects_known
            },
            value_per_m3_log=values,
            best_use_value_per_m3_log=of["best"] if sums.priced else None,
            n_trees=found.n_trees,
            note=found.note,
        )
    return result


def _piece_table(
    tables: RecoveryTables,
    options: RecoveryOptions,
    rule_sets: tuple[str, ...],
    grades: Mapping[str, tuple[str, ...]],
) -> pd.DataFrame:
    """Graded pieces by position of log and board, number of rule set and grade; volume m3, value (0 without
    prices), whether the grade rejects."""
    frame = tables.frames.grades
    set_number = {name: number for number, name in enumerate(rule_sets)}
    grade_number = {(name, grade): n for name, listed in grades.items() for n, grade in enumerate(listed)}
    pairs = zip(frame["rule_set"], frame["grade"], strict=True)
    pieces = pd.DataFrame(
        {
            "log": tables.board_log[tables.graded_board],
            "board": tables.graded_board,
            "rule_set": np.array([set_number[name] for name in frame["rule_set"]], dtype=np.intp),
            "grade": np.array([grade_number[pair] for pair in pairs], dtype=np.intp),
            "volume": tables.pieces.volume_m3.to_numpy(dtype=np.float64),
            "value": np.nan_to_num(tables.value),
            "rejected": np.array(
                [
                    grade in options.reject_grades.get(name, ())
                    for name, grade in zip(frame["rule_set"], frame["grade"], strict=True)
                ],
                dtype=bool,
            ),
        }
    )
    order = np.argsort(frame["board"].to_numpy(dtype=str), kind="stable")
    return pieces.iloc[order]


def _rule_set_order(tables: RecoveryTables, options: RecoveryOptions) -> tuple[str, ...]:
    """Rule sets that graded anything: as options list them, then as prices, then as grades bring them."""
    used = dict.fromkeys(tables.frames.grades["rule_set"])
    listed = [*options.grade_order, *tables.frames.frame("prices")["rule_set"], *used]
    return tuple(dict.fromkeys(name for name in listed if name in used))


def _grade_order(tables: RecoveryTables, options: RecoveryOptions, rule_set: str) -> tuple[str, ...]:
    """Grades of a rule set: as options list them, then as prices, then as grades bring them."""
    prices, grades = tables.frames.frame("prices"), tables.frames.grades
    priced = prices.loc[prices["rule_set"] == rule_set, "grade"]
    given = grades.loc[grades["rule_set"] == rule_set, "grade"].drop_duplicates()
    return tuple(dict.fromkeys([*options.grade_order.get(rule_set, ()), *priced, *given]))


def _figures(
    sums: LogSums, unit: npt.NDArray[np.intp], codes: list[str], parents: tuple[str, ...]
) -> dict[str, Figures]:
    """One Figures per unit, `unit` giving the number of each log's unit: one pass for sums, one for
    out-turn."""
    added = {name: values.tolist() for name, values in _added_up(sums, unit, len(codes)).items()}
    grouped = sums.sums.groupby(unit)
    trees = grouped["tree"].nunique().tolist()
    named = {name: grouped[name].first().tolist() for name in parents}
    outturn = _outturn_by_unit(sums, unit, len(codes))
    result: dict[str, Figures] = {}
    for at, code in enumerate(codes):
        row = {name: values[at] for name, values in added.items()}
        best = float(row["best"]) if sums.priced and sums.rule_sets else None
        result[code] = Figures(
            trees=int(trees[at]),
            logs=int(row["logs"]),
            boards=int(row["boards"]),
            log_volume_m3=float(row["log_volume"]),
            green_volume_m3=float(row["green"]),
            green_recovery=_ratio(row["green"], row["log_volume"]),
            graded={
                name: _graded_figures(sums, row, number, outturn[at].get(number, {}))
                for number, name in enumerate(sums.rule_sets)
            },
            best_use=BestUse(best, _ratio(best, row["log_volume"])),
            tree=_named(named, "tree", at),
            clone=_named(named, "clone", at),
        )
    return result


def _added_up(sums: LogSums, unit: npt.NDArray[np.intp], n_units: int) -> dict[str, FloatArray]:
    """Every summed column added up by unit, log after log in the order of their codes.

    So sums are the same to the last bit whatever the files' order and whichever other units there are.
    """
    order = np.argsort(sums.sums["log"].to_numpy(dtype=str), kind="stable")
    return {
        str(name): np.bincount(
            unit[order], weights=sums.sums[name].to_numpy(dtype=np.float64)[order], minlength=n_units
        ).astype(np.float64)
        for name in sums.sums.columns
        if name not in ("log", "tree", "clone")
    }


def _outturn_by_unit(
    sums: LogSums, unit: npt.NDArray[np.intp], n_units: int
) -> list[dict[int, dict[int, tuple[int, float]]]]:
    """For each unit: rule set number -> grade number -> (boards, volume)."""
    at = sums.outturn["log"].to_numpy(dtype=np.intp)
    by_code = np.argsort(sums.sums["log"].to_numpy(dtype=str)[at], kind="stable")
    table = sums.outturn.assign(unit=unit[at]).iloc[by_code]
    added = table.groupby(["unit", "rule_set", "grade"], as_index=False)[["boards", "volume"]].sum()
    result: list[dict[int, dict[int, tuple[int, float]]]] = [{} for _ in range(n_units)]
    columns = (added[name].tolist() for name in ("unit", "rule_set", "grade", "boards", "volume"))
    for at, rule_set, grade, boards, volume in zip(*columns, strict=True):
        result[at].setdefault(rule_set, {})[grade] = (int(boards), float(volume))
    return result


def _graded_figures(
    sums: LogSums, row: Mapping[str, float], number: int, outturn: Mapping[int, tuple[int, float]]
) -> GradedFigures:
    names = sums.grades[sums.rule_sets[number]]
    volume = float(row[f"graded_{number}"])
    accepted = float(row[f"accepted_{number}"]) if sums.rule_sets[number] in sums.rejects_known else None
    value = float(row[f"value_{number}"]) if sums.priced else None
    return GradedFigures(
        graded_boards=int(row[f"graded_boards_{number}"]),
        graded_volume_m3=volume,
        graded_recovery=_ratio(volume, row["log_volume"]),
        accepted_volume_m3=accepted,
        accepted_recovery=_ratio(accepted, row["log_volume"]),
        by_grade={
            names[grade]: GradeOutturn(boards, part, _ratio(part, volume))
            for grade, (boards, part) in sorted(outturn.items())
        },
        value=value,
        value_per_m3_log=_ratio(value, row["log_volume"]),
        currency=sums.currency,
    )


def _named(named: Mapping[str, list[object]], parent: str, at: int) -> str | None:
    code = named[parent][at] if parent in named else None
    return None if code is None or pd.isna(code) else str(code)  # type: ignore[call-overload]


def _ratio(part: float | None, whole: float) -> float | None:
    if part is None or not whole > 0 or not math.isfinite(part / whole):
        return None
    return float(part / whole)

"""Small invented studies as frames, and a slow, obvious recovery of them that shares no code with the
product."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class StudyFrames:
    """The five frames of a study."""

    trees: pd.DataFrame
    logs: pd.DataFrame
    boards: pd.DataFrame
    grades: pd.DataFrame
    prices: pd.DataFrame

    def all(self) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame]:
        return self.trees, self.logs, self.boards, self.grades, self.prices


PRICES = pd.DataFrame(
    [
        ("visual", "clear", 620.0, None, 120.0, None, "EUR"),
        ("visual", "clear", 710.0, 120.0, None, None, "EUR"),
        ("visual", "knotty", 300.0, None, None, None, "EUR"),
        ("visual", "knotty", 340.0, None, None, 30.0, "EUR"),
        ("machine", "stiff", 420.0, 100.0, None, None, "EUR"),
        ("machine", "stiff", 350.0, None, 100.0, None, "EUR"),
        ("machine", "soft", 0.0, None, None, None, "EUR"),
    ],
    columns=[
        "rule_set",
        "grade",
        "price_per_m3",
        "min_width_mm",
        "max_width_mm",
        "min_thickness_mm",
        "currency",
    ],
)
PRICE_ROWS = PRICES.to_dict("records")
GRADES_OF = {"visual": ["clear", "knotty"], "machine": ["stiff", "soft"]}


def random_study(seed: int, n_trees: int = 7, n_clones: int = 3) -> StudyFrames:
    """A study drawn at random: some logs without boards, some boards ungraded, second readings here and
    there."""
    rng = np.random.default_rng(seed)
    trees = pd.DataFrame(
        {
            "tree": [f"T{n}" for n in range(n_trees)],
            "clone": [f"C{n}" for n in rng.integers(0, n_clones, n_trees)],
        }
    )
    logs, boards, grades = [], [], []
    for tree in trees["tree"].iloc[: n_trees - 1]:
        for number in range(rng.integers(1, 4)):
            log = f"{tree}-{number}"
            sed = float(rng.integers(240, 330))
            logs.append(
                {
                    "log": log,
                    "tree": tree,
                    "bottom_m": 4.2 * number,
                    "length_m": float(rng.choice([3.0, 4.2])),
                    "sed1_mm": sed,
                    "sed2_mm": sed + rng.choice([np.nan, 0.0, 11.0]),
                    "led1_mm": sed + rng.integers(10, 60),
                    "mid1_mm": sed + rng.integers(5, 30),
                }
            )
            for piece in range(rng.integers(0, 6)):
                boards.append(
                    {
                        "board": f"{log}-{piece}",
                        "log": log,
                        "thickness_mm": float(rng.choice([25.0, 32.0])),
                        "width_mm": float(rng.integers(80, 160)),
                        "length_m": 3.0,
                    }
                )
    for board in boards:
        for rule_set, names in GRADES_OF.items():
            if rng.random() < 0.8:
                grades.append(
                    {
                        "board": board["board"],
                        "rule_set": rule_set,
                        "grade": str(rng.choice(names)),
                        "graded_length_m": rng.choice([np.nan, 2.4]),
                        "graded_width_mm": rng.choice([np.nan, float(board["width_mm"]) - 10]),
                    }
                )
    board_columns = ["board", "log", "thickness_mm", "width_mm", "length_m"]
    grade_columns = ["board", "rule_set", "grade", "graded_length_m", "graded_width_mm"]
    return StudyFrames(
        trees,
        pd.DataFrame(logs),
        pd.DataFrame(boards, columns=board_columns),
        pd.DataFrame(grades, columns=grade_columns),
        PRICES,
    )


def _or(value: object, other: float) -> float:
    return other if value is None or math.isnan(float(value)) else float(value)  # type: ignore[arg-type]


def _price(rule_set: str, grade: str, width: float, thickness: float) -> float:
    best, price = -1.0, math.nan
    for row in PRICE_ROWS:
        fits = (row["rule_set"], row["grade"]) == (rule_set, grade)
        fits = fits and _or(row["min_width_mm"], 0.0) <= width < _or(row["max_width_mm"], math.inf)
        threshold = _or(row["min_thickness_mm"], 0.0)
        if fits and threshold <= thickness and threshold > best:
            best, price = threshold, row["price_per_m3"]
    return price


def slow_recovery(study: StudyFrames, level: str) -> dict[str, dict[str, object]]:
    """Figures by log, tree, clone or 'total', one row after the other, volumes by Smalian."""
    clone_of = {row["tree"]: row["clone"] for row in study.trees.to_dict("records")}
    result: dict[str, dict[str, object]] = {}
    unit_of_log = {}
    for log in study.logs.to_dict("records"):
        codes = {"log": log["log"], "tree": log["tree"], "clone": clone_of[log["tree"]], "total": "total"}
        unit = result.setdefault(
            codes[level],
            {"trees": set(), "logs": 0, "boards": 0, "log": 0.0, "green": 0.0, "best": 0.0, "by": {}},
        )
        unit_of_log[log["log"]] = unit
        small_area = math.pi / 4 * log["sed1_mm"] * _or(log["sed2_mm"], log["sed1_mm"]) / 1e6
        large_area = math.pi / 4 * log["led1_mm"] ** 2 / 1e6
        unit["trees"].add(log["tree"])  # type: ignore[attr-defined]
        unit["logs"] += 1  # type: ignore[operator]
        unit["log"] += (small_area + large_area) / 2 * log["length_m"]  # type: ignore[operator]
    for board in study.boards.to_dict("records"):
        unit = unit_of_log[board["log"]]
        unit["boards"] += 1  # type: ignore[operator]
        unit["green"] += board["thickness_mm"] * board["width_mm"] * board["length_m"] / 1e6  # type: ignore[operator]
        values = [0.0]
        for grade in study.grades.to_dict("records"):
            if grade["board"] != board["board"]:
                continue
            width = _or(grade["graded_width_mm"], board["width_mm"])
            volume = board["thickness_mm"] * width * _or(grade["graded_length_m"], board["length_m"]) / 1e6
            value = volume * _price(grade["rule_set"], grade["grade"], width, board["thickness_mm"])
            values.append(value)
            sums = unit["by"].setdefault(grade["rule_set"], {"value": 0.0, "grades": {}})  # type: ignore[attr-defined]
            sums["value"] += value
            count, total = sums["grades"].get(grade["grade"], (0, 0.0))
            sums["grades"][grade["grade"]] = (count + 1, total + volume)
        unit["best"] += max(values)  # type: ignore[operator]
    return result

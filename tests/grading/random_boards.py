"""Small random boards, features and rules: sizes are small numbers, so that every piece can be tried."""

from __future__ import annotations

import random
from typing import Any

import pandas as pd

from grading.calc.rule_limits import GradeRule, GradingRules, Limit, PieceSizes, Price

KINDS = ("sound_knot", "dead_knot", "check", "resin_pocket", "wane", "pith", "bow", "twist", "cup")
COLUMNS = (
    "board",
    "kind",
    "face",
    "x_mm",
    "y_mm",
    "length_mm",
    "width_mm",
    "size_mm",
    "depth_mm",
    "percent",
    "margin_percent",
)


def board(rng: random.Random, code: str) -> dict[str, Any]:
    """A board of 30 to 80 mm × 30 to 50 mm × 10 mm."""
    return {
        "board": code,
        "length_m": rng.randint(30, 80) / 1000,
        "width_mm": float(rng.choice((30, 40, 45, 50))),
        "thickness_mm": 10.0,
    }


def feature(rng: random.Random, of: dict[str, Any]) -> dict[str, Any]:
    """A feature of a board; some of its places and sizes left blank."""
    kind = rng.choice(KINDS)
    row: dict[str, Any] = dict.fromkeys(COLUMNS)
    row.update(board=of["board"], kind=kind, face=rng.choice(("face1", "face1", "face2", "edge1", "edge2")))
    if kind in ("bow", "twist", "cup"):
        return row | {"face": "piece", "size_mm": rng.randint(1, 12), "length_mm": rng.choice((None, 50))}
    on_edge = row["face"].startswith("edge")
    row["x_mm"] = None if rng.random() < 0.05 else rng.randint(0, round(of["length_m"] * 1000))
    row["y_mm"] = None if rng.random() < 0.05 else rng.randint(0, 10 if on_edge else int(of["width_mm"]))
    size = rng.choice((0, 1, 2, 2, 4, 4, 6, 8, 12)) if rng.random() < 0.9 else 20
    if rng.random() < 0.5:
        row["size_mm"] = size
        row["width_mm"] = rng.choice((None, 2 * rng.randint(1, 5)))
        row["length_mm"] = rng.choice((None, 2 * rng.randint(1, 8)))
    else:
        row["width_mm"], row["length_mm"] = 2 * rng.randint(1, 5), 2 * rng.randint(1, 8)
    row["depth_mm"] = rng.choice((None, 2, 5, 12))
    row["percent"] = rng.choice((None, 10, 20, 40, 60))
    row["margin_percent"] = rng.choice((None, 0, 30, 60, 90))
    return row


def _limit(rng: random.Random, grade: str) -> Limit:
    kinds = tuple(rng.sample(KINDS[:6], rng.randint(1, 3)))
    metric = rng.choice(
        ("presence", "size_mm", "length_mm", "dimension_ratio", "dimension_ratio", "thickness_ratio", "depth_ratio",
         "area_ratio", "percent", "count", "length_share", "warp_mm")
    )  # fmt: skip
    most = {
        "presence": 0.0,
        "size_mm": rng.choice((2, 4, 6)),
        "length_mm": rng.choice((2, 6, 10)),
        "count": rng.choice((0, 1, 2)),
        "percent": rng.choice((10, 30)),
        "warp_mm": rng.choice((1, 3, 6)),
    }.get(metric, rng.choice((0.1, 0.2, 0.4, 0.6)))
    extra: dict[str, Any] = {}
    if metric == "count" or (metric not in ("presence", "length_share", "warp_mm") and rng.random() < 0.4):
        extra["window_mm"] = rng.choice((0, 6, 15, 100)) if metric != "count" else rng.choice((10, 20))
    if metric == "area_ratio":
        extra["when_margin_above"] = rng.choice((None, 0.5))
    if metric == "warp_mm":
        kinds = tuple(rng.sample(KINDS[6:], rng.randint(1, 3)))
        extra["over_mm"], extra["per_width_mm"] = rng.choice((None, 40)), rng.choice((None, 25))
    if rng.random() < 0.2:
        extra["below_mm"] = 3.0
    place = rng.choice(("any", "any", "face", "better_face", "edge", "margin"))
    return Limit(grade, kinds, place, metric, float(most), "own", "", "", **extra)


def rules(rng: random.Random, *, split: bool = False) -> GradingRules:
    """A rule set of two or three grades with up to six limits each."""
    count = rng.randint(2, 3)
    grades = tuple(GradeRule(f"G{i}", "", "", False, float(rng.choice((10, 20, 30)))) for i in range(count))
    limits = tuple(_limit(rng, g.code) for g in grades for _ in range(rng.randint(1, 6)))
    sizes = PieceSizes(
        length_module_mm=10,
        cut_step_mm=5,
        length_allowance_mm=rng.choice((0, 0, 2)),
        widths_mm=rng.choice(((), (20, 30), (20, 30), (15, 25, 40))),
        width_allowance_mm=rng.choice((0, 1)),
        width_allowance_share=rng.choice((0, 0, 0.04)),
        min_width_mm=15,
        rip_step_mm=rng.choice((10, 15)),
        keep_full_width=rng.random() < 0.8,
        may_rip=rng.random() < 0.85,
        margin_share=rng.choice((0.05, 0.25)),
        may_split=split,
        kerf_mm=rng.choice((0, 3, 5)),
    )
    return GradingRules("r", "r", 1, (*grades, GradeRule("X", "", "", True, 1.0)), limits, sizes)


def prices(rng: random.Random, of: GradingRules) -> tuple[Price, ...]:
    """Prices that often make pieces of different grades and widths worth the same."""
    found = []
    for grade in of.accepting:
        narrow = rng.choice((0, 1, 2, 3, 6))
        wide = rng.choice((narrow, 2 * narrow))
        found += [Price(grade.code, narrow, max_width_mm=28), Price(grade.code, wide, min_width_mm=28)]
    return tuple(found)


def frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    """Rows as a typed frame of a features file."""
    table = pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)
    numeric = list(COLUMNS[3:])
    return table.assign(**{name: pd.to_numeric(table[name]) for name in numeric})

"""How many boards a second are graded, how does that grow with features, and against what a plain search costs?

Boards of 3.6 m × 200 × 28 mm with 5 to 80 random features are graded by value under the appearance rules: the best
piece only, and with the deciding feature, the reasons and the grade of the whole board (which grades every board once
more for each of its features). The peer tries every piece in plain Python, as the tests do, on a few of the same boards
in the same run; its answers must be the same. `python benchmarks/grade.py 100000` grades that many boards in one go.
"""

import random
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import numpy as np
import pandas as pd

from grading.calc.best_piece import GradingOptions, grade_boards
from grading.calc.rule_limits import GradingRules, Price
from grading.calc.rule_set_documents import read_rule_set
from grading.calc.rule_tables import prices_from
from tests.grading import piece_reference as slow
from tests.grading.random_boards import COLUMNS, frame

ROOT = Path(__file__).resolve().parent.parent
BOARDS = 2000
PEER_BOARDS = 3
KINDS = ("sound_knot", "sound_knot", "dead_knot", "encased_knot", "resin_pocket", "check")


def board(code: str) -> dict[str, Any]:
    return {"board": code, "length_m": 3.6, "width_mm": 200.0, "thickness_mm": 28.0}


def features(rng: random.Random, code: str, count: int) -> list[dict[str, Any]]:
    """Random features: knots of 3 to 40 mm, pockets and checks of 10 to 150 mm."""
    rows = []
    for _ in range(count):
        row: dict[str, Any] = dict.fromkeys(COLUMNS) | {"board": code, "kind": rng.choice(KINDS)}
        size = rng.randint(3, 40) if row["kind"].endswith("knot") else rng.randint(10, 150)
        row |= {
            "face": rng.choice(("face1", "face2")),
            "x_mm": rng.randint(0, 3600),
            "y_mm": rng.randint(0, 200),
        }
        rows.append(row | {"size_mm": size})
    return rows


def graded_per_second(
    boards: pd.DataFrame, rows: pd.DataFrame, rules: GradingRules, prices: tuple[Price, ...], explain: bool
) -> float:
    began = time.perf_counter()
    grade_boards(boards, rows, rules, prices, GradingOptions(assessed=("all",), explain=explain))
    return len(boards) / (time.perf_counter() - began)


def peer(
    count: int, rows: list[dict[str, Any]], rules: GradingRules, prices: tuple[Price, ...]
) -> tuple[float, int]:
    """Boards a second of the plain search, and how many of its answers differ."""
    boards = [board(f"b{n}") for n in range(count)]
    fast = grade_boards(
        pd.DataFrame(boards), frame(rows), rules, prices, GradingOptions(assessed=("all",), explain=False)
    )
    differ = 0
    began = time.perf_counter()
    for one, answer in zip(boards, fast, strict=True):
        own = [{k: v for k, v in r.items() if v is not None} for r in rows if r["board"] == one["board"]]
        found = slow.best(slow.Board(3600.0, 200.0, 28.0), own, rules, prices)
        pieces = [(p.grade, p.from_mm, p.to_mm, p.from_edge_mm) for p in answer.pieces]
        expected = [(found[0].code, found[1].x0, found[1].x1, found[1].y0)] if found else []
        differ += pieces != expected
    return count / (time.perf_counter() - began), differ


def many(count: int, each: int = 12) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Many boards and their features, as `features` makes them."""
    rng = np.random.default_rng(7)
    codes = np.array([f"b{n}" for n in range(count)], dtype=object)
    kind = rng.choice(np.array(KINDS, dtype=object), count * each)
    knot = np.char.endswith(kind.astype(str), "knot")
    size = np.where(knot, rng.integers(3, 41, count * each), rng.integers(10, 151, count * each))
    table = pd.DataFrame(
        {
            "board": np.repeat(codes, each),
            "kind": kind,
            "face": rng.choice(np.array(["face1", "face2"], dtype=object), count * each),
            "x_mm": rng.uniform(0, 3600, count * each),
            "y_mm": rng.uniform(0, 200, count * each),
            "size_mm": size.astype(float),
        }
    )
    return pd.DataFrame([board(code) for code in codes]), table


def main(count: int) -> int:
    """Print a line for each number of features; 1 when the two searches differ."""
    rules = read_rule_set(ROOT / "fixtures" / "rule_sets" / "trial_appearance.toml").rules()
    prices = prices_from(pd.read_csv(ROOT / "fixtures" / "demo" / "prices.csv"), rules.code)
    rng = random.Random(7)
    warm = frame(features(rng, "b0", 3))
    began = time.perf_counter()
    grade_boards(pd.DataFrame([board("b0")]), warm, rules, prices)
    print(f"first board, compiling or loading what was compiled: {time.perf_counter() - began:.1f} s")
    print(
        "features a board: best piece only / with deciding feature and reasons / plain Python, boards a second"
    )
    differing = 0
    for n in (5, 10, 20, 40, 80):
        lot = min(count, BOARDS)
        rows = [row for b in range(lot) for row in features(rng, f"b{b}", n)]
        boards, table = pd.DataFrame([board(f"b{b}") for b in range(lot)]), frame(rows)
        explained = boards.iloc[: max(1, lot * 5 // n // 2)]
        quick = graded_per_second(boards, table, rules, prices, False)
        whole = graded_per_second(explained, table, rules, prices, True)
        plain, differ = peer(
            PEER_BOARDS, [r for r in rows if int(r["board"][1:]) < PEER_BOARDS], rules, prices
        )
        differing += differ
        print(
            f"{n:3d}: {quick:8.0f} / {whole:7.0f} / {plain:7.2f}; {quick / plain:6.0f} times the plain one",
            flush=True,
        )
    if count > BOARDS:
        boards, table = many(count)
        speeds = [graded_per_second(boards, table, rules, prices, explain) for explain in (False, True)]
        print(f"{count} boards of 12 features in one go: {speeds[0]:.0f} / {speeds[1]:.0f} a second")
    print(f"{differing} answers of the two searches differ")
    return int(bool(differing))


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else BOARDS))

"""How many flitches a second are docked, beside one linear programme an interval; and how long scenarios take.

`python benchmarks/dock.py [--flitches 300] [--runs 5] [--logs 1000]`. Both ways dock the same flitches of 5 m with
100 mm of length module and two docks at most, with as many possible cuts as stations; making the flitch and all
arrays is included. The linear programmes (scipy's linprog, HiGHS) only give the widths of all intervals, the
greater part of that way, of `--slow` flitches. Times are of one core; compiling is told apart.
"""

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.optimize import linprog

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from benchmarks.setting import spread
from sawing.calc.dock_flitch import Flitch
from sawing.calc.dock_rules import Rules
from sawing.calc.dock_scenarios import Scenario, compare
from sawing.calc.log_to_flitch import LogShape, SawPattern

LENGTH_MM = 5000.0
WIDTHS = tuple(float(width) for width in range(100, 301, 25))
Edges = tuple[np.ndarray, np.ndarray, np.ndarray]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--flitches", type=int, default=300)
    parser.add_argument("--slow", type=int, default=1)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--logs", type=int, default=1000)
    options = parser.parse_args()
    began = time.perf_counter()
    from sawing.calc.dock_optimum import dock

    dock(make(edges(0, 50)), Rules(widths_mm=WIDTHS))
    print(f"first call, with loading or compiling: {time.perf_counter() - began:.1f} s")
    for stations in (50, 100, 200):
        measure(stations, options)
    if options.logs:
        scenarios(options.logs)


def measure(stations: int, options: argparse.Namespace) -> None:
    """Print flitches a second of both ways for one number of stations."""
    from sawing.calc.dock_optimum import dock

    all_edges = [edges(seed, stations) for seed in range(options.flitches)]
    step = LENGTH_MM / stations
    free = Rules(widths_mm=WIDTHS, grid_step_mm=step, max_docks=2)
    kept = Rules(widths_mm=WIDTHS, grid_step_mm=step, keep_end="each")
    rates, kept_rates = (
        [
            options.flitches / seconds(lambda r=rules: [dock(make(given), r) for given in all_edges])
            for _ in range(options.runs)
        ]
        for rules in (free, kept)
    )
    few = all_edges[: options.slow]
    slow = len(few) / seconds(lambda: [widths_by_programmes(given, free) for given in few])
    median = sorted(rates)[len(rates) // 2]
    print(f"{stations} stations: {spread(rates)} flitches/s; keep_end each {spread(kept_rates)}")
    print(f"  one linear programme an interval: {slow:.3f} flitches/s; ratio {median / slow:,.0f}")


def seconds(work: Callable[[], object]) -> float:
    """Processor time that some work takes."""
    began = time.process_time()
    work()
    return time.process_time() - began


def edges(seed: int, stations: int) -> Edges:
    """Stations and edges of a bent, tapered, slightly rough flitch."""
    rng = np.random.default_rng(seed)
    x = np.linspace(0, LENGTH_MM, stations + 1)
    bow = 4 * rng.uniform(10, 60) * x * (LENGTH_MM - x) / LENGTH_MM**2
    width = rng.uniform(140, 300) - rng.uniform(4, 12) * x / 1000
    left = bow + rng.normal(0, 2, x.size)
    return x, left, bow + width + rng.normal(0, 2, x.size)


def make(given: Edges) -> Flitch:
    return Flitch("F", 25.0, *given)


def widths_by_programmes(given: Edges, rules: Rules) -> list[float]:
    """The widest strip of every interval, each by a linear programme of its own."""
    x, left, right = given
    step = round(rules.length_module_mm / (x[1] - x[0]))
    found = []
    for steps in range(round(rules.min_length_mm / rules.length_module_mm) * step, x.size, step):
        for start in range(x.size - steps):
            inside = slice(start, start + steps + 1)
            ones, at = np.ones(steps + 1), x[inside]
            rows = np.vstack([np.column_stack([-ones, -at, 0 * ones]), np.column_stack([ones, at, ones])])
            limits = np.concatenate([-left[inside], right[inside]])
            bounds = [(None, None), (-rules.max_skew, rules.max_skew), (None, None)]
            found.append(-linprog([0, 0, -1], A_ub=rows, b_ub=limits, bounds=bounds, method="highs").fun)
    return found


def scenarios(count: int) -> None:
    """Print how long a study of so many logs takes under twelve scenarios."""
    rng = np.random.default_rng(1)
    logs = []
    for number in range(count):
        length = float(rng.uniform(3000, 5000))
        sweep = float(rng.uniform(2, 12)) * length / 1000
        logs.append(
            LogShape(str(number), length, float(rng.uniform(200, 420)), float(rng.uniform(6, 12)), sweep)
        )
    base = Rules(widths_mm=WIDTHS)
    changes: list[dict[str, object]] = [
        {},
        {"max_docks": 0},
        {"max_docks": 2},
        {"keep_end": "each"},
        {"widths_mm": WIDTHS[::2]},
        {"min_length_mm": 1800.0},
        {"boards_per_piece": 2},
        {"width_oversize_pct": 4.0, "edger_clearance_mm": 6.0},
    ]
    ways = [Scenario(str(c), SawPattern(25.0, 4.5), Rules(**{**base.__dict__, **c})) for c in changes]
    ways += [
        Scenario("bow up", SawPattern(25.0, 4.5, "bow_up"), base),
        Scenario("kerf 3", SawPattern(25.0, 3.0), base),
        Scenario("kerf 6", SawPattern(25.0, 6.0), base),
        Scenario("thick", SawPattern(38.0, 4.5), base),
    ]
    began, worked = time.perf_counter(), time.process_time()
    found = compare(logs, ways)
    flitches = sum(result.flitches for result in found)
    print(
        f"{count} logs, {len(ways)} scenarios, {flitches:,} flitches: {time.perf_counter() - began:.1f} s"
        f" ({time.process_time() - worked:.1f} s of one core)"
    )


if __name__ == "__main__":
    main()

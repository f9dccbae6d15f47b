"""The same logs sawn in several ways: recovery, share of wide boards, value, and what docking gains.

Computed from geometry alone: no defects, no saw wander, no grade. Without oversize and edger clearance it promises
more than a mill gets.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

from sawing.calc.dock_flitch import Flitch
from sawing.calc.dock_results import MM3_PER_M3, Docked
from sawing.calc.dock_rules import Rules
from sawing.calc.dock_worth import WORTH_OF_ONE
from sawing.calc.log_to_flitch import LogShape, SawPattern, flitches_from_log

WIDE_MM: Final = 200.0
Told = Callable[[int, int], None]


@dataclass(frozen=True)
class Scenario:
    """One way of sawing: how logs are opened, and how flitches are docked and edged."""

    name: str
    pattern: SawPattern
    rules: Rules


@dataclass(frozen=True)
class ScenarioResult:
    """Totals over all logs of a scenario. Volumes in m3; values in the prices' currency, or m3 without prices.

    `value_at_middle`: with every flitch docked at half its length (one board a half), None without docks;
    `value_bound`: what no plan passes with any number of docks. Ratios are of totals.
    """

    name: str
    logs: int
    flitches: int
    boards: int
    docked_flitches: int
    log_volume_m3: float
    volume_m3: float
    wide_volume_m3: float
    value: float
    value_without_dock: float
    value_at_middle: float | None
    value_bound: float

    @property
    def recovery(self) -> float | None:
        """Volume of boards at the size they count as, over volume of logs."""
        return self.volume_m3 / self.log_volume_m3 if self.log_volume_m3 else None

    @property
    def wide_share(self) -> float | None:
        """Share of the boards' volume in wide boards."""
        return self.wide_volume_m3 / self.volume_m3 if self.volume_m3 else None

    @property
    def value_per_m3_log(self) -> float | None:
        """Value over volume of logs."""
        return self.value / self.log_volume_m3 if self.log_volume_m3 else None

    @property
    def gain_over_no_dock(self) -> float | None:
        """Gain in value over the best without docks, as a share of that."""
        return self.value / self.value_without_dock - 1 if self.value_without_dock else None

    @property
    def gain_over_middle(self) -> float | None:
        """Gain in value over docking every flitch at half its length, as a share of that."""
        return self.value / self.value_at_middle - 1 if self.value_at_middle else None

    @property
    def share_of_bound(self) -> float | None:
        """Value over the bound."""
        return self.value / self.value_bound if self.value_bound else None

    def to_dict(self) -> dict[str, Any]:
        """All figures by name, ratios included."""
        ratios = (
            "recovery",
            "wide_share",
            "value_per_m3_log",
            "gain_over_no_dock",
            "gain_over_middle",
            "share_of_bound",
        )
        return {**asdict(self), **{name: getattr(self, name) for name in ratios}}


def compare(
    logs: Sequence[LogShape],
    scenarios: Sequence[Scenario],
    *,
    wide_mm: float = WIDE_MM,
    progress: Told | None = None,
) -> list[ScenarioResult]:
    """Each scenario with the same logs. `progress(done, total)` is called after each scenario of each log.

    Raises:
        ValueError: where the rules give more cases than can be tried.
    """
    from sawing.calc.dock_optimum import dock  # compiled code: only what computes waits for it

    plans: list[list[Docked]] = [[] for _ in scenarios]
    total = len(logs) * len(scenarios)
    for number, log in enumerate(logs):
        sawn: dict[SawPattern, list[Flitch]] = {}
        for at, scenario in enumerate(scenarios):
            if scenario.pattern not in sawn:
                sawn[scenario.pattern] = flitches_from_log(log, scenario.pattern)
            plans[at] += [dock(flitch, scenario.rules) for flitch in sawn[scenario.pattern]]
            if progress is not None:
                progress(number * len(scenarios) + at + 1, total)
    return [_summed(*pair, logs, wide_mm) for pair in zip(scenarios, plans, strict=True)]


def _summed(
    scenario: Scenario, docked: Sequence[Docked], logs: Sequence[LogShape], wide_mm: float
) -> ScenarioResult:
    volume = wide = 0.0
    boards = 0
    for plan in docked:
        for board in plan.boards:
            area = board.length_mm * plan.thickness_mm / MM3_PER_M3
            volume += area * sum(board.widths_mm)
            wide += area * sum(w for w in board.widths_mm if w >= wide_mm)
            boards += len(board.widths_mm)
    middle = [plan.worth_at_middle for plan in docked]
    return ScenarioResult(
        scenario.name,
        len(logs),
        len(docked),
        boards,
        sum(len(plan.boards) > 1 for plan in docked),
        sum(log.volume_m3 for log in logs),
        volume,
        wide,
        sum(plan.worth for plan in docked) / WORTH_OF_ONE,
        sum(plan.worth_by_docks[0] for plan in docked) / WORTH_OF_ONE,
        None if scenario.rules.max_docks == 0 else sum(m or 0 for m in middle) / WORTH_OF_ONE,
        sum(plan.bound_local_worth for plan in docked) / WORTH_OF_ONE,
    )

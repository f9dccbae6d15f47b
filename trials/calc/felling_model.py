"""The whole-number programme behind the choice of trees to fell (solved by HiGHS through scipy).

Trees of one clone, plot and diameter class are alike for balance, so the programme decides how many of each
such group are felled. Imbalance is the sum of squared counts in the cells of the balance; a count y enters as
y = z_1 + z_2 + ... with 0 <= z_j <= 1 at the cost 2j - 1: y^2 at every whole y, because the costs rise.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp
from scipy.sparse import csr_array, diags_array, hstack, vstack

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

TIE_NODES = 500  # nodes spent on breaking ties: a count, so that a seed gives one choice on every machine
TIE_SHARE = 0.5  # and never more time than this share of the search's own limit


@dataclass(frozen=True)
class Requirement:
    """Low <= trees felled of `groups` <= high. `family` says what kind of requirement, `label` which one."""

    family: str
    label: str
    groups: IntArray
    low: float
    high: float


@dataclass(frozen=True)
class Cell:
    """A count of the balance: trees felled of `groups`, weighing `weight`."""

    groups: IntArray
    weight: float


@dataclass(frozen=True)
class Programme:
    """Sizes of the groups, what must hold, what should be even."""

    sizes: IntArray
    requirements: tuple[Requirement, ...]
    cells: tuple[Cell, ...]
    most: int  # trees felled in all


@dataclass(frozen=True)
class Solved:
    """Trees felled of each group (None without a choice), status, weighted sum of squared counts, its proved
    lower bound, relative gap, nodes searched, and whether ties were broken within the budget."""

    felled: IntArray | None
    status: str
    squares: float
    bound: float
    gap: float
    nodes: int
    ties_drawn: bool = True


@dataclass(frozen=True)
class Shortfall:
    """A requirement that cannot be kept: by how many trees it has to give way (below 0: to allow more)."""

    family: str
    label: str
    wanted: float
    by: float


def solve(programme: Programme, *, rng: np.random.Generator, time_limit_s: float) -> Solved:
    """The most balanced choice, one of the equally balanced ones drawn by `rng`.

    Status "optimal" (proved), "time limit" (the best found until then, with its gap) or "infeasible".
    """
    if not len(programme.sizes):
        return Solved(None, "infeasible", np.nan, np.nan, np.nan, 0)
    costs, matrix, low, high, upper, whole = _arrays(programme)
    result = milp(
        costs,
        constraints=LinearConstraint(matrix, low, high),
        bounds=Bounds(0.0, upper),
        integrality=whole,
        options={"time_limit": time_limit_s, "mip_rel_gap": 0.0},
    )
    if result.status == 2:
        return Solved(None, "infeasible", np.nan, np.nan, np.nan, _nodes(result))
    if result.x is None:
        return Solved(None, "time limit", np.nan, _bound(result), np.nan, _nodes(result))
    felled = np.rint(result.x[: len(programme.sizes)]).astype(np.int64)
    squares = weighted_squares(programme, felled)
    felled, ties_drawn = _tie_broken(programme, felled, squares, rng, TIE_SHARE * time_limit_s)
    status = "optimal" if result.status == 0 else "time limit"
    bound = min(_bound(result), squares)
    gap = (squares - bound) / squares if squares > 0 else 0.0
    return Solved(felled, status, squares, bound, gap, _nodes(result), ties_drawn)


def weighted_squares(programme: Programme, felled: IntArray) -> float:
    """Weighted sum of the squared counts of a choice."""
    return float(sum(cell.weight * float(felled[cell.groups].sum()) ** 2 for cell in programme.cells))


def shortfalls(programme: Programme, families: Collection[str]) -> tuple[Shortfall, ...] | None:
    """The least by which requirements of these families must give way for a choice to exist, all others kept:
    empty when there is one already, None when giving way here is not enough."""
    rows = programme.requirements
    n_groups, n_rows = len(programme.sizes), len(rows)
    matrix, low, high = _requirement_rows(rows, n_groups)
    gives = np.array([1.0 if row.family in families else 0.0 for row in rows])
    slack = diags_array(gives)
    result = milp(
        np.concatenate([np.zeros(n_groups), np.ones(2 * n_rows)]),
        constraints=LinearConstraint(hstack([matrix, slack, -slack]), low, high),
        bounds=Bounds(0.0, np.concatenate([programme.sizes, np.tile(gives * programme.most, 2)])),
        integrality=np.ones(n_groups + 2 * n_rows),
    )
    if result.x is None:
        return None
    given = result.x[n_groups : n_groups + n_rows] - result.x[n_groups + n_rows :]
    return tuple(
        Shortfall(row.family, row.label, row.low if row.low > 0 else row.high, float(round(by)))
        for row, by in zip(rows, given, strict=True)
        if abs(by) > 0.5
    )


def _arrays(
    programme: Programme,
) -> tuple[FloatArray, csr_array, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Costs, rows, their low and high ends, upper bounds and wholeness: of group counts, then of steps z."""
    n_groups = len(programme.sizes)
    rows, low, high = _requirement_rows(programme.requirements, n_groups)
    steps = [
        min(programme.most, int(programme.sizes[cell.groups].sum())) if cell.weight > 0 else 0
        for cell in programme.cells
    ]
    counted = [cell for cell, n in zip(programme.cells, steps, strict=True) if n]
    steps = [n for n in steps if n]
    links = _incidence([cell.groups for cell in counted], n_groups)
    step_of = np.repeat(np.arange(len(counted)), steps)
    sums = csr_array(
        (-np.ones(len(step_of)), (step_of, np.arange(len(step_of)))), (len(counted), len(step_of))
    )
    empty = csr_array((rows.shape[0], len(step_of)))
    matrix = csr_array(vstack([hstack([rows, empty]), hstack([links, sums])]))
    costs = [cell.weight * (2.0 * np.arange(1, n + 1) - 1.0) for cell, n in zip(counted, steps, strict=True)]
    zeros = np.zeros(len(counted))
    return (
        np.concatenate([np.zeros(n_groups), *costs]),
        matrix,
        np.concatenate([low, zeros]),
        np.concatenate([high, zeros]),
        np.concatenate([programme.sizes, np.ones(len(step_of))]).astype(np.float64),
        np.concatenate([np.ones(n_groups), np.zeros(len(step_of))]),
    )


def _tie_broken(
    programme: Programme, felled: IntArray, squares: float, rng: np.random.Generator, time_limit_s: float
) -> tuple[IntArray, bool]:
    """One of the choices as balanced as `felled`, the cheapest at random prices of the groups, and whether the
    search for it came to its end: otherwise the choice is as even, but hangs on how far the search got."""
    costs, matrix, low, high, upper, whole = _arrays(programme)
    prices = np.zeros(len(costs))
    prices[: len(felled)] = rng.random(len(felled))
    result = milp(
        prices,
        constraints=[
            LinearConstraint(matrix, low, high),
            LinearConstraint(csr_array(costs[None, :]), -np.inf, squares + 0.25),
        ],
        bounds=Bounds(0.0, upper),
        integrality=whole,
        options={"node_limit": TIE_NODES, "mip_rel_gap": 0.02, "time_limit": time_limit_s},
    )
    if result.x is None:
        return felled, False
    drawn = np.rint(result.x[: len(felled)]).astype(np.int64)
    return (drawn, result.status == 0) if weighted_squares(programme, drawn) <= squares else (felled, False)


def _requirement_rows(
    requirements: Sequence[Requirement], n_groups: int
) -> tuple[csr_array, FloatArray, FloatArray]:
    matrix = _incidence([row.groups for row in requirements], n_groups)
    return matrix, np.array([row.low for row in requirements]), np.array([row.high for row in requirements])


def _incidence(members: Sequence[IntArray], n_groups: int) -> csr_array:
    lengths = [len(groups) for groups in members]
    rows = np.repeat(np.arange(len(members)), lengths)
    columns = np.concatenate([*members, np.empty(0, dtype=np.int64)]).astype(np.int64)
    return csr_array((np.ones(len(rows)), (rows, columns)), (len(members), n_groups))


def _bound(result: OptimizeResult) -> float:
    bound = getattr(result, "mip_dual_bound", None)
    return float("-inf") if bound is None else float(bound)


def _nodes(result: OptimizeResult) -> int:
    return int(getattr(result, "mip_node_count", 0) or 0)

"""Choosing trees to fell: a sample balanced over diameter classes, sites and blocks, with proof, reserves and
reasons where it cannot be had."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.calc.felling_model import Solved, shortfalls, solve
from trials.calc.felling_requirements import (
    Obstacle,
    Wanted,
    diameter_classes,
    grouped,
    levels,
    obstacles,
    programme,
)
from trials.calc.felling_reserves import name_reserves

CANDIDATE_COLUMNS = ("tree", "clone", "site", "block", "plot", "dbh_mm", "healthy", "edge")
UNHEALTHY, AT_EDGE = "not healthy", "at an edge"


@dataclass(frozen=True)
class Proof:
    """How good the choice is. imbalance: weighted sum over clones and over all trees together of squared
    differences from the even share, in classes, sites and blocks. bound: proved, no choice is below it.
    gap: (imbalance - bound) in trees squared; 0 when status is "optimal". Status "time limit": the best found
    in time, "infeasible": see the obstacles. `ties_drawn`: the draw among equally even choices came to its end, so
    that the seed gives this choice again."""

    status: str
    imbalance: float
    bound: float
    gap: float
    nodes: int
    ties_drawn: bool = True


@dataclass(frozen=True)
class FellingChoice:
    """The choice. `chosen`: the candidates' columns and diameter_class; `reserves`: tree, rank, reserve,
    differs (in words; empty for a like one); `balance`: clone (None: all together), over, level, trees,
    share; `left_out`: tree, reason. Without a choice `chosen` and `reserves` are empty and `obstacles` say why."""

    chosen: pd.DataFrame
    reserves: pd.DataFrame
    balance: pd.DataFrame
    left_out: pd.DataFrame
    proof: Proof
    obstacles: tuple[Obstacle, ...]
    notes: tuple[str, ...]


def choose_trees(
    candidates: pd.DataFrame, wanted: Wanted, *, seed: int, time_limit_s: float = 30.0
) -> FellingChoice:
    """The most balanced choice of trees that keeps every requirement; equally balanced ones are drawn by
    `seed`.

    `candidates` has one row a tree with tree, clone, site, block, plot (codes; a block is one of its site, a
    plot of its block), dbh_mm, and healthy and edge (True, False or missing: not known, and then kept). The
    order of its rows does not matter. With the same seed the choice is the same, unless the time limit ends
    the search. ValueError for missing columns or codes and for numbers below 0.
    """
    _check(candidates, wanted)
    rng = np.random.default_rng(seed)
    ordered = candidates.sort_values("tree", ignore_index=True)
    ordered["diameter_class"] = diameter_classes(ordered["dbh_mm"], wanted.class_edges_mm)
    left_out = _left_out(ordered, wanted)
    usable = ordered[left_out.isna()].reset_index(drop=True)
    groups, group_of = grouped(usable)
    made = programme(groups, wanted)
    solved = solve(made, rng=rng, time_limit_s=time_limit_s)
    chosen = _picked(usable, group_of, solved, rng)
    balance = _balance(usable, chosen, wanted)
    infeasible = solved.status == "infeasible"
    return FellingChoice(
        chosen=chosen,
        reserves=name_reserves(usable, chosen, wanted.reserves, wanted.most_per_plot, rng),
        balance=balance,
        left_out=pd.DataFrame({"tree": ordered["tree"], "reason": left_out}).dropna(ignore_index=True),
        proof=_proof(solved, balance, wanted),
        obstacles=obstacles(made) if infeasible else (),
        notes=_notes(ordered, left_out, wanted, infeasible),
    )


def _left_out(trees: pd.DataFrame, wanted: Wanted) -> pd.Series[str]:
    """Why a tree cannot be chosen, None where it can: the first reason that holds."""
    reasons = pd.Series([None] * len(trees), index=trees.index, dtype=object)
    tests = [
        ("clone not asked for", ~trees["clone"].isin(list(wanted.per_clone))),
        ("site not asked for", ~trees["site"].isin(wanted.sites or trees["site"])),
        ("named to be left", trees["tree"].isin(wanted.leave)),
        ("no diameter", trees["dbh_mm"].isna()),
        (UNHEALTHY, _known(trees["healthy"], False) & wanted.leave_unhealthy),
        (AT_EDGE, _known(trees["edge"], True) & wanted.leave_edge),
    ]
    for reason, holds in tests:
        reasons[holds & reasons.isna()] = reason
    return reasons


def _known(values: pd.Series[bool], answer: bool) -> pd.Series[bool]:
    """Where a yes-no value is known and is `answer`."""
    return values.map(lambda value: bool(value) is answer, na_action="ignore").eq(True)


def _picked(
    usable: pd.DataFrame, group_of: np.ndarray, solved: Solved, rng: np.random.Generator
) -> pd.DataFrame:
    """The trees felled: of each group as many as decided, drawn by `rng`; in the order of their places."""
    taken = np.zeros(len(usable), dtype=bool)
    order = rng.permutation(len(usable))
    if solved.felled is not None:
        rank = pd.Series(group_of[order]).groupby(group_of[order]).cumcount().to_numpy()
        taken[order] = rank < solved.felled[group_of[order]]
    chosen = usable[taken]
    return chosen.sort_values(["site", "block", "plot", "tree"], ignore_index=True)


def _balance(usable: pd.DataFrame, chosen: pd.DataFrame, wanted: Wanted) -> pd.DataFrame:
    """Trees chosen in every cell of the balance and the even share, for each clone and all together."""
    rows = []
    for clone in (*wanted.per_clone, None):
        of_clone = chosen if clone is None else chosen[chosen["clone"] == clone]
        for over, sets in levels(usable, wanted).items():
            for level in sets:
                inside = np.ones(len(of_clone), dtype=bool)
                for column, value in level.items():
                    inside &= (of_clone[column] == value).to_numpy()
                rows.append(
                    (clone, over, " / ".join(level.values()), int(inside.sum()), len(of_clone) / len(sets))
                )
    return pd.DataFrame(rows, columns=["clone", "over", "level", "trees", "share"])


def _proof(solved: Solved, balance: pd.DataFrame, wanted: Wanted) -> Proof:
    """The proof in terms of differences from the even share: squares about the share are the squares less a
    constant, the same for every choice."""
    weight = balance["over"].map(lambda over: float(wanted.weights.get(over, 0)))
    even = float((weight * balance["share"] ** 2).sum())
    nothing = solved.felled is None
    imbalance = float("nan") if nothing else round(solved.squares - even, 9)
    bound = float("nan") if nothing else round(solved.bound - even, 9)
    return Proof(solved.status, imbalance, bound, imbalance - bound, solved.nodes, solved.ties_drawn)


def _notes(
    trees: pd.DataFrame, left_out: pd.Series[str], wanted: Wanted, infeasible: bool
) -> tuple[str, ...]:
    usable = trees[left_out.isna()]
    notes = []
    for column in ("healthy", "edge"):
        unknown = int(usable[column].isna().sum())
        if unknown:
            notes.append(f"{unknown} candidates without a record of {column!r} were kept")
    if infeasible:
        notes += [
            f"with the {count} trees allowed that were left out as {reason!r} a choice exists"
            for reason, count in _would_help(trees, left_out, wanted)
        ]
    return tuple(notes)


def _would_help(trees: pd.DataFrame, left_out: pd.Series[str], wanted: Wanted) -> list[tuple[str, int]]:
    """Exclusions without which the requirements can be met, with the trees they leave out."""
    found = []
    for reason in (UNHEALTHY, AT_EDGE):
        again = trees[left_out.isna() | (left_out == reason)].reset_index(drop=True)
        count = int((left_out == reason).sum())
        if count and shortfalls(programme(grouped(again)[0], wanted), ()) == ():
            found.append((reason, count))
    return found


def _check(candidates: pd.DataFrame, wanted: Wanted) -> None:
    missing = [column for column in CANDIDATE_COLUMNS if column not in candidates.columns]
    if missing:
        raise ValueError(f"candidates without the columns {', '.join(missing)}")
    codes = candidates[["tree", "clone", "site", "block", "plot"]]
    if codes.isna().any(axis=None) or codes["tree"].duplicated().any():
        raise ValueError("a candidate without a code, or a tree named twice; expected each tree once")
    numbers = [*wanted.per_clone.values(), wanted.least_per_class, wanted.least_per_site, wanted.reserves]
    if not wanted.per_clone or min([*numbers, *wanted.weights.values()]) < 0 or wanted.most_per_plot < 1:
        raise ValueError(
            "expected clones, numbers of trees and weights of 0 or more, and 1 tree a plot or more"
        )
    strange = set(wanted.sites or ()) - set(candidates["site"])
    if strange:
        raise ValueError(f"sites without candidates: {', '.join(sorted(strange))}")
    unknown = set(wanted.weights) - {"class", "site", "block"}
    if unknown:
        raise ValueError(f"weights for {sorted(unknown)}: expected class, site, block")

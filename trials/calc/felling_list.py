"""From a choice of trees to fell to the list a crew walks by, its balance as tables, its proof in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.calc.felling_choice import FellingChoice, Proof, choose_trees
from trials.calc.felling_requirements import Obstacle, Wanted, class_labels, diameter_classes
from trials.calc.walking_order import Walk, tree_walk

LIKE = ("clone", "site", "block", "diameter_class")
SHOWN_DETAILS = 12


@dataclass(frozen=True)
class BalanceTable:
    """Trees chosen over the levels of one kind ("class", "site", "block"): rows (clone or "all together", counts,
    even share of a level)."""

    over: str
    levels: tuple[str, ...]
    rows: tuple[tuple[str, tuple[int, ...], float], ...]


def choose_from(candidates: pd.DataFrame, wanted: Wanted, *, seed: int, time_limit_s: float) -> FellingChoice:
    """choose_trees, with or without diameters: where no classes are asked for, trees of unknown diameter are
    candidates like all others (their diameter stays missing in the result)."""
    asked = candidates
    if not wanted.class_edges_mm:
        middle = candidates["dbh_mm"].median()
        asked = candidates.assign(dbh_mm=candidates["dbh_mm"].fillna(1.0 if math.isnan(middle) else middle))
    choice = choose_trees(asked, wanted, seed=seed, time_limit_s=time_limit_s)
    known = candidates.set_index("tree")["dbh_mm"]
    chosen = choice.chosen.assign(dbh_mm=choice.chosen["tree"].map(known).astype(float))
    return FellingChoice(**{**vars(choice), "chosen": chosen})


def felling_list(choice: FellingChoice, candidates: pd.DataFrame, wanted: Wanted, walk: Walk) -> pd.DataFrame:
    """The chosen trees in walking order: the columns of `choice.chosen`, order (1, 2, ... on each site), like (how
    many free trees alike in clone, site, block and class each was drawn from, itself counted), reserve_1,
    differs_1, ... None of them for a choice without trees."""
    walked = tree_walk(choice.chosen, walk).drop(columns=["step_m", "walked_m"])
    usable = candidates[~candidates["tree"].isin(choice.left_out["tree"])]
    classes = diameter_classes(usable["dbh_mm"], wanted.class_edges_mm)
    if not wanted.class_edges_mm:
        classes = classes.fillna(class_labels(())[0])
    alike = usable.assign(diameter_class=classes).groupby(list(LIKE)).size()
    keys = pd.MultiIndex.from_frame(walked[list(LIKE)])
    walked["like"] = alike.reindex(keys).to_numpy(dtype=np.int64)
    for rank, part in choice.reserves.groupby("rank"):
        named = part.set_index("tree")
        walked[f"reserve_{rank}"] = walked["tree"].map(named["reserve"])
        walked[f"differs_{rank}"] = walked["tree"].map(named["differs"])
    return walked


def why_chosen(row: pd.Series) -> str:
    """Why a tree is on the list, in words: what it was drawn from."""
    of_class = "" if row["diameter_class"] == class_labels(())[0] else f", {row['diameter_class']}"
    where = f"of {row['clone']} in block {row['block']}{of_class}"
    if row["like"] == 1:
        return f"the only one {where}"
    return f"drawn from {row['like']} alike {where}"


def balance_tables(balance: pd.DataFrame) -> list[BalanceTable]:
    """The frame `FellingChoice.balance` as tables, one for each kind of level, all clones together first."""
    tables = []
    for over, part in balance.groupby("over", sort=False):
        together = part[part["clone"].isna()]
        rows = [("all together", _counts(together), _share(together))]
        rows += [(str(clone), _counts(own), _share(own)) for clone, own in part.groupby("clone", sort=False)]
        levels = tuple(str(level) for level in dict.fromkeys(part["level"]))
        tables.append(BalanceTable(str(over), levels, tuple(rows)))
    return tables


TIES = (
    "The draw among equally even choices did not come to its end in its limit: another run with this seed may choose"
    " another, equally even one. Keep this list."
)


def proof_in_words(proof: Proof, time_limit_s: float) -> str:
    """How good the choice is and how that is known, in one or two sentences."""
    uneven = f"Unevenness {proof.imbalance:.2f} (squared differences from even shares, summed)"
    bound = f"proved bound {proof.bound:.2f}, gap {proof.gap:.2f}"
    if proof.status == "optimal":
        draw = "" if proof.ties_drawn else f" {TIES}"
        return f"Proved: no choice that keeps what was asked is more even. {uneven}; {bound}.{draw}"
    if proof.status == "infeasible":
        return "Proved: no choice keeps all that was asked."
    if math.isnan(proof.imbalance):
        return f"Neither a choice nor a proof against one was found in {time_limit_s:g} seconds."
    if math.isinf(proof.bound):
        bound = "nothing proved yet about how even a choice could be"
    return (
        f"Not proved: the search ended at its limit of {time_limit_s:g} seconds, and a more even choice may "
        f"exist. {uneven}; {bound}. Another run may choose otherwise: keep this list."
    )


def obstacles_in_words(obstacles: tuple[Obstacle, ...]) -> list[tuple[str, list[str]]]:
    """What would have to give way: (sentence, amounts), long lists of amounts cut and counted."""
    found = []
    for obstacle in obstacles:
        how = "It would do to loosen only" if obstacle.alone else "Together with the others, to loosen:"
        details = list(obstacle.details[:SHOWN_DETAILS])
        if len(obstacle.details) > SHOWN_DETAILS:
            details.append(f"and {len(obstacle.details) - SHOWN_DETAILS} more of the same kind")
        found.append((f"{how} {obstacle.requirement}", details))
    return found


def _counts(rows: pd.DataFrame) -> tuple[int, ...]:
    return tuple(int(count) for count in rows["trees"])


def _share(rows: pd.DataFrame) -> float:
    return float(rows["share"].iloc[0])

"""Designs of a site: which clone stands in which plot of which block. Seeded: the same call gives the same
design.

A design knows plots only. `field_layout.lay_out` turns it into trees with rows, columns and codes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.calc.alpha_arrays import DesignRefusedError, Found, blocks_of, find_array, impossible
from trials.calc.efficiency import Bound, Efficiency, IntArray, efficiency, resolvable_bound
from trials.calc.row_columns import row_column_bound, search_row_columns


@dataclass(frozen=True)
class Design:
    """A design of plots with its efficiency.

    `plots` has one row a plot: block (1, 2, ...), incomplete_block (1, 2, ... within its block; column only
    in designs that have them), grid_row and grid_col (place of the plot in its block, from 1), clone.
    `factors` are the columns whose combinations with the block are taken out of a comparison of clones
    (none: the block alone). `notes` say how the design was found, in words for a person.
    """

    kind: str
    clones: tuple[str, ...]
    seed: int
    plots: pd.DataFrame
    factors: tuple[str, ...]
    efficiency: Efficiency
    notes: tuple[str, ...]

    @property
    def n_blocks(self) -> int:
        """Number of blocks."""
        return int(self.plots["block"].max())


def complete_blocks(
    clones: Sequence[str], blocks: int, *, seed: int, plot_columns: int | None = None
) -> Design:
    """Randomised complete blocks: every clone once in each block, in a random order of its own.

    `plot_columns` plots lie side by side in a block (default: all of them); the last line of a block may be
    shorter. DesignRefusedError for fewer than 2 clones, repeated or empty codes, or fewer than 1 block.
    """
    names = _checked(clones, blocks)
    across = _across(plot_columns, len(names))
    rng = np.random.default_rng(seed)
    order = np.array([rng.permutation(len(names)) for _ in range(blocks)])
    plots = _plots(order, names, across)
    return _design("randomised complete blocks", names, seed, plots, (), None, ())


def row_column(
    clones: Sequence[str], rows: int, columns: int, *, blocks: int = 1, seed: int, steps: int = 6000
) -> Design:
    """Row-column design: blocks of rows x columns plots, every clone equally often in each block, rows and
    columns within blocks taken out of comparisons; found by search (see search_row_columns, also for what is
    refused) and randomised over blocks, rows, columns and clones."""
    names = _checked(clones, blocks)
    rng = np.random.default_rng(seed)
    found = search_row_columns(len(names), rows, columns, blocks, rng=rng, steps=steps)
    array = found.array[rng.permutation(blocks)]
    array = np.array([block[rng.permutation(rows)][:, rng.permutation(columns)] for block in array])
    array = rng.permutation(len(names))[array]
    plots = _plots(array.reshape(blocks, -1), names, columns)
    bound = row_column_bound(len(names), rows, columns, blocks)
    notes = (f"{found.origin}, {found.tried} exchanges tried",)
    return _design("row-column", names, seed, plots, ("grid_row", "grid_col"), bound, notes)


def alpha_blocks(
    clones: Sequence[str],
    block_size: int,
    replicates: int,
    *,
    seed: int,
    meetings: int | None = None,
    plot_columns: int | None = None,
    steps: int = 4000,
) -> Design:
    """Alpha design: complete blocks (replicates), each parted into incomplete blocks of `block_size` plots.

    `meetings` = 1 asks for an alpha(0,1) design, 2 for alpha(0,1,2); None takes alpha(0,1) where one is
    found, else alpha(0,1,2), and says so in `notes`. Randomised over replicates, incomplete blocks, plots
    and clones. `plot_columns` (default: `block_size`) must let incomplete blocks lie in one piece.
    DesignRefusedError, with the reason, when clones do not fill incomplete blocks, when counting rules the
    design out, or when none was found.
    """
    names = _checked(clones, replicates)
    _refuse_alpha(len(names), block_size, replicates)
    across = _across(plot_columns or block_size, len(names))
    if across % block_size and block_size % across:
        raise DesignRefusedError(
            f"{across} plots side by side cut incomplete blocks of {block_size} plots apart; expected a "
            f"multiple or a divisor of {block_size}"
        )
    rng = np.random.default_rng(seed)
    s = len(names) // block_size
    bound = resolvable_bound(len(names), block_size, replicates)
    found, passed_over = _alpha_array(replicates, block_size, s, meetings, bound, rng, steps)
    array = _randomised_alpha(blocks_of(found.array, s), rng)
    plots = _plots(array.reshape(replicates, -1), names, across)
    plots.insert(1, "incomplete_block", np.tile(np.repeat(np.arange(1, s + 1), block_size), replicates))
    span = ",".join(str(times) for times in range(found.most_meetings + 1))
    notes = (f"alpha({span}): {found.origin}, {found.tried} generating arrays tried", *passed_over)
    return _design("alpha", names, seed, plots, ("incomplete_block",), bound, notes)


def design_efficiency(
    plots: pd.DataFrame, factors: Sequence[str], *, exclude: Sequence[str] = (), bound: Bound | None = None
) -> Efficiency:
    """Efficiency of plots (columns block, clone and `factors`) with the block, or each factor within blocks,
    taken out. `exclude`: clones that are not compared (guards)."""
    block = plots["block"].astype(str)
    levels = [(block + "/" + plots[factor].astype(str)).tolist() for factor in factors]
    return efficiency(plots["clone"].tolist(), levels or [block.tolist()], exclude=exclude, bound=bound)


def _design(
    kind: str,
    names: tuple[str, ...],
    seed: int,
    plots: pd.DataFrame,
    factors: tuple[str, ...],
    bound: Bound | None,
    notes: tuple[str, ...],
) -> Design:
    bound = bound or Bound(1.0, "complete blocks")
    return Design(kind, names, seed, plots, factors, design_efficiency(plots, factors, bound=bound), notes)


def _plots(order: IntArray, names: tuple[str, ...], across: int) -> pd.DataFrame:
    """Plots of clone numbers in shape (blocks, plots), line by line of `across` plots."""
    blocks, size = order.shape
    place = np.tile(np.arange(size), blocks)
    return pd.DataFrame(
        {
            "block": np.repeat(np.arange(1, blocks + 1), size),
            "grid_row": place // across + 1,
            "grid_col": place % across + 1,
            "clone": [names[number] for number in order.ravel()],
        }
    )


def _checked(clones: Sequence[str], blocks: int) -> tuple[str, ...]:
    repeated = sorted(clone for clone, times in Counter(clones).items() if times > 1)
    if repeated:
        raise DesignRefusedError(f"clones named twice: {', '.join(repeated)}; expected each clone once")
    if any(not clone.strip() for clone in clones):
        raise DesignRefusedError("a clone without a code; expected a code for each clone")
    if len(clones) < 2 or blocks < 1:
        raise DesignRefusedError(f"{len(clones)} clones, {blocks} blocks: expected 2 clones, 1 block or more")
    return tuple(clones)


def _across(plot_columns: int | None, size: int) -> int:
    across = size if plot_columns is None else plot_columns
    if not 1 <= across <= size:
        raise DesignRefusedError(f"{across} plots side by side in a block of {size}: expected 1 to {size}")
    return across


def _refuse_alpha(n_clones: int, block_size: int, replicates: int) -> None:
    if replicates < 2:
        raise DesignRefusedError(
            f"{replicates} replicates: clones of different incomplete blocks cannot be compared; expected 2 "
            f"or more"
        )
    sizes = [k for k in range(2, n_clones // 2 + 1) if n_clones % k == 0]
    if block_size not in sizes:
        choice = ", ".join(str(k) for k in sizes)
        more = next(n for n in range(n_clones + 1, 2 * n_clones + 2) if n % max(block_size, 2) == 0)
        other = f"block sizes {choice}" if sizes else "another number of clones (this one is a prime)"
        raise DesignRefusedError(
            f"{n_clones} clones do not fill incomplete blocks of {block_size} plots, at least two to a "
            f"replicate; expected {other}, or {max(more, 2 * block_size)} clones"
        )


def _alpha_array(
    r: int, k: int, s: int, meetings: int | None, bound: Bound, rng: np.random.Generator, steps: int
) -> tuple[Found, list[str]]:
    """The array, and why a design with fewer meetings was passed over."""
    reasons: list[str] = []
    for most in (1, 2) if meetings is None else (meetings,):
        reason = impossible(r, k, s, most)
        found = None
        if reason is None:
            found = find_array(r, k, s, meetings=most, rng=rng, steps=steps, good_enough=bound.value)
            reason = (
                f"none found in which clones meet at most {_times(most)} ({steps} generating arrays tried)"
            )
        if found is not None:
            return found, [f"alpha(0,1): {passed}" for passed in reasons]
        reasons.append(reason)
    raise DesignRefusedError(
        f"no alpha design of {k * s} clones in {r} replicates of {s} blocks of {k}: {'; '.join(reasons)}"
    )


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _randomised_alpha(array: IntArray, rng: np.random.Generator) -> IntArray:
    """Clones, replicates, incomplete blocks and plots in random order, shape (r, s, k) as before."""
    r, s, k = array.shape
    array = rng.permutation(s * k)[array][rng.permutation(r)]
    array = np.array([replicate[rng.permutation(s)] for replicate in array])
    return rng.permuted(array, axis=2)

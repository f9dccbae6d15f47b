"""Row-column designs: clones in the rows and columns of one or several blocks, searched for a low average
variance of differences.

A design is an integer array (blocks, rows, columns) of clone numbers. In every block each clone stands
equally often. The blocking factors are rows within blocks and columns within blocks, so that
C = R - N_r N_r'/q - N_c N_c'/p + N_b N_b'/(pq) for blocks of p rows and q columns, with N_r, N_c and N_b the
counts of clones in rows, columns and blocks (John and Williams 1995, chapter 5).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.calc.alpha_arrays import DesignRefusedError
from trials.calc.efficiency import Bound, FloatArray, IntArray, balanced_bound, resolvable_bound

FLOOR = 1e-6  # stands for a root of 0 during the search, so that it finds its way to connected designs


@dataclass(frozen=True)
class Searched:
    """A design, the sum of the inverse roots of C it was judged by (lower is better), its start, and the
    exchanges tried."""

    array: IntArray
    inverse_sum: float
    origin: str
    tried: int


def search_row_columns(
    n_clones: int, rows: int, columns: int, blocks: int, *, rng: np.random.Generator, steps: int = 6000
) -> Searched:
    """The best design found from systematic and random starts by exchanging two plots of a block.

    A third of `steps` goes to each of three starts (the best systematic one where there is one); an exchange
    is kept when the average variance of differences falls or stays, early on also when it rises a little.
    Ends early at a design that reaches row_column_bound. The same state of `rng` gives the same design.
    DesignRefusedError when rows x columns is no multiple of the clones, for blocks of one row or one column,
    and for too few plots to compare all clones.
    """
    _refuse(n_clones, rows, columns, blocks)
    best: Searched | None = None
    tried = 0
    replication = rows * columns * blocks / n_clones
    floor = (n_clones - 1) / (replication * row_column_bound(n_clones, rows, columns, blocks).value)
    for start, origin in _starts(n_clones, rows, columns, blocks, rng):
        array, value, used = _exchanged(start, n_clones, rng, steps // 3, floor)
        tried += used
        if best is None or value < best.inverse_sum - 1e-12:
            best = Searched(array, value, origin, tried)
        if best.inverse_sum <= floor + 1e-9:
            break
    assert best is not None
    return Searched(best.array, best.inverse_sum, best.origin, tried)


def row_column_bound(n_clones: int, rows: int, columns: int, blocks: int) -> Bound:
    """Upper bound of the average efficiency factor of a row-column design: the smallest of

    - the bounds of the two component block designs: taking out rows and columns leaves no more than taking
      out one of them;
    - the harmonic mean of the roots when the loss to rows and columns, which counting fixes from below, is
      spread evenly over all roots that can lose anything (John and Williams 1995, chapter 5; derived here).
    """
    v, p, q = n_clones, rows, columns
    parts = [_component(v, size, p * q, blocks) for size in (q, p)]
    best = min(parts, key=lambda bound: bound.value)
    replication = p * q * blocks / v
    information = v * replication - blocks * p * _least_squares(v, q) / q
    information -= blocks * q * _least_squares(v, p) / p
    information += v * blocks * (p * q / v) ** 2 / (p * q)
    loss = v - 1 - information / replication
    can_lose = min(v - 1, blocks * (p - 1) * bool(q % v) + blocks * (q - 1) * bool(p % v))
    mean = (v - 1) / (v - 1 - can_lose + can_lose**2 / (can_lose - loss)) if can_lose > loss else 1.0
    if mean < best.value:
        return Bound(mean, "loss to rows and columns spread evenly over the roots")
    return Bound(best.value, f"rows or columns alone: {best.source}")


def _least_squares(n_clones: int, size: int) -> int:
    """Least sum of squared counts of v clones in a line of `size` plots."""
    whole, rest = divmod(size, n_clones)
    return rest * (whole + 1) ** 2 + (n_clones - rest) * whole**2


def inverse_sum(array: IntArray, n_clones: int) -> float:
    """Sum of the inverse roots of C of a design with r plots a clone: (v - 1)/(r x average efficiency)."""
    return _inverse_sum(_matrix(*_counts(array, n_clones), array.shape))


def _component(n_clones: int, size: int, block_size: int, blocks: int) -> Bound:
    if size < n_clones and block_size == n_clones and n_clones % size == 0:
        return resolvable_bound(n_clones, size, blocks)
    if size % n_clones == 0:
        return Bound(1.0, "complete rows or columns")
    if size < n_clones:
        return Bound(balanced_bound(n_clones, size), "balanced bound")
    return Bound(1.0, "no bound known for rows or columns longer than the clones are many")


def _refuse(n_clones: int, rows: int, columns: int, blocks: int) -> None:
    if n_clones < 2 or blocks < 1:
        raise DesignRefusedError(f"{n_clones} clones, {blocks} blocks: expected 2 clones and 1 block or more")
    if rows < 2 or columns < 2:
        raise DesignRefusedError(
            f"blocks of {rows} rows and {columns} columns: rows and columns cannot both be taken out of a "
            f"single line; expected 2 or more of each"
        )
    if rows * columns % n_clones:
        raise DesignRefusedError(
            f"{rows} rows x {columns} columns = {rows * columns} plots do not hold {n_clones} clones equally "
            f"often; expected a multiple of {n_clones} plots in a block"
        )
    freedom = blocks * (rows - 1) * (columns - 1)
    if freedom < n_clones - 1:
        raise DesignRefusedError(
            f"{blocks} blocks of {rows} x {columns} plots leave {freedom} comparisons free of rows and "
            f"columns, {n_clones} clones need {n_clones - 1}; expected more blocks or larger ones"
        )


def _starts(
    n_clones: int, rows: int, columns: int, blocks: int, rng: np.random.Generator
) -> list[tuple[IntArray, str]]:
    starts: list[tuple[IntArray, str]] = []
    if columns % n_clones == 0 or rows % n_clones == 0:
        starts.append((_cyclic(n_clones, rows, columns, blocks, rng), "cyclic start"))
    if rows == columns and rows * columns == n_clones and _is_prime(rows):
        starts.append((_lattice_squares(rows, blocks), "lattice squares"))
    clones = np.tile(np.arange(n_clones), rows * columns // n_clones)
    while len(starts) < 3:
        drawn = [rng.permutation(clones).reshape(rows, columns) for _ in range(blocks)]
        starts.append((np.array(drawn), "random start"))
    return starts


def _cyclic(n_clones: int, rows: int, columns: int, blocks: int, rng: np.random.Generator) -> IntArray:
    """Complete rows (or columns), each shifted against the first: a Latin square when both are complete,
    the start of a Youden design otherwise."""
    if columns % n_clones:
        return _cyclic(n_clones, columns, rows, blocks, rng).transpose(0, 2, 1)
    whole, rest = divmod(rows, n_clones)
    made = []
    for _ in range(blocks):
        shifts = np.concatenate([np.tile(np.arange(n_clones), whole), rng.permutation(n_clones)[:rest]])
        made.append((shifts[:, None] + np.arange(columns)[None, :]) % n_clones)
    return np.array(made, dtype=np.int64)


def _lattice_squares(p: int, blocks: int) -> IntArray:
    """Lattice squares for p^2 clones, p prime (Yates 1937): the p + 1 parallel classes of lines of the plane,
    two to a block as its rows and columns, used again from the first when they are used up."""
    a, b = np.divmod(np.arange(p * p), p)
    lines = [a, *[(b - slope * a) % p for slope in range(p)]]
    array = np.empty((blocks, p, p), dtype=np.int64)
    for block in range(blocks):
        array[block, lines[2 * block % (p + 1)], lines[(2 * block + 1) % (p + 1)]] = np.arange(p * p)
    return array


def _is_prime(number: int) -> bool:
    return number > 1 and all(number % d for d in range(2, int(number**0.5) + 1))


def _counts(array: IntArray, n_clones: int) -> tuple[FloatArray, FloatArray]:
    """Counts of clones in rows and in columns within blocks, shapes (v, blocks p) and (v, blocks q)."""
    blocks, rows, columns = array.shape
    block, row, column = np.indices(array.shape)
    in_rows = np.zeros((n_clones, blocks * rows))
    in_columns = np.zeros((n_clones, blocks * columns))
    np.add.at(in_rows, (array, block * rows + row), 1.0)
    np.add.at(in_columns, (array, block * columns + column), 1.0)
    return in_rows, in_columns


def _matrix(in_rows: FloatArray, in_columns: FloatArray, shape: tuple[int, ...]) -> FloatArray:
    """C of a design in which every clone stands equally often in every block."""
    blocks, rows, columns = shape
    n_clones = len(in_rows)
    per_block = rows * columns / n_clones
    c = -(in_rows @ in_rows.T) / columns - (in_columns @ in_columns.T) / rows
    c += blocks * per_block**2 / (rows * columns)
    c[np.diag_indices(n_clones)] += blocks * per_block
    return np.asarray(c, dtype=np.float64)


def _inverse_sum(matrix: FloatArray) -> float:
    roots = np.linalg.eigvalsh(matrix)[1:]
    return float((1.0 / np.maximum(roots, FLOOR)).sum())


def _exchanged(
    start: IntArray, n_clones: int, rng: np.random.Generator, steps: int, floor: float
) -> tuple[IntArray, float, int]:
    """Improve a design by exchanges of two plots of a block (threshold accepting; the best is kept)."""
    array = start.copy()
    blocks, rows, columns = array.shape
    in_rows, in_columns = _counts(array, n_clones)
    value = _inverse_sum(_matrix(in_rows, in_columns, array.shape))
    best, best_value = array.copy(), value
    draws = rng.integers(0, [blocks, rows, columns, rows, columns], (steps, 5))
    for step, (block, row, column, other_row, other_column) in enumerate(draws.tolist()):
        if best_value <= floor + 1e-9:
            return best, best_value, step
        one, other = array[block, row, column], array[block, other_row, other_column]
        if one == other:
            continue
        ends = (block * rows + row, block * rows + other_row, block * columns + column)
        move = (one, other, *ends, block * columns + other_column)
        _move(in_rows, in_columns, move, 1.0)
        candidate = _inverse_sum(_matrix(in_rows, in_columns, array.shape))
        allowed = 0.004 * max(0.0, 1.0 - 2.0 * step / steps)
        if candidate <= value * (1.0 + allowed):
            array[block, row, column], array[block, other_row, other_column] = other, one
            value = candidate
            if value < best_value - 1e-12:
                best, best_value = array.copy(), value
        else:
            _move(in_rows, in_columns, move, -1.0)
    return best, best_value, steps


def _move(in_rows: FloatArray, in_columns: FloatArray, move: tuple[int, ...], sign: float) -> None:
    """Count the exchange of clones `one` and `other` between their rows and columns, or take it back."""
    one, other, row, other_row, column, other_column = move
    for counts, here, there in ((in_rows, row, other_row), (in_columns, column, other_column)):
        counts[one, here] -= sign
        counts[one, there] += sign
        counts[other, there] -= sign
        counts[other, here] += sign

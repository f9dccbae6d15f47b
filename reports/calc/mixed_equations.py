"""The mixed-model equations of one model, evaluated at given variances.

Records fall into cells: all that agree in every term. Number, mean and sum of squares within suffice. If a term's
levels are the cells themselves (the plot), it joins the diagonal: a cell mean has the variance plot + residual/n. Of
the other terms the one with most levels is a diagonal block and is eliminated; the rest, with the fixed effects, is a
dense core. Effects are scaled by their standard deviations, so that a variance of zero is no special case. Index pairs
are made once; an evaluation is gathers and sums. The same pairs, backwards, give every prediction error variance.
Sources: Henderson (1984), Gilmour, Thompson and Cullis (1995, Biometrics 51, 1440-1450); from memory.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import linalg, sparse

from reports.calc.mixed_terms import Codes, Design, Factor, Floats, combine

WIDEST_CORE = 6000
"""More columns than this in the dense core would take minutes and gigabytes."""


@dataclass(frozen=True)
class Cells:
    """Records collapsed: per cell count, mean (centred, scaled value), row of X; per group sums within cells."""

    n: Floats
    mean: Floats
    groups: Codes
    n_groups: int
    extra: Floats  # per group: records less cells
    within: Floats  # per group: sum of squares within cells
    first: Codes  # a record of each cell


@dataclass(frozen=True)
class Solved:
    """The equations solved at `variances` (terms in order, then residual variances)."""

    variances: Floats
    criterion: float
    weights: Floats
    upper: Floats  # Cholesky factor of the scaled core
    block: Floats  # eliminated block: variance / (1 + variance × weight)
    cross: Floats  # values of the block × core pattern
    core: Floats  # solution of the core, unscaled
    block_effects: Floats
    projected: Floats  # P y, by cell


@dataclass(frozen=True)
class Errors:
    """What the inverse gives: core is the prediction error (co)variance of the core; block and cells, the variances
    of the eliminated block and of the fit of each cell; traces tr(P V_i) by parameter, without the within part."""

    core: Floats
    block: Floats
    cells: Floats
    cross: Floats
    traces: Floats


class Equations:
    """Index pairs and sums of one design, made once; `solve` and `errors` evaluate them."""

    def __init__(self, design: Design, y: Floats, x: Floats) -> None:
        """y: by record, x: by distinct row, as scaled by the caller. Error: ValueError when the core is too wide."""
        self.design = design
        self.cells = collapse(design, y)
        self.p = x.shape[1]
        self.n_terms = len(design.random)
        self.finest, self.eliminated = self._choose()
        self.core_terms = [i for i in range(self.n_terms) if i not in (self.finest, self.eliminated)]
        self.codes = {i: f.codes[self.cells.first] for i, f in enumerate(design.random)}
        self.places: dict[int, slice] = {}
        end = self.p
        for i in self.core_terms:
            self.places[i] = slice(end, end + len(design.random[i].levels))
            end += len(design.random[i].levels)
        self.width = end
        if end > WIDEST_CORE:
            names = ", ".join(
                f"{design.random[i].name} ({len(design.random[i].levels)})" for i in self.core_terms
            )
            raise ValueError(
                f"too many levels for one fit beside the largest term: {names}; at most {WIDEST_CORE}"
            )
        self.factor = self._relationship_factor()
        self._make_core_pairs(x[design.x_code[self.cells.first]])
        self._make_block_pairs()

    # Made once ---------------------------------------------------------------------------------------------

    def _choose(self) -> tuple[int | None, int | None]:
        """The term that is the cells themselves, and the largest of the others; never one with a relationship."""
        model = self.design.model
        related = model.relationship[0] if model.relationship else None
        sizes = [(len(f.levels), i) for i, f in enumerate(self.design.random) if f.name != related]
        n_cells = len(self.cells.n)
        finest = next(
            (i for s, i in sizes if s == n_cells and self.design.random[i].name != model.ranked), None
        )
        others = [(s, i) for s, i in sizes if i != finest and self.design.random[i].name != model.ranked]
        return finest, max(others)[1] if others else None

    def _relationship_factor(self) -> dict[int, Floats]:
        model = self.design.model
        if model.relationship is None:
            return {}
        name, frame = model.relationship
        index = model.random.index(name)
        return {index: relationship_factor(self.design.random[index], frame)}

    def _make_core_pairs(self, x: Floats) -> None:
        """Columns and values of each cell's row of the core, padded to equal length; every pair of them."""
        n = len(x)
        rows = (x != 0).sum(axis=1)
        longest = int(rows.max())
        row, column = np.nonzero(x)
        slot = np.arange(len(row)) - np.repeat(np.cumsum(rows) - rows, rows)
        self.columns = np.zeros((longest + len(self.core_terms), n), np.int64)
        self.values = np.zeros((longest + len(self.core_terms), n))
        self.columns[slot, row] = column
        self.values[slot, row] = x[row, column]
        for k, i in enumerate(self.core_terms):
            self.columns[longest + k] = self.places[i].start + self.codes[i]
            self.values[longest + k] = 1.0
        m = len(self.columns)
        first, second = np.triu_indices(m)
        low = np.minimum(self.columns[first], self.columns[second])
        high = np.maximum(self.columns[first], self.columns[second])
        self.pair_index = low * self.width + high
        self.pair_value = self.values[first] * self.values[second]
        self.pair_double = np.where(first == second, 1.0, 2.0)[:, None] * self.pair_value
        flat = self.columns.T.ravel(), np.repeat(np.arange(n), m)
        self.rows = sparse.csr_matrix((self.values.T.ravel(), (flat[1], flat[0])), shape=(n, self.width))
        self.rows_t = self.rows.T.tocsr()

    def _make_block_pairs(self) -> None:
        """Pattern of eliminated block × core, and the pairs of columns that each level of the block joins."""
        if self.eliminated is None:
            return
        code = self.codes[self.eliminated]
        self.q = len(self.design.random[self.eliminated].levels)
        keys = code * self.width + self.columns
        found, unique = pd.factorize(keys.ravel())
        order = np.argsort(unique, kind="stable")
        place = np.empty(len(order), np.int64)
        place[order] = np.arange(len(order))
        self.entry = place[found].reshape(keys.shape)
        entries = unique[order]
        self.entry_level, self.entry_column = entries // self.width, entries % self.width
        counts = np.bincount(self.entry_level, minlength=self.q)
        ends = np.cumsum(counts)
        self.entry_start = np.concatenate([[0], ends])
        last = ends[self.entry_level]
        here = np.arange(len(entries))
        steps = [here[here + d < last] for d in range(int(counts.max()))]
        self.left = np.concatenate(steps)
        self.right = np.concatenate([s + d for d, s in enumerate(steps)])
        self.diagonal_pairs = len(steps[0])
        self.left_index = self.entry_column[self.left] * self.width + self.entry_column[self.right]

    # Evaluated ---------------------------------------------------------------------------------------------

    def variances_of_means(self, variances: Floats) -> Floats:
        """Variance of each cell's mean that is independent from cell to cell."""
        d: Floats = variances[self.n_terms :][self.cells.groups] / self.cells.n
        return d if self.finest is None else d + variances[self.finest]

    def solve(self, variances: Floats) -> Solved:
        """Effects, P y and −2 log restricted likelihood (for y as scaled, with (n − p) log 2π)."""
        w = 1.0 / self.variances_of_means(variances)
        size = self.width * self.width
        core = _sums(self.pair_index.ravel(), (self.pair_value * w).ravel(), size)
        right = self.rows_t @ (w * self.cells.mean)
        log_det = -float(np.log(w).sum())
        block, cross, block_right = np.empty(0), np.empty(0), np.empty(0)
        if self.eliminated is not None:
            weight = _sums(self.codes[self.eliminated], w, self.q)
            scale = 1.0 + variances[self.eliminated] * weight
            block = variances[self.eliminated] / scale
            log_det += float(np.log(scale).sum())
            cross = _sums(self.entry.ravel(), (self.values * w).ravel(), len(self.entry_level))
            shrunk = cross * block[self.entry_level]
            core -= _sums(self.left_index, shrunk[self.left] * cross[self.right], size)
            block_right = _sums(self.codes[self.eliminated], w * self.cells.mean, self.q)
            right -= _sums(self.entry_column, shrunk * block_right[self.entry_level], self.width)
        scaled = self._scale(core.reshape(self.width, self.width), variances)
        upper, info = linalg.lapack.dpotrf(scaled, lower=0, clean=1, overwrite_a=1)
        if info:
            raise ValueError("the equations cannot be solved: terms of the model cannot be told apart")
        log_det += 2.0 * float(np.log(np.diag(upper)).sum())
        half = self._scale_vector(right, variances)
        free = linalg.cho_solve((upper, False), half)
        solution = self._unscale_vector(free, variances)
        fit = self.rows @ solution
        penalty = float(free[self.p :] @ free[self.p :])
        effects = np.empty(0)
        if self.eliminated is not None:
            joined = _sums(self.entry_level, cross * solution[self.entry_column], self.q)
            effects = block * (block_right - joined)
            penalty += float(effects @ effects) / max(variances[self.eliminated], 1e-300)
            fit = fit + effects[self.codes[self.eliminated]]
        projected = w * (self.cells.mean - fit)
        # y'Py as penalised squares: least at the solution, so that rounding there enters squared, not as it is
        quadratic = float((self.cells.mean - fit) @ projected) + penalty
        criterion = self._criterion(variances, log_det, quadratic)
        return Solved(variances, criterion, w, upper, block, cross, solution, effects, projected)

    def _criterion(self, variances: Floats, log_det: float, quadratic: float) -> float:
        residual = variances[self.n_terms :]
        records = int(self.cells.n.sum())
        within = float((self.cells.extra * np.log(residual) + self.cells.within / residual).sum())
        # det of a cell's block is residual^(n-1) × n × variance of its mean
        counts = float(np.log(self.cells.n).sum())
        freedom = float(records - self.p)
        return float(freedom * np.log(2 * np.pi) + log_det + counts + within + quadratic)

    def errors(self, solved: Solved) -> Errors:
        """Prediction error variances from the whole equations, and traces for the score."""
        inverse, info = linalg.lapack.dpotri(solved.upper, lower=0)
        if info:
            raise ValueError("the equations cannot be inverted: terms of the model cannot be told apart")
        inverse = np.triu(inverse) + np.triu(inverse, 1).T
        core_trace = {i: float(np.trace(inverse[s, s])) for i, s in self.places.items()}
        core = self._unscale(inverse, solved.variances)
        flat = core.ravel()
        cells = np.einsum("pc,pc->c", self.pair_double, flat[self.pair_index])
        block, joined = np.empty(0), np.empty(0)
        if self.eliminated is not None:
            gathered = flat[self.left_index]
            size = len(self.entry_level)
            off = slice(self.diagonal_pairs, None)
            joined = _sums(self.left, solved.cross[self.right] * gathered, size)
            joined += _sums(self.right[off], (solved.cross[self.left] * gathered)[off], size)
            square = _sums(self.entry_level, solved.cross * joined, self.q)
            block = solved.block + solved.block**2 * square
            code = self.codes[self.eliminated]
            cells += block[code] - 2.0 * solved.block[code] * (self.values * joined[self.entry]).sum(axis=0)
        return Errors(core, block, cells, joined, self._traces(solved, core_trace, block, cells))

    def _traces(self, solved: Solved, core_trace: dict[int, float], block: Floats, cells: Floats) -> Floats:
        diagonal = solved.weights - solved.weights**2 * cells  # of P
        out = np.zeros(self.n_terms + self.cells.n_groups)
        for i, trace in core_trace.items():
            size = self.places[i].stop - self.places[i].start
            out[i] = (size - trace) / max(solved.variances[i], 1e-300)
        if self.eliminated is not None:
            v = solved.variances[self.eliminated]
            out[self.eliminated] = (self.q - float(block.sum()) / max(v, 1e-300)) / max(v, 1e-300)
        if self.finest is not None:
            out[self.finest] = float(diagonal.sum())
        out[self.n_terms :] = _sums(self.cells.groups, diagonal / self.cells.n, self.cells.n_groups)
        return out

    def working(self, solved: Solved) -> Floats:
        """V_i P y for each parameter (cells × parameters)."""
        out = np.zeros((len(self.cells.n), self.n_terms + self.cells.n_groups))
        for i in range(self.n_terms):
            if i == self.finest:
                out[:, i] = solved.projected
                continue
            size = len(self.design.random[i].levels)
            sums = _sums(self.codes[i], solved.projected, size)
            if i in self.factor:
                sums = self.factor[i] @ (self.factor[i].T @ sums)
            out[:, i] = sums[self.codes[i]]
        for g in range(self.cells.n_groups):
            mine = self.cells.groups == g
            out[mine, self.n_terms + g] = solved.projected[mine] / self.cells.n[mine]
        return out

    def project(self, solved: Solved, errors: Errors, right: Floats) -> Floats:
        """P times each column of `right` (cells × columns)."""
        weighted = solved.weights[:, None] * right
        core_right = self.rows_t @ weighted
        if self.eliminated is None:
            plain: Floats = weighted - solved.weights[:, None] * (self.rows @ (errors.core @ core_right))
            return plain
        code = self.codes[self.eliminated]
        sums = np.column_stack([_sums(code, c, self.q) for c in weighted.T])
        cross = self._cross(solved)
        solution = errors.core @ (core_right - cross.T @ (solved.block[:, None] * sums))
        effects = solved.block[:, None] * (sums - cross @ solution)
        out: Floats = weighted - solved.weights[:, None] * (self.rows @ solution + effects[code])
        return out

    def _cross(self, solved: Solved) -> sparse.csr_matrix:
        return sparse.csr_matrix(
            (solved.cross, self.entry_column, self.entry_start), shape=(self.q, self.width)
        )

    # Scaling by standard deviations (and the factor of a relationship) --------------------------------------

    def _scale(self, upper: Floats, variances: Floats) -> Floats:
        """Λ' A Λ + I on the random part; only the upper triangle of A is read."""
        scale = self._deviations(variances)
        for i, factor in self.factor.items():
            upper = np.triu(upper) + np.triu(upper, 1).T
            s = self.places[i]
            upper[s, :] = factor.T @ upper[s, :]
            upper[:, s] = upper[:, s] @ factor
        out = upper * scale[:, None] * scale[None, :]
        random = np.arange(self.p, self.width)
        out[random, random] += 1.0
        return np.asfortranarray(out)

    def _unscale(self, inverse: Floats, variances: Floats) -> Floats:
        scale = self._deviations(variances)
        out = inverse * scale[:, None] * scale[None, :]
        for i, factor in self.factor.items():
            s = self.places[i]
            out[s, :] = factor @ out[s, :]
            out[:, s] = out[:, s] @ factor.T
        return out

    def _scale_vector(self, vector: Floats, variances: Floats) -> Floats:
        out = vector.copy()
        for i, factor in self.factor.items():
            out[self.places[i]] = factor.T @ out[self.places[i]]
        return out * self._deviations(variances)

    def _unscale_vector(self, vector: Floats, variances: Floats) -> Floats:
        out = vector * self._deviations(variances)
        for i, factor in self.factor.items():
            out[self.places[i]] = factor @ out[self.places[i]]
        return out

    def _deviations(self, variances: Floats) -> Floats:
        scale = np.ones(self.width)
        for i, s in self.places.items():
            scale[s] = np.sqrt(variances[i])
        return scale


def _sums(codes: Codes, weights: Floats, size: int) -> Floats:
    """Sum of weights by code."""
    return np.asarray(np.bincount(codes, weights, minlength=size), dtype=np.float64)


def collapse(design: Design, y: Floats) -> Cells:
    """Records that agree in every term become one cell."""
    keys = [f.codes for f in design.random] + [design.x_code, design.groups.codes]
    code, first = combine(keys)
    n = np.bincount(code).astype(np.float64)
    mean = np.bincount(code, y) / n
    groups = design.groups.codes[first]
    n_groups = len(design.groups.levels)
    within = _sums(design.groups.codes, (y - mean[code]) ** 2, n_groups)
    extra = _sums(groups, n - 1.0, n_groups)
    return Cells(n, mean, groups, n_groups, extra, within, first)


def relationship_factor(term: Factor, frame: pd.DataFrame) -> npt.NDArray[np.float64]:
    """Lower Cholesky factor of the relationships of a term's levels.

    Errors: ValueError for a level without relationship, an asymmetric frame, one that is not positive definite.
    """
    frame = frame.set_axis([str(v) for v in frame.index], axis=0).set_axis(
        [str(v) for v in frame.columns], axis=1
    )
    absent = [level for level in term.levels if level not in frame.index or level not in frame.columns]
    if absent:
        raise ValueError(
            f"no relationship given for {term.name} {', '.join(absent[:5])} ({len(absent)} in all)"
        )
    matrix = frame.loc[list(term.levels), list(term.levels)].to_numpy(dtype=np.float64)
    if not np.isfinite(matrix).all() or not np.allclose(matrix, matrix.T, atol=1e-10):
        raise ValueError(f"the relationships of {term.name} are not symmetric numbers")
    try:
        return np.linalg.cholesky(matrix)
    except np.linalg.LinAlgError:
        raise ValueError(
            f"the relationships of {term.name} are not positive definite: two levels are the same individual?"
        ) from None

"""From a table of records to the parts of a mixed model: factors as codes, columns of fixed effects, checks.

A term is a column or several columns joined by ":"; its levels are the combinations that occur. Labels that repeat
from site to site (block 1 everywhere) need the term "site:block".
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int64]
RESIDUAL = "residual"
INTERCEPT = "(Intercept)"


class WrongModel(ValueError):
    """The model does not fit the table's columns, whatever stands in them."""


@dataclass(frozen=True)
class MixedModel:
    """What is fitted.

    value: the column to explain. fixed: factor terms in treatment coding (the first level is the reference).
    covariates: numeric columns with a slope. random: terms with a variance. residual_by: a column whose levels each
    have a residual variance of their own, or None. ranked: the random term whose prediction errors are kept in full.
    relationship: for one random term, its name and a symmetric frame labelled by levels on both sides.
    """

    value: str
    fixed: tuple[str, ...] = ()
    covariates: tuple[str, ...] = ()
    random: tuple[str, ...] = ()
    residual_by: str | None = None
    ranked: str | None = None
    relationship: tuple[str, pd.DataFrame] | None = None

    def columns(self) -> list[str]:
        """Every column that the model needs, once each."""
        parts = [p for term in (*self.fixed, *self.random) for p in term.split(":")]
        extra = [self.residual_by] if self.residual_by else []
        return list(dict.fromkeys([self.value, *self.covariates, *parts, *extra]))


@dataclass(frozen=True)
class Factor:
    """A term as codes: levels[codes[i]] is the level of row i; every level occurs."""

    name: str
    codes: Codes
    levels: tuple[str, ...]


@dataclass(frozen=True)
class Design:
    """The model's parts, one row a record that is complete.

    x: the distinct rows of fixed effects (rows × names), only columns that can be estimated; x_code: which of them a
    record has; x_counts: how many records have it; dropped: columns that cannot be estimated. groups: the factor of
    residual variances.
    """

    model: MixedModel
    y: Floats
    x: Floats
    x_names: tuple[str, ...]
    dropped: tuple[str, ...]
    random: tuple[Factor, ...]
    x_code: Codes
    x_counts: Floats
    groups: Factor
    n_left_out: int


def make_design(frame: pd.DataFrame, model: MixedModel) -> Design:
    """The parts of a model from a table; rows with a missing value in any column of the model are left out.

    Errors: ValueError in words for a column that is not there, text or infinite numbers where numbers belong, a value
    that never varies, a factor with one level, terms that cannot be told apart.
    """
    _check_names(frame, model)
    numbers = {c: _numbers(frame, c) for c in (model.value, *model.covariates)}
    texts = [c for c in model.columns() if c not in numbers]
    coded = {c: _codes(frame[c]) for c in texts}
    complete = np.logical_and.reduce(
        [np.isfinite(v) for v in numbers.values()] + [f.codes >= 0 for f in coded.values()]
    )
    if complete.sum() < 2:
        raise ValueError(f"{int(complete.sum())} complete rows: nothing to fit")
    y = numbers[model.value][complete]
    if np.ptp(y) <= 1e-12 * max(1e-300, float(np.abs(y).max())):
        raise ValueError(
            f"{model.value}: all {len(y)} values are equal ({y[0]:g}); there is no variance to divide"
        )
    factors = coded if complete.all() else {c: _kept(f, complete) for c, f in coded.items()}
    for term in (*model.fixed, *model.random, *([model.residual_by] if model.residual_by else [])):
        _add_factor(term, factors)
        if len(factors[term].levels) < 2:
            raise ValueError(f"{term}: only one level ({factors[term].levels[0]}); leave the term out")
    random = tuple(factors[t] for t in model.random)
    _check_aliases(random, len(y), model)
    groups = (
        factors[model.residual_by]
        if model.residual_by
        else Factor(RESIDUAL, np.zeros(len(y), np.int64), ("",))
    )
    covariates = {c: numbers[c][complete] for c in model.covariates}
    keys = [factors[t].codes for t in model.fixed] + [
        pd.factorize(v)[0].astype(np.int64) for v in covariates.values()
    ]
    x_code, first = combine(keys) if keys else (np.zeros(len(y), np.int64), np.zeros(1, np.int64))
    counts = np.bincount(x_code).astype(np.float64)
    distinct = {t: factors[t].codes[first] for term in model.fixed for t in (term, *term.split(":"))}
    columns = _fixed_columns(model, factors, distinct, {c: v[first] for c, v in covariates.items()}, counts)
    return Design(model, y, *columns, random, x_code, counts, groups, int((~complete).sum()))


def combine(codes: list[Codes]) -> tuple[Codes, Codes]:
    """Combined code of several factors, and the first row of each combination; combinations in sorted order."""
    key = codes[0]
    for other in codes[1:]:
        key = (
            pd.factorize(key)[0] * (int(other.max()) + 1) + other
            if key.max() > 2**31
            else (key * (int(other.max()) + 1) + other)
        )
    found, unique = pd.factorize(key)
    order = np.argsort(unique, kind="stable")
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(len(order))
    coded = place[found]
    first = np.empty(len(order), np.int64)
    first[coded[::-1]] = np.arange(len(coded))[::-1]
    return coded, first


def _check_names(frame: pd.DataFrame, model: MixedModel) -> None:
    absent = [c for c in model.columns() if c not in frame.columns]
    if absent:
        raise WrongModel(f"no column {', '.join(absent)}; there are: {', '.join(map(str, frame.columns))}")
    for kind, terms in (("fixed", (*model.fixed, *model.covariates)), ("random", model.random)):
        repeated = {t for t in terms if sum(set(t.split(":")) == set(o.split(":")) for o in terms) > 1}
        if repeated:
            raise WrongModel(f"{kind} terms named twice: {', '.join(sorted(repeated))}")
    for wanted in (model.ranked, model.relationship and model.relationship[0]):
        if wanted and wanted not in model.random:
            raise WrongModel(f"{wanted} is not among the random terms ({', '.join(model.random) or 'none'})")
    used = [p for t in (*model.fixed, *model.covariates, *model.random) for p in t.split(":")]
    if model.value in used:
        raise WrongModel(f"{model.value} is the value to explain and cannot be a term as well")


def _numbers(frame: pd.DataFrame, column: str) -> Floats:
    """A numeric column as floats; missing stays NaN."""
    found = frame[column]
    values = pd.to_numeric(found, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    wrong = np.isnan(values) & found.notna().to_numpy()
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        raise ValueError(
            f"{column}: {found.iloc[row]!r} in record {row + 1} is not a number ({wrong.sum()} such)"
        )
    if np.isinf(values).any():
        raise ValueError(f"{column}: infinite in record {int(np.flatnonzero(np.isinf(values))[0]) + 1}")
    return values


def _codes(column: pd.Series) -> Factor:
    """A column as sorted levels; missing has the code −1."""
    codes, levels = pd.factorize(column, sort=True)
    return Factor(str(column.name), codes.astype(np.int64), tuple(map(_label, levels.tolist())))


def _kept(factor: Factor, complete: npt.NDArray[np.bool_]) -> Factor:
    """The factor of the complete rows, without levels that no longer occur."""
    present, codes = np.unique(factor.codes[complete], return_inverse=True)
    return Factor(factor.name, codes.astype(np.int64), tuple(factor.levels[i] for i in present))


def _add_factor(term: str, factors: dict[str, Factor]) -> None:
    parts = term.split(":")
    if len(parts) > 1 and term not in factors:
        codes, first = combine([factors[p].codes for p in parts])
        named = [[factors[p].levels[i] for i in factors[p].codes[first].tolist()] for p in parts]
        factors[term] = Factor(term, codes, tuple(":".join(row) for row in zip(*named, strict=True)))


def _label(value: object) -> str:
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)


def _check_aliases(random: tuple[Factor, ...], n_rows: int, model: MixedModel) -> None:
    """Two terms that group the rows alike, or a term with one row a level, share one variance."""
    related = model.relationship[0] if model.relationship else None
    for term in random:
        if len(term.levels) == n_rows and term.name != related:
            raise ValueError(
                f"{term.name} cannot be told from the residual: each of its {n_rows} levels has one record;"
                f" leave {term.name} out"
            )
    for one, other in combinations(random, 2):
        if len(one.levels) != len(other.levels) or related in (one.name, other.name):
            continue
        pairs = len(pd.unique(one.codes * len(other.levels) + other.codes))
        if pairs == len(one.levels):
            raise ValueError(
                f"{one.name} and {other.name} cannot be told apart: they group the records alike"
                f" ({len(one.levels)} levels each); leave one of them out"
            )


def _fixed_columns(
    model: MixedModel,
    factors: dict[str, Factor],
    codes: dict[str, Codes],
    covariates: dict[str, Floats],
    counts: Floats,
) -> tuple[Floats, tuple[str, ...], tuple[str, ...]]:
    """Columns of fixed effects in treatment coding; those that the ones before them already say are dropped."""
    n = len(counts)
    columns, names, owners = [np.ones(n)], [INTERCEPT], [INTERCEPT]
    present = {frozenset(t.split(":")) for t in model.fixed} | {frozenset[str]()}
    for term in model.fixed:
        made: list[tuple[str, Floats]] = [("", np.ones(n))]
        parts = term.split(":")
        for part in parts:
            skip = 1 if frozenset(parts) - {part} in present else 0
            factor = factors[part]
            made = [
                (f"{name}:{part}{level}" if name else f"{part}{level}", column * (codes[part] == i))
                for i, level in list(enumerate(factor.levels))[skip:]
                for name, column in made
            ]
        columns += [c for _, c in made]
        names += [name for name, _ in made]
        owners += [term] * len(made)
    columns += list(covariates.values())
    names += list(covariates)
    owners += list(covariates)
    x = np.column_stack(columns)
    kept = _independent(x, counts)
    for owner in dict.fromkeys(owners):
        if not any(kept[i] for i, o in enumerate(owners) if o == owner):
            raise ValueError(f"{owner} cannot be told apart from the fixed terms before it; leave it out")
    if kept.sum() >= counts.sum():
        raise ValueError(
            f"{int(kept.sum())} fixed effects for {int(counts.sum())} records: nothing is left to vary"
        )
    dropped = tuple(name for name, keep in zip(names, kept, strict=True) if not keep)
    return x[:, kept], tuple(name for name, keep in zip(names, kept, strict=True) if keep), dropped


def _independent(x: Floats, counts: Floats) -> npt.NDArray[np.bool_]:
    """Which columns add something to those before them: Cholesky of X'X, column by column."""
    share = np.sqrt(counts / counts.sum())[:, None]
    centred = (x - counts @ x / counts.sum()) * share
    centred[:, 0] = share[:, 0]
    norms = np.sqrt((centred**2).sum(axis=0))
    scaled = centred / np.where(norms > 1e-10 * np.abs(x).max(axis=0), norms, np.inf)
    cross = scaled.T @ scaled
    kept = np.zeros(x.shape[1], bool)
    for j in range(x.shape[1]):
        before = np.flatnonzero(kept)
        rest = cross[j, j]
        if len(before):
            rest -= cross[j, before] @ np.linalg.solve(cross[np.ix_(before, before)], cross[before, j])
        kept[j] = rest > 1e-9
    return kept

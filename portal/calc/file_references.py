"""Finding the parent a code names: as typed, else the one known code that differs only in its typing."""

import difflib
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from portal.calc.file_spec import Column, HeldCodes, Known, Problem, code_column, noun, shown

MOST_SUGGESTIONS = 40
"""Codes of one column for which close matches are looked for; looking costs time on long lists."""
MOST_COMPARED = 5_000

WHERE_FROM = {"rule_sets": "or have a manager add the rule set under Boards"}
"""How codes come to be known that no file brings."""


@dataclass(frozen=True)
class Resolved:
    """Rows with their references resolved; `bad` marks the rows whose reference is unknown."""

    frame: pd.DataFrame
    bad: npt.NDArray[np.bool_]
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def resolve_references(
    frame: pd.DataFrame, columns: tuple[Column, ...], known: Known, held_codes: HeldCodes, file: str
) -> Resolved:
    """Replace each referring code by the known code it names.

    Exact; else the only known code equal but for case and spaces; else the only one equal but for leading
    zeros lost on the way (counted in a note); else a problem, with close codes, or the row where it waits.
    A column whose target is not in `known` is left alone.
    """
    result = Resolved(frame.copy(deep=False), np.zeros(len(frame), dtype=bool))
    for column in columns:
        if column.refers_to is not None and column.refers_to in known:
            _resolve_column(
                column, known[column.refers_to], held_codes.get(column.refers_to, {}), file, result
            )
    return result


def _resolve_column(column: Column, target: pd.DataFrame, held: Any, file: str, result: Resolved) -> None:
    assert column.refers_to is not None
    codes = [str(code) for code in target[code_column(column.refers_to)].dropna()]
    exact = set(codes)
    values = result.frame[column.name]
    unknown = [code for code in values.dropna().unique() if code not in exact]
    if not unknown:
        return
    folded, stripped = _only(exact, fold), _only(exact, lambda code: code.lstrip("0"))
    replaced: dict[str, str] = {}
    problems: dict[str, str] = {}
    zeros = 0
    for code in unknown:
        match = folded.get(fold(code))
        if match is None and code.isdigit():
            match = stripped.get(code.lstrip("0"))
            if match is not None and len(match) <= len(code):
                match = None  # zeros are lost on the way, never won
            zeros += match is not None and int((values == code).sum())
        if match is not None:
            replaced[code] = match
        else:
            suggest = len(problems) < MOST_SUGGESTIONS
            problems[code] = _expected(code, column.refers_to, codes if suggest else [], held)
    if zeros:
        result.notes.append(f"{column.name}: {zeros:,} codes read with the leading zeros they had lost")
    unresolved = values.isin(list(problems)).to_numpy()
    for at in np.flatnonzero(unresolved):
        code = str(values.iloc[at])
        row = int(result.frame["_row"].iloc[at])
        result.problems.append(Problem(file, row, column.name, shown(code), problems[code]))
    result.bad[:] |= unresolved
    if replaced:
        result.frame[column.name] = pd.Series(
            [replaced.get(v, v) for v in values], index=values.index, dtype=object
        )


def fold(code: str) -> str:
    """A code as it is compared when nothing matches exactly: without case and spaces."""
    return "".join(code.split()).casefold()


def _only(codes: set[str], key: Any) -> dict[str, str | None]:
    """Codes by their key, None where two codes share one."""
    found: dict[str, str | None] = {}
    for code in codes:
        found[key(code)] = None if key(code) in found else code
    return found


def _expected(code: str, target: str, codes: list[str], held: Any) -> str:
    name = noun(target)
    waiting = held.get(code) or next(
        (place for other, place in held.items() if fold(other) == fold(code)), None
    )
    if waiting:
        return f"a {name} that is there; {name} {shown(code)} is itself held ({waiting}): mend that row first"
    near = [other for other in codes if abs(len(other) - len(code)) <= 2][:MOST_COMPARED]
    close = difflib.get_close_matches(code, near, n=3, cutoff=0.65)
    hint = f"; close: {', '.join(map(shown, close))}" if close else ""
    where_from = WHERE_FROM.get(target, f"or bring the {target.replace('_', ' ')} first")
    return f"the code of a known {name}{hint}; correct the code, {where_from}"

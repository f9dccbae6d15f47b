"""Compare a checked file with what is stored: which rows are new, which are there, which say something else."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd
from django.db.models import Q

from portal.calc.file_checks import Checked, check_file, check_rows
from portal.calc.file_spec import FileKind, Problem, code_column
from portal.calc.file_values import plain_number
from portal.models import HeldRow
from portal.uploads.registry import Target, UploadKind, kinds

RESENT = "held_row"
"""Extra column of a downloaded list of held rows: says which held row a mended row settles."""


def is_id(text: str) -> bool:
    """Whether a text from outside can be the id of a row: digits ("²" is none), and no more than a bigint holds."""
    return text.isdecimal() and len(text) <= 18


@dataclass(frozen=True)
class Outcome:
    """What storing would do. `held` maps file row number to (values as they came, problems)."""

    new: pd.DataFrame
    already_there: int
    held: dict[int, tuple[dict[str, Any], list[Problem]]]
    differs: pd.DataFrame
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    unreadable: bool = False

    @property
    def rows(self) -> int:
        return len(self.new) + self.already_there + len(self.held)


def examine_file(kind: UploadKind, target: Target, data: bytes, file_name: str) -> Outcome:
    """Read and check a whole file against the database. Writes nothing."""
    known = kind.known(target)
    checked = check_file(data, file_name, kind.file, known, codes_held(kind, target))
    return _compare(kind, target, checked, known, file_name)


def examine_rows(
    kind: UploadKind, target: Target, rows: Mapping[int, dict[str, Any]], file_name: str
) -> Outcome:
    """The same for single rows given as {row number: {header: text}}: mended held rows."""
    known = kind.known(target)
    listed = [{**values, "_row": number} for number, values in rows.items()]
    checked = check_rows(listed, file_name, kind.file, known, codes_held(kind, target))
    return _compare(kind, target, checked, known, file_name)


def codes_held(kind: UploadKind, target: Target) -> dict[str, dict[str, str]]:
    """Codes that rows of this kind may refer to and that wait to be mended: {"logs": {"L7": "logs.csv row 5"}}."""
    found: dict[str, dict[str, str]] = {}
    for plural in {c.refers_to for c in kind.file.columns if c.refers_to}:
        code = code_column(plural)
        others = [k for k in kinds() if k.file.key == (code,)]
        rows = HeldRow.objects.filter(
            state="waiting",
            differs=False,
            upload__trial=target.trial,
            upload__kind__in=[k.file.name for k in others],
        ).filter(Q(upload__study=None) | Q(upload__study=target.study))
        listed = rows.values_list(f"values__{code}", "upload__file_name", "row_number")
        found[plural] = {str(value): f"{name} row {number}" for value, name, number in listed if value}
    return found


def _compare(kind: UploadKind, target: Target, checked: Checked, known: Any, file_name: str) -> Outcome:
    if checked.unreadable:
        return Outcome(
            pd.DataFrame(), 0, {}, pd.DataFrame(), checked.notes, checked.problems, unreadable=True
        )
    accepted = checked.accepted
    held = _held(checked.held, checked.problems)
    if kind.check is not None and len(accepted):
        accepted = _hold(accepted, kind.check(target, accepted, known, file_name), held, kind.file)
    stored = kind.stored(target, accepted) if len(accepted) else pd.DataFrame()
    new, same, differs, found = compare(accepted, stored, kind.file, file_name)
    problems = [p for _, reasons in held.values() for p in reasons]
    if kind.whole:
        # A list that says anything new replaces the stored one entire.
        changed = bool(len(new) or len(differs) or len(stored) != len(accepted))
        return Outcome(
            accepted if changed else accepted.iloc[:0],
            0 if changed else len(accepted),
            held,
            accepted.iloc[:0],
            checked.notes,
            problems,
        )
    _hold(differs, found, held, kind.file)
    return Outcome(new, same, held, differs, checked.notes, problems + found)


def compare(
    rows: pd.DataFrame, stored: pd.DataFrame, kind: FileKind, file_name: str
) -> tuple[pd.DataFrame, int, pd.DataFrame, list[Problem]]:
    """Split rows into new ones, a count of those stored already, and those stored with other values.

    A cell that is empty in the file says nothing and differs from nothing.

    :returns: (new rows, number already there, differing rows, one problem per differing cell)
    """
    if stored.empty or rows.empty:
        return rows, 0, rows.iloc[:0], []
    keys = list(kind.key)
    there, index = _keyed(rows, keys), _keyed(stored, keys)
    lined_up = stored.set_axis(pd.Index(index, tupleize_cols=False)).reindex(
        pd.Index(there, tupleize_cols=False)
    )
    exists = pd.Series(
        pd.Index(there, tupleize_cols=False).isin(pd.Index(index, tupleize_cols=False)), rows.index
    )
    problems: list[Problem] = []
    any_differs = pd.Series(False, rows.index)
    for column in kind.columns:
        if column.name in keys or column.name not in stored:
            continue
        mine, theirs = rows[column.name], lined_up[column.name].set_axis(rows.index)
        differs = exists & mine.notna() & ~_equal(mine, theirs, column.kind in ("number", "integer"))
        any_differs |= differs
        for i in rows.index[differs]:
            was = "nothing" if pd.isna(theirs[i]) else f"{_text(theirs[i])} {column.unit}".strip()
            problems.append(
                Problem(
                    file_name,
                    int(rows.at[i, "_row"]),
                    column.name,
                    f"{_text(mine[i])} {column.unit}".strip(),
                    f"{was}, as stored earlier; replace the stored values if this row is right",
                )
            )
    return rows[~exists], int((exists & ~any_differs).sum()), rows[any_differs], problems


def _keyed(rows: pd.DataFrame, keys: list[str]) -> pd.Series:
    """What a row is known by, as one value; a part of the key that is missing equals another missing one."""
    filled = rows[keys].astype(object).where(rows[keys].notna(), "").astype(str)
    return filled.apply(tuple, axis=1) if len(keys) > 1 else filled[keys[0]]


def _equal(mine: pd.Series, theirs: pd.Series, numeric: bool) -> pd.Series:
    if numeric:
        a, b = mine.astype(float), theirs.astype(float)
        return (a - b).abs() <= 1e-9 * a.abs().clip(lower=1)
    return mine.astype(str) == theirs.astype(str)


def _text(value: Any) -> str:
    return plain_number(value) if isinstance(value, float) else str(value)


def _held(raw: pd.DataFrame, problems: list[Problem]) -> dict[int, tuple[dict[str, Any], list[Problem]]]:
    reasons: dict[int, list[Problem]] = {}
    for problem in problems:
        if problem.row is not None:
            reasons.setdefault(problem.row, []).append(problem)
    return {
        int(row.pop("_row")): (_plain(row), reasons.get(int(number), []))
        for row, number in zip(raw.to_dict("records"), raw.get("_row", []), strict=True)
    }


def _hold(
    rows: pd.DataFrame,
    problems: list[Problem],
    held: dict[int, tuple[dict[str, Any], list[Problem]]],
    kind: FileKind,
) -> pd.DataFrame:
    """Move the rows with a problem over to `held`; returns those that stay."""
    reasons: dict[int, list[Problem]] = {}
    for problem in problems:
        if problem.row is not None:
            reasons.setdefault(problem.row, []).append(problem)
    bad = rows["_row"].isin(reasons) if len(rows) else pd.Series(False, rows.index)
    names = [c.name for c in kind.columns]
    for row in rows[bad].to_dict("records"):
        held[int(row["_row"])] = (_plain({n: row.get(n) for n in names}), reasons[int(row["_row"])])
    return rows[~bad]


def _plain(row: dict[Any, Any]) -> dict[str, Any]:
    """Values as text, the way they would stand in a file."""
    return {
        str(k): "" if v is None or (isinstance(v, float) and v != v) or v is pd.NaT else _text(v)
        for k, v in row.items()
        if not str(k).startswith("_")
    }

"""A flitch as docking sees it: stations along it, and its usable edges there, in mm."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from portal.calc.file_findings import rows_text
from portal.calc.file_spec import Problem, shown

Floats = npt.NDArray[np.float64]

EDGES = ("left_mm", "right_mm")
WIDE_EDGES = ("left_wide_mm", "right_wide_mm")
FEWEST_STATIONS = 2


@dataclass(frozen=True, eq=False)
class Flitch:
    """A flitch: code, thickness in mm, stations x_mm rising from the butt end, edges at the stations.

    left_mm, right_mm, shape (stations,): the narrow, bark-side face, so without wane. left_wide_mm and
    right_wide_mm: the wide face, not inside the narrow one; None where not measured. Edges run straight
    between stations; they may cross, and then no board spans that place.

    Raises:
        ValueError: when `faults` finds any.
    """

    flitch: str
    thickness_mm: float
    x_mm: Floats
    left_mm: Floats
    right_mm: Floats
    left_wide_mm: Floats | None = None
    right_wide_mm: Floats | None = None
    log: str | None = None

    def __post_init__(self) -> None:
        for name in ("x_mm", *EDGES, *WIDE_EDGES):
            given = getattr(self, name)
            if given is not None:
                object.__setattr__(self, name, np.ascontiguousarray(given, dtype=np.float64))
        found = next(self.faults(), None)
        if found is not None:
            raise ValueError(f"flitch {self.flitch}: {found}")

    @cached_property
    def edges_mm(self) -> Floats:
        """Left, right, left wide, right wide, shape (4, stations); a face not measured is as the narrow one."""
        left_wide = self.left_mm if self.left_wide_mm is None else self.left_wide_mm
        right_wide = self.right_mm if self.right_wide_mm is None else self.right_wide_mm
        return np.array([self.left_mm, self.right_mm, left_wide, right_wide])

    @property
    def length_mm(self) -> float:
        """Length from the first to the last station."""
        return float(self.x_mm[-1] - self.x_mm[0])

    def faults(self) -> Iterator[str]:
        """What keeps this from being a flitch, in words."""
        if not (np.isfinite(self.thickness_mm) and self.thickness_mm > 0):
            yield f"thickness {self.thickness_mm} mm; expected above 0"
        if self.x_mm.ndim != 1 or self.x_mm.size < FEWEST_STATIONS:
            yield f"{self.x_mm.size} station; expected at least {FEWEST_STATIONS}"
        edges = [getattr(self, name) for name in (*EDGES, *WIDE_EDGES)]
        present = [edge for edge in edges if edge is not None]
        if any(edge.shape != self.x_mm.shape for edge in present):
            yield "edges of another number of stations"
            return
        if not all(np.isfinite(values).all() for values in (self.x_mm, *present)):
            yield "a station without a number"
        elif (self.x_mm[1:] <= self.x_mm[:-1]).any():
            yield "stations that do not rise"
        if self.left_wide_mm is not None and (self.left_wide_mm > self.left_mm).any():
            yield "a wide face inside the narrow one at the left"
        if self.right_wide_mm is not None and (self.right_wide_mm < self.right_mm).any():
            yield "a wide face inside the narrow one at the right"

    def mirrored_along(self) -> Flitch:
        """The same flitch seen from its other end: x becomes first + last - x."""

        def turned(edge: Floats | None) -> Floats | None:
            return None if edge is None else edge[::-1]

        return Flitch(
            self.flitch,
            self.thickness_mm,
            (self.x_mm[0] + self.x_mm[-1] - self.x_mm)[::-1],
            self.left_mm[::-1],
            self.right_mm[::-1],
            turned(self.left_wide_mm),
            turned(self.right_wide_mm),
            self.log,
        )


def flitches_of(
    rows: pd.DataFrame, file: str, thickness_mm: float | None = None
) -> tuple[list[Flitch], list[Problem]]:
    """The flitches in typed rows, one row a station; or what is wrong with them, row by row.

    rows: columns flitch, x_mm, left_mm, right_mm and `_row`; log, thickness_mm, left_wide_mm, right_wide_mm where
    present. thickness_mm: for rows that give none. Rows are neither sorted nor filled. No flitch is returned
    when there is any problem.
    """
    keys = [name for name in ("log", "flitch") if name in rows]
    problems = flitch_problems(rows, file, thickness_mm)
    if problems:
        return [], problems
    groups = rows.groupby(keys, sort=False, dropna=False)
    return [_flitch(group, thickness_mm) for _, group in groups], []


def flitch_problems(rows: pd.DataFrame, file: str, thickness_mm: float | None = None) -> list[Problem]:
    """What keeps typed rows from being flitches, with row and column; see flitches_of."""
    keys = [name for name in ("log", "flitch") if name in rows]
    problems: list[Problem] = []
    for _, group in rows.groupby(keys, sort=False, dropna=False):
        problems += _of_one(group, file, thickness_mm)
    return problems


def _of_one(group: pd.DataFrame, file: str, thickness_mm: float | None) -> list[Problem]:
    first = group.iloc[0]
    code, row = shown(first["flitch"]), int(first["_row"])
    problems = []
    if len(group) < FEWEST_STATIONS:
        found = f"one station of flitch {code}"
        problems.append(Problem(file, row, "x_mm", found, "at least two stations a flitch, one row each"))
    x = group["x_mm"].to_numpy(dtype=np.float64)
    for at in np.flatnonzero(x[1:] <= x[:-1]) + 1:
        found = f"{x[at]:g} after {x[at - 1]:g} in flitch {code}"
        expected = "stations that rise from the butt end (a jump is two stations 1 mm apart)"
        problems.append(Problem(file, int(group["_row"].iloc[at]), "x_mm", found, expected))
    return [*problems, *_thicknesses(group, file, thickness_mm), *_wide_faces(group, file)]


def _thicknesses(group: pd.DataFrame, file: str, thickness_mm: float | None) -> list[Problem]:
    if "thickness_mm" not in group or group["thickness_mm"].isna().all():
        if thickness_mm is not None:
            return []
        expected = "a thickness in the file, or thickness_mm among the rules"
        return [Problem(file, int(group["_row"].iloc[0]), "thickness_mm", "", expected)]
    given = group["thickness_mm"].to_numpy(dtype=np.float64)
    first = given[~np.isnan(given)][0]
    expected = f"one thickness for the whole flitch; {first:g} mm stands in another of its rows"
    return [
        Problem(
            file,
            int(group["_row"].iloc[at]),
            "thickness_mm",
            "" if np.isnan(given[at]) else f"{given[at]:g}",
            expected,
        )
        for at in np.flatnonzero(given != first)
    ]


def _wide_faces(group: pd.DataFrame, file: str) -> list[Problem]:
    problems = []
    for name, narrow, sign in (("left_wide_mm", "left_mm", 1), ("right_wide_mm", "right_mm", -1)):
        if name not in group or group[name].isna().all():
            continue
        blank = group[group[name].isna()]
        if len(blank):
            expected = (
                f"a wide face at every station of the flitch, or at none; blank in {rows_text(blank['_row'])}"
            )
            problems.append(Problem(file, int(blank["_row"].iloc[0]), name, "", expected))
        inside = group[sign * (group[name] - group[narrow]) > 0]
        for row, wide, usable in zip(inside["_row"], inside[name], inside[narrow], strict=True):
            expected = f"the wide face not inside the narrow one, {narrow} {usable:g}"
            problems.append(Problem(file, int(row), name, f"{wide:g}", expected))
    return problems


def _flitch(group: pd.DataFrame, thickness_mm: float | None) -> Flitch:
    def edge(name: str) -> Floats | None:
        if name not in group or group[name].isna().all():
            return None
        return group[name].to_numpy(dtype=np.float64)

    first = group.iloc[0]
    thickness = first.get("thickness_mm")
    log = first.get("log")
    return Flitch(
        str(first["flitch"]),
        float(thickness) if pd.notna(thickness) else float(thickness_mm or 0),
        group["x_mm"].to_numpy(dtype=np.float64),
        group["left_mm"].to_numpy(dtype=np.float64),
        group["right_mm"].to_numpy(dtype=np.float64),
        edge("left_wide_mm"),
        edge("right_wide_mm"),
        str(log) if pd.notna(log) else None,
    )

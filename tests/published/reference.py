"""Reading the reference tables in fixtures/reference: published or independently computed values with their
origin."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "reference"


@dataclass(frozen=True)
class Check:
    """One value to compare with: what it is, its tolerance, and where it comes from."""

    check_id: str
    inputs: str
    quantity: str
    expected: float
    tolerance: float
    origin: str

    def given(self, name: str) -> float:
        """The number written `name=number` in the inputs."""
        match = re.search(rf"\b{name}=([0-9.]+)", self.inputs)
        assert match, f"{self.check_id} has no {name}"
        return float(match[1])


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a reference table as text."""
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def checks(name: str) -> dict[str, Check]:
    """The checks of a reference table by their id."""
    return {
        row["check_id"]: Check(
            row["check_id"],
            row["inputs"],
            row["quantity"],
            float(row["expected"]),
            float(row["tolerance_rel"]),
            row["origin"],
        )
        for row in rows(name)
    }

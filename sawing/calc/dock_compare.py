"""What the mill cut from a flitch beside the best plan, and where the difference went. Lengths in mm, volumes in m3."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sawing.calc.dock_results import MM3_PER_M3, Docked


@dataclass(frozen=True)
class Pieces:
    """Boards of a flitch by their size as they count: (length_mm, width_mm, thickness_mm) each."""

    sizes: tuple[tuple[float, float, float], ...]

    @classmethod
    def of_plan(cls, docked: Docked) -> Pieces:
        """The boards of a plan."""
        return cls(tuple((b.length_mm, w, docked.thickness_mm) for b in docked.boards for w in b.widths_mm))

    @property
    def length_mm(self) -> float:
        """Sum of lengths."""
        return sum(length for length, _, _ in self.sizes)

    @property
    def area_mm2(self) -> float:
        """Sum of length times width."""
        return sum(length * width for length, width, _ in self.sizes)

    @property
    def volume_m3(self) -> float:
        """Sum of length times width times thickness."""
        return sum(length * width * thick for length, width, thick in self.sizes) / MM3_PER_M3

    @property
    def mean_width_mm(self) -> float:
        """Width over all lengths: area over length; 0 without boards."""
        return self.area_mm2 / self.length_mm if self.sizes else 0.0

    @property
    def mean_thickness_mm(self) -> float:
        """Thickness over all area: volume over area; 0 without boards."""
        return self.volume_m3 * MM3_PER_M3 / self.area_mm2 if self.sizes else 0.0


@dataclass(frozen=True)
class Difference:
    """Volume of the plan less what was cut, in m3, and its parts, which add up to it.

    A part is the difference of one measure times the means of the others: lengths (docked and trimmed), widths,
    thickness. Where nothing was cut, or nothing could be planned, all of it is `lengths_m3`.
    """

    planned_m3: float
    cut_m3: float
    lengths_m3: float
    widths_m3: float
    thickness_m3: float

    @property
    def total_m3(self) -> float:
        """Planned less cut."""
        return self.planned_m3 - self.cut_m3


def difference(plan: Pieces, cut: Pieces) -> Difference:
    """Where the difference between a plan and what was cut went. Own split, exact by (a+b)/2 and a-b."""
    planned, done = plan.volume_m3, cut.volume_m3
    if not plan.sizes or not cut.sizes:
        return Difference(planned, done, planned - done, 0.0, 0.0)
    thick = (plan.mean_thickness_mm + cut.mean_thickness_mm) / 2 / MM3_PER_M3
    lengths = (plan.length_mm - cut.length_mm) * (plan.mean_width_mm + cut.mean_width_mm) / 2 * thick
    widths = (plan.mean_width_mm - cut.mean_width_mm) * (plan.length_mm + cut.length_mm) / 2 * thick
    area = (plan.area_mm2 + cut.area_mm2) / 2
    thickness = (plan.mean_thickness_mm - cut.mean_thickness_mm) * area / MM3_PER_M3
    return Difference(planned, done, lengths, widths, thickness)


def summed(parts: Sequence[Difference]) -> Difference:
    """The differences of several flitches together."""
    return Difference(
        sum(p.planned_m3 for p in parts),
        sum(p.cut_m3 for p in parts),
        sum(p.lengths_m3 for p in parts),
        sum(p.widths_m3 for p in parts),
        sum(p.thickness_m3 for p in parts),
    )

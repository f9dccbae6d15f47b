"""What docking a flitch gives: boards with their place, worth by number of docks, bounds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal

from sawing.calc.dock_worth import WORTH_OF_ONE

DockStatus = Literal["ok", "too short", "no board fits"]
MM3_PER_M3: Final = 1e9


@dataclass(frozen=True)
class DockedBoard:
    """One edged piece: from start to end along the flitch, one or more boards side by side, all in mm.

    The strip's left edge is slope * x + intercept_mm, with x as in the flitch; `available_mm` is its width, and
    the boards lie from its left edge on, an edger kerf apart. `worth` as in dock_worth.
    """

    start_mm: float
    end_mm: float
    length_mm: float
    widths_mm: tuple[float, ...]
    available_mm: float
    slope: float
    intercept_mm: float
    worth: int

    @property
    def value(self) -> float:
        """Worth in the prices' currency, or in m3 where there are none."""
        return self.worth / WORTH_OF_ONE

    def to_dict(self) -> dict[str, Any]:
        """The board as the headless command tells it."""
        return {
            "start_mm": self.start_mm,
            "end_mm": self.end_mm,
            "length_mm": self.length_mm,
            "widths_mm": list(self.widths_mm),
            "available_mm": self.available_mm,
            "slope": self.slope,
            "intercept_mm": self.intercept_mm,
            "value": self.value,
        }


@dataclass(frozen=True)
class Docked:
    """The best plan for a flitch. Worths are whole numbers (dock_worth); values are in currency or m3.

    `worth_by_docks[d]`: best with at most d docks. `bound_local_worth` and `bound_area_worth` no plan passes.
    `worth_at_middle`: best when the flitch is docked at half its length and each half gives at most one board;
    None without docks.
    """

    flitch: str
    log: str | None
    thickness_mm: float
    status: DockStatus
    worth_by_docks: tuple[int, ...]
    worth_at_middle: int | None
    boards: tuple[DockedBoard, ...]
    bound_local_worth: float
    bound_area_worth: float

    @property
    def worth(self) -> int:
        """Worth of the best plan."""
        return self.worth_by_docks[-1]

    @property
    def value(self) -> float:
        """Value of the best plan, in the prices' currency, or in m3 where there are none."""
        return self.worth / WORTH_OF_ONE

    @property
    def volume_m3(self) -> float:
        """Volume of its boards."""
        area = sum(board.length_mm * sum(board.widths_mm) for board in self.boards)
        return area * self.thickness_mm / MM3_PER_M3

    @property
    def value_by_docks(self) -> dict[int, float]:
        """Best value with at most so many docks."""
        return {docks: worth / WORTH_OF_ONE for docks, worth in enumerate(self.worth_by_docks)}

    @property
    def value_at_middle(self) -> float | None:
        """Best value when docked at half the length."""
        return None if self.worth_at_middle is None else self.worth_at_middle / WORTH_OF_ONE

    @property
    def bound_local(self) -> float:
        """Value that no plan passes with any number of docks."""
        return self.bound_local_worth / WORTH_OF_ONE

    @property
    def bound_area(self) -> float:
        """Value of all usable wood at the best price."""
        return self.bound_area_worth / WORTH_OF_ONE

    @property
    def share_of_bound(self) -> float | None:
        """Value over the local bound; None where nothing could be had."""
        return self.worth / self.bound_local_worth if self.bound_local_worth > 0 else None

    def to_dict(self) -> dict[str, Any]:
        """The plan as the headless command tells it; docks as text keys, as JSON has them."""
        return {
            "flitch": self.flitch,
            "log": self.log,
            "status": self.status,
            "value": self.value,
            "volume_m3": self.volume_m3,
            "value_by_docks": {str(docks): value for docks, value in self.value_by_docks.items()},
            "boards": [board.to_dict() for board in self.boards],
            "bound_local": self.bound_local,
            "bound_area": self.bound_area,
            "share_of_bound": self.share_of_bound,
        }

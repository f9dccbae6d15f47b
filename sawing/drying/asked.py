"""What people type about boards, one row each, and how a refusal names the row."""

import datetime as dt
import uuid
from dataclasses import dataclass

from portal.models import Role

WRITERS = (Role.MILL, Role.MANAGER)


class RowsRefusedError(ValueError):
    """Nothing was stored; `rows` says for each row (counted from 0) what is wrong with it."""

    def __init__(self, rows: dict[int, str]) -> None:
        super().__init__("; ".join(f"row {at + 1}: {why}" for at, why in rows.items()))
        self.rows = rows


@dataclass(frozen=True)
class PlacingAsked:
    """A board for a stack, by whatever was typed or scanned, with its layer and place in it."""

    board: str
    layer: int | None = None
    position: int | None = None


@dataclass(frozen=True)
class ReadingAsked:
    """A meter reading as written down; `client_id` makes it stored once however often it is sent."""

    board: str
    reading: str
    temperature_c: float | None = None
    sample: str = ""
    client_id: uuid.UUID | None = None


@dataclass(frozen=True)
class SampleAsked:
    """An oven-dry sample of a board, masses in g."""

    board: str
    wet_mass_g: float
    dry_mass_g: float
    sample: str = ""
    client_id: uuid.UUID | None = None


@dataclass(frozen=True)
class DefectAsked:
    """What drying did to a board; sizes in mm, `over_m` the length a deflection was measured over."""

    board: str
    kind: str
    size_mm: float | None
    over_m: float | None
    seen_on: dt.date
    note: str = ""


@dataclass(frozen=True)
class SizeAsked:
    """A board's dry sizes in mm and m; None leaves what is stored."""

    board: str
    thickness_mm: float | None
    width_mm: float | None
    length_m: float | None = None

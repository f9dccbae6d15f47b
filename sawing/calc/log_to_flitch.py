"""From a log's own measurements to the flitches that a through-and-through saw makes of it. Lengths in mm.

The log: section of radius R(x) = (d + taper (L - x)) / 2 at x from the butt, an ellipse with the axes R sqrt(q) in
the plane of the flitches and R / sqrt(q) across; its axis bent by c(x) = 4 s x (L - x) / L², a parabola that differs
from a circular arc by less than 4 s³/L². On its side the bend lies in the plane of the flitches, so every flitch
keeps it; bow up it lies across, the log turned so that the mean of its bend lies at the height of the saw's
middle, and the outer flitches run out at the ends. Own geometry, no published source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from sawing.calc.dock_flitch import Flitch
from sawing.calc.log_geometry import cone_frustum_m3

Floats = npt.NDArray[np.float64]
Orientation = Literal["side", "bow_up"]
ORIENTATIONS: Final[tuple[Orientation, ...]] = ("side", "bow_up")
STATION_MM: Final = 50.0
NARROWEST_MM: Final = 1.0


@dataclass(frozen=True)
class LogShape:
    """A log as it is sawn: length, small-end diameter (under bark), taper in mm of diameter per metre of length,
    largest deviation of its axis, and ovality q (diameter in the plane of the flitches over that across).

    Raises:
        ValueError: for a length or diameter not above 0, a negative sweep, or a large end that is none.
    """

    code: str
    length_mm: float
    sed_mm: float
    taper_mm_per_m: float = 0.0
    sweep_mm: float = 0.0
    ovality: float = 1.0

    def __post_init__(self) -> None:
        sizes = (self.length_mm, self.sed_mm, self.led_mm, self.ovality)
        if not all(math.isfinite(size) and size > 0 for size in sizes):
            raise ValueError(f"log {self.code}: length, both diameters and ovality must be above 0")
        if not (math.isfinite(self.sweep_mm) and self.sweep_mm >= 0):
            raise ValueError(f"log {self.code}: sweep {self.sweep_mm}; expected at least 0")

    @classmethod
    def from_ends(
        cls,
        code: str,
        length_m: float,
        sed_mm: float,
        led_mm: float,
        sweep_mm: float = 0.0,
        ovality: float = 1.0,
    ) -> LogShape:
        """A log by its length in m and the diameters of both ends in mm."""
        if not length_m > 0:
            raise ValueError(f"log {code}: length {length_m} m; expected above 0")
        return cls(code, length_m * 1000, sed_mm, (led_mm - sed_mm) / length_m, sweep_mm, ovality)

    @property
    def led_mm(self) -> float:
        """Diameter of the large (butt) end."""
        return self.sed_mm + self.taper_mm_per_m * self.length_mm / 1000

    @property
    def volume_m3(self) -> float:
        """Volume: the integral of pi R² (the ellipse has the same area), a cone frustum."""
        return float(cone_frustum_m3(self.sed_mm, self.led_mm, self.length_mm / 1000))


@dataclass(frozen=True)
class SawPattern:
    """How the log is opened: flitches of one thickness, parallel, a saw kerf apart.

    thickness_mm: what a flitch counts as; it is sawn thicker by oversize_mm. offset_mm: from the log's middle to
    the middle of flitch 0; 0 puts the pith into a flitch, half of thickness and kerf puts it into a kerf.

    Raises:
        ValueError: for a thickness not above 0, a negative kerf or oversize, or another orientation.
    """

    thickness_mm: float
    saw_kerf_mm: float
    orientation: Orientation = "side"
    offset_mm: float = 0.0
    oversize_mm: float = 0.0

    def __post_init__(self) -> None:
        if not self.thickness_mm > 0 or self.saw_kerf_mm < 0 or self.oversize_mm < 0:
            raise ValueError("thickness above 0, kerf and oversize at least 0")
        if self.orientation not in ORIENTATIONS:
            raise ValueError(f"orientation {self.orientation!r}; expected {' or '.join(ORIENTATIONS)}")

    @property
    def sawn_mm(self) -> float:
        """Thickness of a flitch off the saw."""
        return self.thickness_mm + self.oversize_mm


def stations_of(length_mm: float, step_mm: float = STATION_MM) -> Floats:
    """Stations from 0 to the length, evenly spread, at most a step apart."""
    return np.linspace(0.0, length_mm, max(2, math.ceil(length_mm / step_mm) + 1))


def flitches_from_log(log: LogShape, pattern: SawPattern, step_mm: float = STATION_MM) -> list[Flitch]:
    """The flitches of a log from one side to the other, named by their number, with narrow and wide faces.

    A flitch whose narrow face is nowhere wider than a millimetre is left out. Where a face misses the log the
    narrow face has no width. Edges between stations run inside the wood to within s (step / L)².
    """
    pitch = pattern.sawn_mm + pattern.saw_kerf_mm
    reach = log.led_mm / math.sqrt(log.ovality) + log.sed_mm + log.sweep_mm + abs(pattern.offset_mm)
    most = math.ceil(reach / pitch) + 1
    middles = pattern.offset_mm + np.arange(-most, most + 1) * pitch
    cuts = [SawnAt("", float(middle), pattern.sawn_mm, pattern.thickness_mm) for middle in middles]
    there = [f for f in flitches_at(log, cuts, pattern.orientation, step_mm) if f is not None]
    return [replace(flitch, flitch=str(number)) for number, flitch in enumerate(there, start=1)]


@dataclass(frozen=True)
class SawnAt:
    """A flitch at its place in the log: its middle in mm from the log's middle, its thickness as sawn, and the
    thickness that it counts as."""

    code: str
    middle_mm: float
    sawn_mm: float
    thickness_mm: float


def stacked(
    codes: Sequence[tuple[int, str]], sawn_mm: Mapping[int, float], kerf_mm: float
) -> dict[str, float]:
    """Middles of numbered flitches as if their stack lay centred on the log, a kerf apart: {code: mm}.

    codes: (number, code); numbers missing between them are taken for flitches of the commonest thickness. That the
    stack is centred is a guess: say so where the figure is shown.
    """
    numbers = [number for number, _ in codes]
    usual = max(sawn_mm.values(), key=list(sawn_mm.values()).count)
    place, middles = 0.0, {}
    for number in range(min(numbers), max(numbers) + 1):
        thick = sawn_mm.get(number, usual)
        middles[number] = place + thick / 2
        place += thick + kerf_mm
    centre = (place - kerf_mm) / 2
    return {code: middles[number] - centre for number, code in codes}


def flitches_at(
    log: LogShape, cuts: Sequence[SawnAt], orientation: Orientation, step_mm: float = STATION_MM
) -> list[Flitch | None]:
    """The flitch at each place of a log; None where its narrow face is nowhere wider than a millimetre."""
    x = stations_of(log.length_mm, step_mm)
    radius = (log.sed_mm + log.taper_mm_per_m * (log.length_mm - x) / 1000) / 2
    bend = 4 * log.sweep_mm * x * (log.length_mm - x) / log.length_mm**2
    on_side = orientation == "side"
    middle = bend if on_side else np.zeros_like(x)
    height = np.zeros_like(x) if on_side else bend - 2 * log.sweep_mm / 3
    at = np.array([cut.middle_mm for cut in cuts])
    half = np.array([cut.sawn_mm for cut in cuts]) / 2
    first, second = (_half_chords(radius, height, log.ovality, face) for face in (at - half, at + half))
    narrow, wide = np.minimum(first, second), np.maximum(first, second)
    return [
        None
        if 2 * narrow[i].max() <= NARROWEST_MM
        else Flitch(
            cut.code,
            cut.thickness_mm,
            x,
            middle - narrow[i],
            middle + narrow[i],
            middle - wide[i],
            middle + wide[i],
            log.code,
        )
        for i, cut in enumerate(cuts)
    ]


def _half_chords(radius: Floats, height: Floats, ovality: float, planes: Floats) -> Floats:
    """Half width of the log's section in each plane, shape (planes, stations); 0 where the plane misses it."""
    root = math.sqrt(ovality)
    inside = 1 - ((planes[:, None] - height) * root / radius) ** 2
    chords: Floats = radius * root * np.sqrt(np.maximum(inside, 0.0))
    return chords

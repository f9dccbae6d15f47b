"""From stored rows to flitches and logs as docking sees them, and back."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from sawing.calc.dock_flitch import Flitch
from sawing.calc.log_geometry import end_diameter_mm
from sawing.calc.log_to_flitch import LogShape, Orientation, SawnAt, flitches_at, stacked
from sawing.models import Flitch as FlitchRow
from sawing.models import Log, Study

EDGES = ("x_mm", "left_mm", "right_mm", "left_wide_mm", "right_wide_mm")
USUAL_KERF_MM = 4.0


@dataclass(frozen=True)
class Outlines:
    """The outlines there are of one flitch: the one stored, measured or traced, and the one its log predicts."""

    stored: Flitch | None
    predicted: Flitch | None

    def of(self, source: str) -> Flitch | None:
        """The outline "stored" or "predicted"."""
        return self.predicted if source == "predicted" else self.stored

    @property
    def first(self) -> str:
        """Which of them counts when nobody chose: the stored one before the predicted one."""
        return "stored" if self.stored is not None or self.predicted is None else "predicted"


def stations_of(flitch: Flitch) -> list[dict[str, float]]:
    """The outline as it is stored: one dictionary a station."""
    wide = flitch.left_wide_mm is not None and flitch.right_wide_mm is not None
    names = EDGES if wide else EDGES[:3]
    columns = [getattr(flitch, name).tolist() for name in names]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def from_stations(code: str, log: str, thickness_mm: float, stations: Sequence[dict[str, Any]]) -> Flitch:
    """A flitch from stored stations. ValueError where they are no outline."""
    columns: dict[str, Any] = {}
    for name in EDGES:
        values = [station.get(name) for station in stations]
        if name in EDGES[:3] or all(value is not None for value in values):
            columns[name] = [float("nan") if value is None else value for value in values]
    return Flitch(code, thickness_mm, log=log, **columns)


def counted_mm(row: FlitchRow, study: Study, nominal_mm: float | None) -> float | None:
    """The thickness that boards of a flitch count as: that of its boards, else the plan's next below its own."""
    if nominal_mm:
        return nominal_mm
    if row.thickness_mm is None:
        return min(study.thicknesses_mm, default=None)
    return max((t for t in study.thicknesses_mm if t <= row.thickness_mm), default=row.thickness_mm)


def shape_of(log: Log, bark_factor: float | None) -> LogShape | None:
    """A log as it is sawn, under bark; None where a bark factor is missing or the ends make no log."""
    factor = 1.0
    if log.bark == "over":
        if bark_factor is None:
            return None
        factor = bark_factor
    ends = [
        (first if second is None else end_diameter_mm(first, second)) * factor
        for first, second in ((log.sed1_mm, log.sed2_mm), (log.led1_mm, log.led2_mm))
    ]
    return LogShape.from_ends(log.code, log.length_m, ends[0], ends[1], log.sweep_mm or 0.0)


def orientation_of(study: Study) -> Orientation:
    """How the sweep lies on the carriage in this study; on its side where nobody said."""
    return "bow_up" if study.sweep_position == "bow_up" else "side"


def predicted_of_log(
    study: Study, shape: LogShape, rows: Iterable[FlitchRow], counted: dict[int, float | None]
) -> dict[int, Flitch]:
    """The outline that the log's own measures predict for each of its numbered flitches: {id: flitch}.

    The stack of flitches is taken as centred on the log, which is a guess.
    """
    numbered = [
        (int(row.code), row)
        for row in rows
        if row.code.isdecimal() and row.thickness_mm is not None and counted.get(row.pk)
    ]
    if not numbered:
        return {}
    thick = {number: float(row.thickness_mm) for number, row in numbered}
    kerf = study.headsaw_kerf_mm if study.headsaw_kerf_mm is not None else USUAL_KERF_MM
    middles = stacked([(number, row.code) for number, row in numbered], thick, kerf)
    cuts = [
        SawnAt(row.code, middles[row.code], float(row.thickness_mm), float(counted[row.pk] or 0))
        for _, row in numbered
    ]
    found = flitches_at(shape, cuts, orientation_of(study))
    return {row.pk: flitch for (_, row), flitch in zip(numbered, found, strict=True) if flitch is not None}

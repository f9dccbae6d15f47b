"""Reading what the figures are computed from, and the figures themselves."""

from dataclasses import dataclass

import pandas as pd

from grading.queries import grade_frame, grade_order, known_grades, reject_grades
from portal.uploads.frames import frame
from portal.uploads.queries import waiting_count
from portal.uploads.registry import Target
from reports.calc.recovery import RecoveryOptions, RecoveryResult, compute_with_held_rows
from reports.models import Price
from sawing.calc.board_volume import SizeBasis
from sawing.models import Study
from sawing.queries import board_frame, log_frame, tree_frame

PRICE_NUMBERS = ["price_per_m3", "min_width_mm", "max_width_mm", "min_thickness_mm"]
PRICE_FIELDS = {
    "rule_set": "grade__rule_set__code",
    "grade": "grade__code",
    **{n: n for n in PRICE_NUMBERS},
    "currency": "price_list__currency",
}


@dataclass(frozen=True)
class StudyFrames:
    """What a study's figures are computed from, in the columns of the files."""

    trees: pd.DataFrame
    logs: pd.DataFrame
    boards: pd.DataFrame
    grades: pd.DataFrame
    prices: pd.DataFrame | None


def price_frame(trial_id: int) -> pd.DataFrame | None:
    """The trial's current price list for the current rule sets; None when there is none."""
    prices = Price.objects.filter(
        price_list__trial_id=trial_id, price_list__current=True, grade__rule_set__current=True
    )
    rows = frame(prices.order_by("grade__rule_set__code", "grade__rank", "min_width_mm"), PRICE_FIELDS)
    return rows.astype(dict.fromkeys(PRICE_NUMBERS, float)) if len(rows) else None


def known_for_prices(target: Target) -> dict[str, pd.DataFrame]:
    return {"rule_sets": known_grades()}


def stored_prices(target: Target, rows: pd.DataFrame) -> pd.DataFrame:
    """The trial's current price list, whatever the rows."""
    found = price_frame(target.trial.pk)
    return found if found is not None else pd.DataFrame(columns=list(PRICE_FIELDS))


def study_frames(study: Study) -> StudyFrames:
    """Everything of a study that its figures need, in five queries."""
    return StudyFrames(
        tree_frame(study),
        log_frame(study),
        board_frame(study),
        grade_frame(study),
        price_frame(study.trial_id),
    )


def study_recovery(
    study: Study, formula: str | None = None, size_basis: SizeBasis = "actual_green"
) -> RecoveryResult:
    """Recovery, out-turn and value of a study; rows with problems are left out and named in `problems`.

    :param formula: log volume formula; the study's own when None.
    :raises ValueError: unknown formula or size basis.
    """
    frames = study_frames(study)
    options = RecoveryOptions(
        log_volume=formula or study.log_volume_formula,
        size_basis=size_basis,
        bark_factor=study.bark_factor,
        grade_order=grade_order(),
        reject_grades=reject_grades(),
    )
    return compute_with_held_rows(
        frames.trees, frames.logs, frames.boards, frames.grades, frames.prices, options
    )


def rows_waiting(study: Study) -> int:
    """Held rows of the study's files: its figures leave them out."""
    return waiting_count(study.trial_id, study.pk)

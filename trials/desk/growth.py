"""Growth of clones over the assessments of a site, or of all sites of a trial."""

from collections.abc import Sequence
from dataclasses import dataclass

from trials.calc.clone_growth import CloneGrowth, Visit, clone_growth
from trials.desk import measured
from trials.desk.figures import age_of
from trials.models import Assessment, EntryKind, Site, Standing, Trait, TraitKind, Trial


@dataclass(frozen=True)
class GrowthPage:
    """The growth of a trait, and what could not be used: assessments by their reason."""

    growth: CloneGrowth
    visits: tuple[Visit, ...]
    left_out: tuple[tuple[Assessment, str], ...]


def growing_traits(trial: Trial) -> list[Trait]:
    """The numeric traits that have values which stand, in the order of the dictionary."""
    rows = trial.traits.filter(
        kind=TraitKind.NUMBER, entries__kind=EntryKind.VALUE, entries__standing=Standing.CURRENT
    )
    return list(rows.distinct().order_by("position", "code"))


def growth_of(sites: Sequence[Site], trait: Trait) -> GrowthPage:
    """Growth curves of a trait per clone: at their own ages for one site, by whole years for several."""
    visits, left_out = [], []
    found = Assessment.objects.filter(site__in=sites, traits=trait).select_related("site__trial")
    for assessment in found.order_by("site__code", "measured_from", "pk"):
        age, why = age_of(assessment)
        if age is None:
            left_out.append((assessment, why))
            continue
        visits.append(_visit(assessment, trait, age))
    growth = clone_growth(visits, measured.column_of(trait), classes=len(sites) > 1)
    return GrowthPage(growth, tuple(visits), tuple(left_out))


def _visit(assessment: Assessment, trait: Trait, age_years: float) -> Visit:
    frame = measured.visit_frame(assessment, [trait])
    plots = [f"{block} {plot}" for block, plot in zip(frame["block"], frame["plot"], strict=True)]
    return Visit(assessment.site.code, assessment.name, age_years, frame.assign(plot=plots))

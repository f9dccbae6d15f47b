"""How far an assessment is, and what in it waits for a person."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q, QuerySet

from trials.desk.measured import GONE, NOT_ALIVE, trait_list
from trials.entries.queries import ENTERED, Dispute, disputes, late_entries, waiting_counts
from trials.models import (
    Assessment,
    AssessmentState,
    Entry,
    EntryKind,
    HeldEntry,
    HeldEntryState,
    Standing,
    Trait,
    TreeStatus,
    Trial,
)

TO_DECIDE = (Standing.DISPUTED, Standing.LATE)


@dataclass(frozen=True)
class Progress:
    """Counts of an assessment. `per_trait`: (trait, trees with a value); `states`: dead, missing, skipped trees;
    `by`: who entered how many values."""

    trees: int
    done: int
    plots: int
    plots_done: int
    per_trait: list[tuple[Trait, int]]
    states: dict[str, int]
    by: list[dict[str, Any]]


def progress_of(assessment: Assessment) -> Progress:
    """A tree is done when every trait has a value, or when it was said to be dead or missing, as phones count it: a
    skipped one is left to be done. Standing trees are counted; once the assessment is closed also those it visited,
    whatever became of them since. A plot is done when all its trees are."""
    traits = trait_list(assessment)
    entries = Entry.objects.filter(assessment=assessment, standing__in=ENTERED)
    done = (
        entries.order_by()
        .values("tree_id")
        .annotate(
            n=Count("trait", distinct=True, filter=Q(kind=EntryKind.VALUE)),
            gone=Count("pk", filter=Q(kind__in=NOT_ALIVE)),
        )
        .filter(Q(n__gte=len(traits)) | Q(gone__gt=0))
        .values("tree_id")
    )
    counted = Q(status=TreeStatus.STANDING)
    if assessment.state == AssessmentState.CLOSED:
        counted |= Q(pk__in=entries.values("tree_id"))
    trees = assessment.site.trees.filter(counted)
    plots = (
        trees.order_by()
        .values("plot_id")
        .annotate(n=Count("pk"), done=Count("pk", filter=Q(pk__in=done)))
        .values_list("n", "done")
    )
    counts = list(plots)
    values = entries.filter(kind=EntryKind.VALUE).order_by()
    per_trait = dict(values.values_list("trait").annotate(n=Count("tree", distinct=True)))
    states = dict(
        entries.filter(kind__in=GONE).order_by().values_list("kind").annotate(n=Count("tree", distinct=True))
    )
    by = values.values("by__full_name", "by__username").annotate(
        n=Count("pk"), trees=Count("tree", distinct=True)
    )
    return Progress(
        trees=sum(n for n, _ in counts),
        done=sum(done for _, done in counts),
        plots=len(counts),
        plots_done=sum(n == done for n, done in counts),
        per_trait=[(trait, per_trait.get(trait.pk, 0)) for trait in traits],
        states={kind.label: states.get(kind.value, 0) for kind in GONE},
        by=[{"name": row["by__full_name"] or row["by__username"], **row} for row in by.order_by("-n")],
    )


@dataclass(frozen=True)
class Waiting:
    """What a person has to decide in an assessment: disputes, late and held entries."""

    disputes: list[Dispute]
    late: list[Entry]
    held: list[HeldEntry]

    @property
    def n(self) -> int:
        return len(self.disputes) + len(self.late) + len(self.held)


def waiting_in(assessment: Assessment) -> Waiting:
    """What waits in an assessment, in the order of rows and columns."""
    held = assessment.held_entries.filter(state=HeldEntryState.WAITING).select_related("by")
    return Waiting(
        disputes(assessment), list(late_entries(assessment)), list(held.order_by("received_at", "pk"))
    )


def n_waiting(assessment: Assessment) -> int:
    """How many entries of an assessment wait for a decision."""
    return sum(waiting_counts(assessment).values())


def assessments_of(trial: Trial) -> QuerySet[Assessment]:
    """The assessments of a trial with counts of trees entered and of what waits; open ones first."""
    return (
        Assessment.objects.filter(site__trial=trial)
        .select_related("site__trial")
        .annotate(
            n_trees=Count("entries__tree", distinct=True, filter=Q(entries__standing__in=ENTERED)),
            n_waiting=Count("entries", distinct=True, filter=Q(entries__standing__in=TO_DECIDE)),
            n_held=Count("held_entries", distinct=True, filter=Q(held_entries__state=HeldEntryState.WAITING)),
        )
        .order_by("-state", "-measured_from", "name")
    )


def held_without_assessment(trial: Trial) -> QuerySet[HeldEntry]:
    """Held entries that name no assessment there is, made by people of this trial."""
    return HeldEntry.objects.filter(
        assessment__isnull=True, state=HeldEntryState.WAITING, by__memberships__trial=trial
    ).distinct()

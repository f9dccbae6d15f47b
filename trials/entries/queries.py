"""Reading what was entered: for phones, for computing, and for the person who decides."""

from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from portal import access
from portal.models import Membership, Role, User
from trials.entries.ground import MAY_ENTER
from trials.models import (
    Assessment,
    AssessmentState,
    AssessmentTrait,
    Entry,
    EntryKind,
    HeldEntry,
    HeldEntryState,
    Standing,
    TreeStatus,
    Trial,
)

ENTERED = (Standing.CURRENT, Standing.DISPUTED)
"""A tree with one of these has been visited, whichever value will stand."""
SETTLED = (EntryKind.DEAD, EntryKind.MISSING)
"""A tree with one of these needs no values; a skipped one is left to be done, on phones too."""
PLACES = {
    "tree": "code",
    "site": "site__code",
    "block": "plot__block__code",
    "plot": "plot__code",
    "clone": "clone__code",
    "row": "row",
    "col": "col",
    "status": "status",
}


@dataclass(frozen=True)
class Progress:
    """How far an assessment is: standing trees of the site, and those of them that are done."""

    trees: int
    done: int


@dataclass(frozen=True)
class Dispute:
    """Entries that contradict each other on one matter of one tree, in the order they came."""

    tree: str
    matter: str
    entries: tuple[Entry, ...]


def assessments_for(user: User) -> QuerySet[Assessment]:
    """Open assessments of the trials in which a person may enter, the latest first."""
    found = Assessment.objects.filter(state=AssessmentState.OPEN).select_related("site__trial")
    allowed = access.trial_ids(user, MAY_ENTER)
    return found if allowed is None else found.filter(site__trial_id__in=allowed)


def assessments_of(user: User) -> QuerySet[Assessment]:
    """Assessments of the trials that a person belongs to, open and closed, the latest first."""
    found = Assessment.objects.select_related("site__trial")
    allowed = access.trial_ids(user)
    return found if allowed is None else found.filter(site__trial_id__in=allowed)


def with_counts(assessments: QuerySet[Assessment]) -> QuerySet[Assessment]:
    """Assessments with `n_traits`, and `n_trees`: the trees of their site that stand."""
    traits = AssessmentTrait.objects.filter(assessment=OuterRef("pk")).values("assessment")
    return assessments.annotate(
        n_traits=Coalesce(Subquery(traits.annotate(n=Count("pk")).values("n")), 0),
        n_trees=Count("site__trees", filter=Q(site__trees__status=TreeStatus.STANDING)),
    )


def done_counts(assessment_ids: list[int]) -> Counter[int]:
    """Per assessment, the standing trees with all traits entered, or found dead or missing."""
    traits = AssessmentTrait.objects.filter(assessment=OuterRef("assessment")).values("assessment")
    visited = (
        Entry.objects.filter(
            assessment_id__in=assessment_ids, standing__in=ENTERED, tree__status=TreeStatus.STANDING
        )
        .values("assessment", "tree")
        .annotate(
            entered=Count("trait", distinct=True),
            settled=Count("pk", filter=Q(kind__in=SETTLED)),
            wanted=Subquery(traits.annotate(n=Count("pk")).values("n")),
        )
        .filter(Q(settled__gt=0) | Q(entered__gte=F("wanted")))
    )
    return Counter(visited.values_list("assessment_id", flat=True))


def progress(assessment: Assessment) -> Progress:
    """How far one assessment is."""
    trees = assessment.site.trees.filter(status=TreeStatus.STANDING).count()
    return Progress(trees, done_counts([assessment.pk])[assessment.pk])


def standing() -> QuerySet[Entry]:
    """The entries that stand: what every page, map, list, check, figure and choice of trees reads."""
    return Entry.objects.filter(standing=Standing.CURRENT)


def standing_values(assessment: Assessment) -> QuerySet[Entry]:
    """The values that stand in an assessment."""
    return standing().filter(assessment=assessment, kind=EntryKind.VALUE)


def latest_values(trial: Trial, code: str) -> QuerySet[Entry]:
    """For each tree of a trial, the value that stands of its latest assessment that has one of this trait."""
    return _latest_of(standing().filter(tree__trial=trial, trait__code__iexact=code, kind=EntryKind.VALUE))


def _latest_of(values: QuerySet[Entry]) -> QuerySet[Entry]:
    order = ("tree_id", "trait_id", "-assessment__measured_from", "-assessment_id")
    return values.order_by(*order).distinct("tree_id", "trait_id")


def last_values(assessment: Assessment) -> QuerySet[Entry]:
    """For each tree and trait of an assessment, the value of the latest earlier assessment that has one."""
    earlier = Q(assessment__measured_from__lt=assessment.measured_from) | Q(
        assessment__measured_from=assessment.measured_from, assessment_id__lt=assessment.pk
    )
    return _latest_of(
        standing().filter(
            earlier,
            tree__site_id=assessment.site_id,
            trait__in=assessment.traits.values("pk"),
            kind=EntryKind.VALUE,
        )
    )


def disputes(assessment: Assessment) -> list[Dispute]:
    """What two crews said differently, tree by tree in walking order of rows."""
    rows = (
        assessment.entries.filter(standing=Standing.DISPUTED)
        .select_related("tree", "trait", "by", "assessment")
        .order_by("tree__row", "tree__col", "trait__position", "pk")
    )
    grouped: dict[tuple[str, str], list[Entry]] = {}
    for entry in rows:
        if entry.trait is not None:
            matter = entry.trait.name
        else:
            matter = "dead or missing" if entry.kind in SETTLED else entry.get_kind_display()
        grouped.setdefault((entry.tree.code, matter), []).append(entry)
    return [Dispute(tree, matter, tuple(entries)) for (tree, matter), entries in grouped.items()]


def late_entries(assessment: Assessment) -> QuerySet[Entry]:
    """What came after the assessment was closed and waits for a decision."""
    rows = assessment.entries.filter(standing=Standing.LATE)
    return rows.select_related("tree", "trait", "by").order_by("tree__row", "tree__col", "pk")


def held_entries(user: User) -> QuerySet[HeldEntry]:
    """Held entries that wait and that a person may settle: of the trials they manage, and those of no known
    assessment by people of these trials."""
    rows = HeldEntry.objects.filter(state=HeldEntryState.WAITING)
    rows = rows.select_related("assessment__site__trial", "by").order_by("received_at", "pk")
    managed = access.trial_ids(user, [Role.MANAGER])
    if managed is None:
        return rows
    return rows.filter(
        Q(assessment__site__trial_id__in=managed) | Q(assessment=None) & Exists(_memberships_in(managed))
    )


def _memberships_in(trials: Any) -> QuerySet[Any]:
    return Membership.objects.filter(user=OuterRef("by"), trial_id__in=trials)


def waiting_counts(assessment: Assessment) -> dict[str, int]:
    """How much of an assessment waits for a decision: {"disputed", "late", "held"} (entries)."""
    return assessment.entries.aggregate(
        disputed=Count("pk", filter=Q(standing=Standing.DISPUTED)),
        late=Count("pk", filter=Q(standing=Standing.LATE)),
    ) | {"held": assessment.held_entries.filter(state=HeldEntryState.WAITING).count()}

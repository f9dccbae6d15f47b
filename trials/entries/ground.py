"""What a batch of entries refers to, read in a fixed number of queries: assessments, their trees and traits."""

from collections.abc import Collection
from dataclasses import dataclass, field

from portal.models import Membership, Role, User
from trials.calc.entry_reading import EntryRead, TraitRule, value_of
from trials.models import Assessment, AssessmentTrait, Entry, Tree

MAY_ENTER = frozenset({Role.FIELD_CREW, Role.MANAGER})
NO_ASSESSMENT = (
    "assessment: found {}, expected an assessment of a trial in which you are field crew or manager"
)


@dataclass(frozen=True)
class TraitHere:
    """A trait of an assessment, as far as an entry needs it."""

    pk: int
    rule: TraitRule
    decimals: int


@dataclass(frozen=True)
class Ground:
    """Where entries may land. `trees` is by (site id, code), `traits` by (assessment id, code)."""

    assessments: dict[int, Assessment]
    allowed: frozenset[int]
    trees: dict[tuple[int, str], int]
    traits: dict[tuple[int, str], TraitHere] = field(default_factory=dict)

    def entry_for(self, read: EntryRead, by_id: int) -> tuple[Entry | None, list[str]]:
        """An unsaved entry, or every reason why it cannot be stored."""
        assessment = self.assessments.get(read.assessment)
        if assessment is None or read.assessment not in self.allowed:
            return None, [NO_ASSESSMENT.format(read.assessment)]
        problems: list[str] = []
        tree = self.trees.get((assessment.site_id, read.tree))
        if tree is None:
            problems.append(f"tree: found {read.tree}, expected a tree of site {assessment.site.code}")
        trait, number, text = None, read.number, read.text
        if read.kind == "value":
            trait = self.traits.get((assessment.pk, read.trait or ""))
            if trait is None:
                problems.append(f"trait: found {read.trait}, expected a trait of this assessment")
            else:
                number, text, problem = value_of(read, trait.rule)
                problems += [problem] if problem else []
        if problems:
            return None, problems
        return Entry(
            client_id=read.id,
            assessment=assessment,
            tree_id=tree,
            trait_id=trait.pk if trait else None,
            kind=read.kind,
            number=number,
            text=text,
            confirmed=read.confirmed,
            corrects=read.corrects,
            sequence=read.sequence,
            entered_at=read.entered_at,
            by_id=by_id,
        ), []


def ground_for(reads: Collection[EntryRead], assessments: dict[int, Assessment], by: User) -> Ground:
    """What these entries refer to, of assessments that the caller has read (and locked)."""
    trials = {a.site.trial_id for a in assessments.values()}
    if by.is_superuser:
        mine = trials
    else:
        roles = Membership.objects.filter(user=by, active=True, role__in=MAY_ENTER, trial_id__in=trials)
        mine = set(roles.values_list("trial_id", flat=True))
    allowed = {pk for pk, a in assessments.items() if a.site.trial_id in mine}
    sites = {assessments[pk].site_id for pk in allowed}
    trees = Tree.objects.filter(site_id__in=sites, code__in={r.tree for r in reads})
    found = AssessmentTrait.objects.filter(assessment_id__in=allowed)
    rows = found.values_list(
        "assessment_id", "trait__code", "trait_id", "trait__kind", "trait__points", "trait__decimals"
    )
    return Ground(
        assessments,
        frozenset(allowed),
        {(site, code): pk for site, code, pk in trees.values_list("site_id", "code", "pk")},
        {
            (a, code): TraitHere(pk, TraitRule(kind, scale(points)), decimals)
            for a, code, pk, kind, points, decimals in rows
        },
    )


def scale(points: object) -> tuple[float, ...]:
    """The values of a described ordinal scale."""
    listed = points if isinstance(points, list) else []
    return tuple(float(p["value"]) for p in listed if isinstance(p, dict) and "value" in p)

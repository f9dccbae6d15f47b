"""Opening, closing and reopening assessments."""

import datetime as dt
from collections.abc import Collection, Iterable, Sequence

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from portal import access
from portal.models import Role, User
from trials.models import (
    Assessment,
    AssessmentState,
    AssessmentTrait,
    Entry,
    HeldEntry,
    HeldEntryState,
    Site,
    Standing,
    Trait,
    Tree,
    TreeStatus,
)

NAME_TAKEN = "This site has an assessment of this name already; capital letters make no difference."


def open_assessment(
    *,
    site: Site,
    name: str,
    measured_from: dt.date,
    traits: Sequence[Trait],
    crew: Iterable[User] = (),
    by: User,
    note: str = "",
) -> Assessment:
    """Open an assessment of a site. Managers only.

    :param traits: in the order in which they are entered.
    :param crew: who is expected to measure; field crew of the trial may enter whether named here or not.
    :raises ValidationError: no name, a name taken, no trait, a trait of another trial, a crew member without a
        role in the trial.
    """
    access.require(by, site.trial_id, [Role.MANAGER])
    people = list(crew)
    with transaction.atomic():
        Site.objects.select_for_update(no_key=True).get(pk=site.pk)
        _require_sound(site, name, traits)
        _require_members(site, people)
        assessment = Assessment.objects.create(
            site=site, name=name.strip(), measured_from=measured_from, note=note
        )
        _give_traits(assessment, traits)
        assessment.crew.set(people)
        return assessment


def change_assessment(
    *,
    assessment: Assessment,
    traits: Sequence[Trait],
    crew: Iterable[User],
    by: User,
    note: str | None = None,
    name: str | None = None,
    measured_from: dt.date | None = None,
) -> Assessment:
    """Change the traits (in their order), the crew, the note, the name and the first day of an open assessment;
    None leaves what is there. Managers only.

    :raises ValidationError: it is closed; a trait that has entries is left out; as for `open_assessment`.
    """
    access.require(by, assessment.site.trial_id, [Role.MANAGER])
    people = list(crew)
    with transaction.atomic():
        assessment = _locked(assessment)
        if assessment.state != AssessmentState.OPEN:
            raise ValidationError("This assessment is closed: reopen it first.")
        _require_traits(assessment.site, traits)
        _require_members(assessment.site, people)
        entered = set(assessment.entries.filter(trait__isnull=False).values_list("trait__code", flat=True))
        if missing := entered - {t.code for t in traits}:
            raise ValidationError(
                {"traits": f"Has entries and cannot be left out: {', '.join(sorted(missing))}."}
            )
        _give_traits(assessment, traits)
        assessment.crew.set(people)
        if name is not None:
            _require_name(assessment.site, name, assessment)
            assessment.name = name.strip()
        assessment.note = assessment.note if note is None else note
        assessment.measured_from = measured_from or assessment.measured_from
        assessment.save()
        return assessment


def close_assessment(*, assessment: Assessment, by: User, closed_with: str = "") -> Assessment:
    """Close a checked assessment; dead and missing trees get their status. Closing twice changes nothing.

    What comes in afterwards is kept as late. Managers only.

    :param closed_with: what the manager was told is not looked at or not done, kept with the assessment.
    :raises ValidationError: values are in dispute, or held entries wait.
    """
    access.require(by, assessment.site.trial_id, [Role.MANAGER])
    with transaction.atomic():
        assessment = _locked(assessment)
        if assessment.state == AssessmentState.CLOSED:
            return assessment
        disputed = assessment.entries.filter(standing=Standing.DISPUTED).count()
        held = HeldEntry.objects.filter(assessment=assessment, state=HeldEntryState.WAITING).count()
        if disputed or held:
            raise ValidationError(
                f"Not checked yet: {disputed} entries in dispute and {held} held entries wait for a decision."
            )
        assessment.state, assessment.closed_at = AssessmentState.CLOSED, timezone.now()
        assessment.closed_with = closed_with
        assessment.save()
        mark_dead_and_missing(assessment)
        return assessment


def reopen_assessment(*, assessment: Assessment, by: User) -> Assessment:
    """Open a closed assessment again. Late entries go on waiting for a decision; trees keep their status.

    Managers only.
    """
    access.require(by, assessment.site.trial_id, [Role.MANAGER])
    with transaction.atomic():
        assessment = _locked(assessment)
        assessment.state, assessment.closed_at = AssessmentState.OPEN, None
        assessment.closed_with = ""
        assessment.save()
        return assessment


def mark_dead_and_missing(assessment: Assessment, tree_ids: Collection[int] | None = None) -> int:
    """Give trees the status that the standing entries of an assessment say; felled trees stay felled.

    Part of other actions, which hold the assessment's lock.

    :param tree_ids: only these trees; all with entries when None.
    :returns: how many trees changed.
    """
    changed = 0
    for kind in (TreeStatus.DEAD, TreeStatus.MISSING):
        found = Entry.objects.filter(assessment=assessment, kind=kind, standing=Standing.CURRENT)
        if tree_ids is not None:
            found = found.filter(tree_id__in=tree_ids)
        trees = Tree.objects.filter(pk__in=found.values("tree_id")).exclude(
            status__in=[TreeStatus.FELLED, kind]
        )
        changed += trees.update(status=kind)
    return changed


def _locked(assessment: Assessment) -> Assessment:
    rows = Assessment.objects.select_for_update(of=("self",), no_key=True).select_related("site__trial")
    return rows.get(pk=assessment.pk)


def _require_sound(site: Site, name: str, traits: Sequence[Trait]) -> None:
    _require_name(site, name)
    _require_traits(site, traits)


def _require_name(site: Site, name: str, own: Assessment | None = None) -> None:
    if not name.strip():
        raise ValidationError({"name": "An assessment needs a name, such as “Spring 2026”."})
    if site.assessments.filter(name__iexact=name.strip()).exclude(pk=own and own.pk).exists():
        raise ValidationError({"name": NAME_TAKEN})


def _require_traits(site: Site, traits: Sequence[Trait]) -> None:
    if not traits:
        raise ValidationError({"traits": "Choose at least one trait."})
    if any(t.trial_id != site.trial_id for t in traits):
        raise ValidationError({"traits": "A trait of another trial cannot be measured here."})


def _require_members(site: Site, people: Sequence[User]) -> None:
    strangers = [p for p in people if not access.may(p, site.trial_id, [Role.FIELD_CREW, Role.MANAGER])]
    if strangers:
        names = ", ".join(str(p) for p in strangers)
        raise ValidationError({"crew": f"Neither field crew nor manager in this trial: {names}."})


def _give_traits(assessment: Assessment, traits: Sequence[Trait]) -> None:
    there = {at.trait_id: at for at in assessment.assessment_traits.all()}
    wanted = list(dict.fromkeys(t.pk for t in traits))
    AssessmentTrait.objects.filter(pk__in=[at.pk for pk, at in there.items() if pk not in wanted]).delete()
    for position, pk in enumerate(wanted):
        if pk not in there:
            AssessmentTrait.objects.create(assessment=assessment, trait_id=pk, position=position)
        elif there[pk].position != position:
            there[pk].position = position
            there[pk].save()

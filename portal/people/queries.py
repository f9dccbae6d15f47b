"""Reading the people of trials, for those who may change their roles."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.apps import apps
from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.shortcuts import get_object_or_404

from portal import access
from portal.models import Membership, Role, User

SHOWN_CHANGES = 30


@dataclass(frozen=True)
class Person:
    """Somebody in one trial: the roles held there, and those that have ended."""

    user: User
    roles: list[Membership] = field(default_factory=list)
    ended: list[Membership] = field(default_factory=list)


@dataclass(frozen=True)
class TrialPeople:
    """The people of one trial by name; who held a role once and holds none now comes last."""

    trial: Any
    people: list[Person]
    last_manager_id: int | None
    """The membership that may not end, because nobody else manages the trial."""


@dataclass(frozen=True)
class RoleChange:
    """What happened to a role: "given", "ended", "given again"."""

    when: datetime
    what: str
    role: str
    user: str
    trial: str
    who: str


def trials_managed_by(user: User) -> QuerySet[Any]:
    """The trials whose people a person may change: a manager's own, for a steward all."""
    trials = apps.get_model("trials", "Trial").objects.all()
    allowed = access.trial_ids(user, [Role.MANAGER])
    return trials if allowed is None else trials.filter(pk__in=allowed)


def managed_trial(user: User, code: str) -> Any:
    """One trial for those who manage it.

    :raises Http404: the person does not belong to the trial, which may then not even exist for them.
    :raises PermissionDenied: the person belongs to it in another role.
    """
    trials = apps.get_model("trials", "Trial").objects.all()
    inside = access.trial_ids(user)
    trial = get_object_or_404(trials if inside is None else trials.filter(pk__in=inside), code=code)
    access.require(user, trial.pk, [Role.MANAGER])
    return trial


def people_by_trial(user: User) -> list[TrialPeople]:
    """The people of every trial that a person manages.

    :raises PermissionDenied: they manage none, and are no steward.
    """
    trials = list(trials_managed_by(user))
    if not trials and not user.is_superuser:
        raise PermissionDenied("People and roles are seen by managers.")
    found = Membership.objects.filter(trial__in=trials).select_related("user")
    by_trial: dict[int, list[Membership]] = {trial.pk: [] for trial in trials}
    for membership in found:
        by_trial[membership.trial_id].append(membership)
    return [_people_of(trial, by_trial[trial.pk]) for trial in trials]


def managers_of(trial_id: int) -> QuerySet[Membership]:
    """The manager roles in force of one trial, held by people who can sign in."""
    return Membership.objects.filter(trial_id=trial_id, role=Role.MANAGER, active=True, user__is_active=True)


def person_named(username: str) -> User | None:
    """The person of a user name; capital letters count only where two names differ by nothing else."""
    name = User.normalize_username(username.strip())
    alike = User.objects.filter(username__iexact=name)
    return alike.filter(username=name).first() or alike.order_by("pk").first()


def role_changes(trials: Iterable[Any]) -> list[RoleChange]:
    """The latest changes to the roles of these trials, newest first, each with who made it."""
    events = (
        Membership.pgh_event_model.objects.filter(trial__in=[t.pk for t in trials])
        .select_related("pgh_context", "user", "trial")
        .order_by("-pgh_id")[:SHOWN_CHANGES]
    )
    events = list(events)
    makers = User.objects.in_bulk({_maker(e) for e in events} - {None})
    return [
        RoleChange(
            e.pgh_created_at,
            "given" if e.pgh_label == "added" else "given again" if e.active else "ended",
            str(Role(e.role).label),
            str(e.user),
            str(e.trial),
            str(makers.get(_maker(e), "")),
        )
        for e in events
    ]


def _maker(event: Any) -> int | None:
    return event.pgh_context.metadata.get("user") if event.pgh_context else None


def _people_of(trial: Any, memberships: list[Membership]) -> TrialPeople:
    order = list(Role.values)
    people: dict[int, Person] = {}
    for membership in sorted(memberships, key=lambda m: order.index(m.role)):
        person = people.setdefault(membership.user_id, Person(membership.user))
        (person.roles if membership.active else person.ended).append(membership)
    managers = [m.pk for m in memberships if m.role == Role.MANAGER and m.active and m.user.is_active]
    in_order = sorted(people.values(), key=lambda p: (not p.roles, str(p.user).casefold()))
    return TrialPeople(trial, in_order, managers[0] if len(managers) == 1 else None)
